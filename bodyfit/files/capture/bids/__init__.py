"""A recording in a BIDS-Motion data set, read as a capture."""
