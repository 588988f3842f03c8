"""Files that people write: reading TOML, on which line each key stands, and what is wrong with it in one line."""
