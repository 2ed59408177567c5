"""The smallest set of worn units that is enough."""
