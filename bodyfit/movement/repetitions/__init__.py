"""Repetitions of shown movements and cycles of strides: found, counted, aligned, compared."""
