"""The config: read from TOML, environment and secrets folder, checked as a whole, compiled once into a Building."""
