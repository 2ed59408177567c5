"""The path of a worn foot: when it stands, and where it goes between."""
