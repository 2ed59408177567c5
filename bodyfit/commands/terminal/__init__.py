"""Results as text in a terminal."""
