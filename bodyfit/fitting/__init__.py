"""From a capture to a fit."""
