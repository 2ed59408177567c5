"""What is wrong with a capture, told before it is fitted."""
