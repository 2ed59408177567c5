"""Strides: when feet strike and leave, how long, how high, how fast."""
