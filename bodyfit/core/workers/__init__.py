"""Pieces of work shared out among processes, of this machine or of a cluster."""
