"""What in a fit is no person's motion, or is not to be believed."""
