"""The command: paths in, stages called, paths out."""
