"""Curves over the cycle, of strides or repetitions, and left against right."""
