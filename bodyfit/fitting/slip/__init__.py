"""Units that slipped on their segment during a recording."""
