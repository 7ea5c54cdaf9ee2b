//! TOML text to checked settings.
