"""Arrays: what a caller gives, checked; what is too large to stay in memory."""
