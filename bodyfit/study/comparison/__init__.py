"""One recording solved in several ways, and compared."""
