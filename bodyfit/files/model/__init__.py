"""Body models as TOML files."""
