"""Files in, files out: one module a format."""
