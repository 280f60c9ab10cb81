//! Diagnostics as SARIF 2.1.0 (OASIS standard), for code-scanning views.
//!
//! Regions count lines and columns from 1; `columnKind` says that columns are
//! Unicode code points. The document carries no date.

use serde_json::{Value, json};

use super::codes::{self, CodeInfo};
use super::{Diagnostic, Source, Span};

/// The published schema of SARIF 2.1.0.
const SCHEMA: &str =
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json";

/// The whole document, ended with a newline.
pub fn render(diagnostics: &[Diagnostic], sources: &[Source]) -> String {
    let mut used: Vec<&CodeInfo> = diagnostics.iter().filter_map(|d| codes::find(d.code)).collect();
    used.sort_by_key(|info| info.code);
    used.dedup_by_key(|info| info.code);
    let rules: Vec<Value> = used.iter().map(|info| rule(info)).collect();
    let results: Vec<Value> =
        diagnostics.iter().map(|found| result(found, &used, sources)).collect();
    let artifacts: Vec<Value> = sources
        .iter()
        .map(|source| json!({ "location": { "uri": uri(source.name()) }, "length": source.text().len() }))
        .collect();
    let document = json!({
        "$schema": SCHEMA,
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": {
                "name": "dosewright",
                "version": env!("CARGO_PKG_VERSION"),
                "rules": rules,
            } },
            "columnKind": "unicodeCodePoints",
            "artifacts": artifacts,
            "results": results,
        }],
    });
    format!("{document:#}\n")
}

fn level(code: &str) -> &'static str {
    if code.starts_with('W') { "warning" } else { "error" }
}

fn rule(info: &CodeInfo) -> Value {
    json!({
        "id": info.code,
        "shortDescription": { "text": info.title },
        "fullDescription": { "text": info.text },
        "help": { "text": info.explain() },
        "defaultConfiguration": { "level": level(info.code) },
    })
}

fn result(found: &Diagnostic, used: &[&CodeInfo], sources: &[Source]) -> Value {
    let source = sources.iter().find(|source| source.name() == found.file);
    let mut text = found.message.clone();
    for part in [Some(&found.label), found.help.as_ref()].into_iter().flatten() {
        if !part.is_empty() {
            text.push_str("; ");
            text.push_str(part);
        }
    }
    let related: Vec<Value> = found
        .notes
        .iter()
        .enumerate()
        .filter_map(|(i, note)| {
            let mut place = location(&found.file, note.span?, source);
            let object = place.as_object_mut()?;
            object.insert("id".to_owned(), json!(i + 1));
            object.insert("message".to_owned(), json!({ "text": note.text }));
            Some(place)
        })
        .collect();
    let mut out = json!({
        "ruleId": found.code,
        "level": found.severity.word(),
        "message": { "text": text },
        "locations": [location(&found.file, found.span, source)],
    });
    if let (Some(index), Some(object)) =
        (used.iter().position(|info| info.code == found.code), out.as_object_mut())
    {
        object.insert("ruleIndex".to_owned(), json!(index));
        if !related.is_empty() {
            object.insert("relatedLocations".to_owned(), json!(related));
        }
    }
    out
}

fn location(file: &str, span: Span, source: Option<&Source>) -> Value {
    let mut physical = json!({ "artifactLocation": { "uri": uri(file) } });
    if let (Some(source), Some(object)) = (source, physical.as_object_mut()) {
        let span = source.clip(span);
        let (start, end) = (source.position(span.start), source.position(span.end));
        object.insert(
            "region".to_owned(),
            json!({
                "startLine": start.line, "startColumn": start.column,
                "endLine": end.line, "endColumn": end.column,
                "byteOffset": span.start, "byteLength": span.end - span.start,
            }),
        );
    }
    json!({ "physicalLocation": physical })
}

/// A path as a relative reference of RFC 3986: what is not allowed in one is
/// percent-encoded, a backslash becomes a slash, an absolute path a file URI.
fn uri(path: &str) -> String {
    use std::fmt::Write as _;
    let mut out = String::new();
    let drive =
        matches!(path.as_bytes(), [letter, b':', b'/' | b'\\', ..] if letter.is_ascii_alphabetic());
    if drive {
        out.push_str("file:///");
    } else if path.starts_with('/') {
        out.push_str("file://");
    }
    for (i, byte) in path.bytes().enumerate() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                out.push(char::from(byte));
            }
            b':' if drive && i == 1 => out.push(':'),
            b'\\' => out.push('/'),
            _ => _ = write!(out, "%{byte:02X}"),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_document_has_what_the_standard_requires() {
        let text = "a = 1\nb = 2\n";
        let found = [
            Diagnostic::new(codes::DUPLICATE, Span::new(6, 7), "again")
                .in_file("my week.toml")
                .label("why")
                .help("mend it")
                .note_at(Span::new(0, 1), "first"),
            Diagnostic::new(codes::PLAIN_NIGHT, Span::new(0, 1), "night").in_file("my week.toml"),
        ];
        let out = render(&found, &[Source::new("my week.toml", text)]);
        let doc: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(doc["version"], "2.1.0");
        let run = &doc["runs"][0];
        assert_eq!(run["tool"]["driver"]["name"], "dosewright");
        let results = run["results"].as_array().unwrap();
        assert_eq!(results.len(), 2);
        for result in results {
            let index = result["ruleIndex"].as_u64().unwrap() as usize;
            assert_eq!(run["tool"]["driver"]["rules"][index]["id"], result["ruleId"]);
        }
        assert_eq!(results[0]["message"]["text"], "again; why; mend it");
        assert_eq!(
            (&results[0]["level"], &results[1]["level"]),
            (&json!("error"), &json!("warning"))
        );
        let place = &results[0]["locations"][0]["physicalLocation"];
        assert_eq!(place["artifactLocation"]["uri"], "my%20week.toml");
        assert_eq!(
            place["region"],
            json!({"startLine": 2, "startColumn": 1, "endLine": 2, "endColumn": 2, "byteOffset": 6, "byteLength": 1})
        );
        assert_eq!(results[0]["relatedLocations"][0]["message"]["text"], "first");
        assert!(results[1].get("relatedLocations").is_none());
    }

    #[test]
    fn paths_become_references() {
        assert_eq!(uri("a/b c.toml"), "a/b%20c.toml");
        assert_eq!(uri("sites\\x.toml"), "sites/x.toml");
        assert_eq!(uri("/srv/x.toml"), "file:///srv/x.toml");
        assert_eq!(uri("C:\\x.toml"), "file:///C:/x.toml");
        assert_eq!(uri("x:y.toml"), "x%3Ay.toml");
        assert_eq!(uri("caf\u{e9}.toml"), "caf%C3%A9.toml");
    }
}
