"""What a fit tells of itself: figures with a type, as summary.json holds them under the same names."""
