//! Lines for machines: any object as one, and the JSON Schema of a command's lines,
//! from the types that write them.

use schemars::JsonSchema;
use serde::Serialize;

/// An object as a line of its own.
pub fn line(value: &impl Serialize) -> String {
    // what is written holds strings, numbers and lists of them alone: it cannot fail
    let mut text = serde_json::to_string(value).unwrap_or_default();
    text.push('\n');
    text
}

/// To a millionth: what a model says beyond that is noise.
pub(crate) fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// The JSON Schema of the lines of `command`. Fields may be added to a line, and
/// lines of other events between them.
pub fn schema<T: JsonSchema>(command: &str) -> String {
    let mut schema = schemars::schema_for!(T);
    schema.insert("title".to_owned(), format!("A line of dosewright {command}").into());
    let mut text = serde_json::to_string_pretty(&schema).unwrap_or_default();
    text.push('\n');
    text
}
