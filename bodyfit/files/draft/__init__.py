"""Drafts a setup.toml from tables as recorders write them; every guess is marked as one."""
