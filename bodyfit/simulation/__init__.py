"""What worn units would have measured in a known motion."""
