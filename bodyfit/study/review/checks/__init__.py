"""Checks of a finished motion: one kind of doubt a file, each a function from `Reviewed` to findings."""
