"""Captures: a folder with setup.toml and a table for each unit."""
