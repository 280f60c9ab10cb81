//! The example that `run` runs when no file is given.

/// What it is called where a file's name would stand.
pub const NAME: &str = "example.toml";

/// Its text.
pub const EXAMPLE: &str = include_str!("example.toml");
