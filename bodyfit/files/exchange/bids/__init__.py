"""A fit, and its capture, as a BIDS-Motion data set."""
