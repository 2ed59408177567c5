"""Figures of a finished fit, taken from what was estimated."""
