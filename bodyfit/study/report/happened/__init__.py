"""The report's part on what happened: timeline, strides, curves over the cycle, path."""
