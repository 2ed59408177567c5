"""Checks and repairs of a capture before it is fitted."""
