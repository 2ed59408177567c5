"""The version of bodyfit, for whatever writes it into a file."""

__version__ = "0.1.0"
