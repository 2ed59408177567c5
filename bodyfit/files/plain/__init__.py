"""Tables, TOML, JSON, and files that are written whole or not at all."""
