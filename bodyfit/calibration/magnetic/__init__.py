"""The magnetic field: which samples of it can be believed."""
