//! The JSON Schema of a scenario file, made from the tables of known keys.

use serde_json::{Map, Value, json};

use super::keys::{Key, Kind, Need, ROOT, Range, Table};
use super::quantity::{self, Dimension};
use super::read::SCHEMA;

/// The JSON Schema (draft 2020-12) of a scenario file, for editors and other
/// programs. Dates and times that TOML writes without quotes are strings in it.
pub fn schema() -> String {
    let mut tables: Vec<&'static Table> = Vec::new();
    collect(&ROOT, &mut tables);
    let definitions: Map<String, Value> =
        tables.iter().map(|table| (definition(table), of_table(table))).collect();
    let mut schema = of_table(&ROOT);
    if let Some(object) = schema.as_object_mut() {
        object.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
        object.insert("title".to_owned(), json!("dosewright scenario"));
        object.insert("$defs".to_owned(), Value::Object(definitions));
    }
    format!("{schema:#}\n")
}

/// All tables inside a table, each once.
fn collect(table: &'static Table, found: &mut Vec<&'static Table>) {
    for key in table.keys {
        if let Kind::Table(inner) | Kind::Tables(inner) = key.kind
            && !found.iter().any(|known| std::ptr::eq(*known, inner))
        {
            found.push(inner);
            collect(inner, found);
        }
    }
}

fn definition(table: &Table) -> String {
    table.name.trim_matches(['[', ']']).to_owned()
}

fn of_table(table: &Table) -> Value {
    let properties: Map<String, Value> =
        table.keys.iter().map(|key| (key.name.to_owned(), of_key(key))).collect();
    let mut out = json!({
        "type": "object",
        "additionalProperties": false,
        "properties": properties,
        "required": table.names(|key| key.need == Need::Required),
    });
    for (need, word) in [(Need::OneOf, "oneOf"), (Need::AnyOf, "anyOf")] {
        let names = table.names(|key| key.need == need);
        if let (false, Some(object)) = (names.is_empty(), out.as_object_mut()) {
            let each: Vec<Value> = names.iter().map(|name| json!({ "required": [name] })).collect();
            object.insert(word.to_owned(), json!(each));
        }
    }
    out
}

fn of_key(key: &Key) -> Value {
    let mut out = of_kind(&key.kind);
    if let Some(object) = out.as_object_mut() {
        object.insert("description".to_owned(), json!(key.doc));
    }
    out
}

const NUMBER: &str = r"[0-9]+(\.[0-9]+)?";
const DATE: &str = "[0-9]{4}-[0-9]{2}-[0-9]{2}";
const TIME: &str = r"[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?";
const OFFSET: &str = " ?[+-][0-9]{2}:[0-9]{2}|Z";
const DAY: &str = "(mon|tue|wed|thu|fri|sat|sun)";

fn pattern(body: &str) -> Value {
    json!({ "type": "string", "pattern": format!("^ *{body} *$") })
}

/// A number with a unit; negative only where the limits allow it.
fn quantity_body(dimension: &Dimension, range: Option<Range>) -> String {
    let sign = if range.is_some_and(|range| range.least < 0) { "[+-]?" } else { r"\+?" };
    format!("{sign}{NUMBER} *({})", dimension.pattern().replace('^', r"\^"))
}

fn length_body(sign: &str) -> String {
    let units = quantity::TIME.pattern();
    format!("{sign}{NUMBER} *({units})( *{NUMBER} *({units}))*")
}

fn count(range: Range) -> Value {
    json!({ "type": "integer", "minimum": range.least, "maximum": range.most })
}

fn of_kind(kind: &Kind) -> Value {
    match kind {
        Kind::Version => json!({ "const": SCHEMA }),
        Kind::Text(most) => json!({ "type": "string", "maxLength": most }),
        Kind::Name | Kind::EntryRef => json!({ "type": "string", "minLength": 1, "maxLength": 64 }),
        Kind::Count(range) => count(*range),
        Kind::CountOrNone(range) => json!({ "anyOf": [count(*range), { "const": "none" }] }),
        Kind::Switch => json!({ "type": "boolean" }),
        Kind::Volume(range) => pattern(&quantity_body(&quantity::VOLUME, Some(*range))),
        Kind::VolumeOrShare(range) => {
            let volume = pattern(&quantity_body(&quantity::VOLUME, Some(*range)));
            json!({ "anyOf": [volume, pattern(&quantity_body(&quantity::PERCENT, None))] })
        }
        Kind::Flow(_) => {
            let volume = quantity_body(&quantity::VOLUME, None);
            pattern(&format!("{volume} */ *({})", quantity::FLOW_TIMES.pattern()))
        }
        Kind::Length(range) => {
            pattern(&length_body(if range.least < 0 { "[+-]?" } else { r"\+?" }))
        }
        Kind::Quantity(dimension, range) => pattern(&quantity_body(dimension, Some(*range))),
        Kind::Zone => json!({ "type": "string", "minLength": 1, "maxLength": 100 }),
        Kind::LocalTime => pattern(&format!("{DATE}[Tt ]{TIME}")),
        Kind::ClaimTime => pattern(&format!("{DATE}[Tt ]{TIME}({OFFSET})?")),
        Kind::IntervalStart => pattern(&format!("(now|{DATE}[Tt ]{TIME}|{})", length_body(r"\+"))),
        Kind::Date => pattern(DATE),
        Kind::DateOrNone => pattern(&format!("({DATE}|none)")),
        Kind::TimeOfDay => pattern("[0-9]{2}:[0-9]{2}(:00)?"),
        Kind::Moment => pattern(&format!(
            "({DATE}[Tt ]{TIME}({OFFSET})?|{DAY} +{TIME}|{}|dose +[1-9][0-9]* +pulse +[1-9][0-9]*)",
            length_body(r"\+ *"),
        )),
        Kind::Days => json!({
            "type": "array", "minItems": 1, "uniqueItems": true,
            "items": { "enum": super::datetime::DAY_WORDS },
        }),
        Kind::Word(words) => json!({ "enum": words() }),
        Kind::Table(table) => json!({ "$ref": format!("#/$defs/{}", definition(table)) }),
        Kind::Tables(table) => {
            json!({ "type": "array", "items": { "$ref": format!("#/$defs/{}", definition(table)) } })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::doc::{self, Node, Value as TomlValue};
    use super::*;

    fn to_json(node: &Node) -> Value {
        match &node.value {
            TomlValue::Text { text, .. } | TomlValue::Stamp(text) => json!(text),
            TomlValue::Integer { digits, radix } => {
                json!(i64::from_str_radix(digits, *radix).unwrap())
            }
            TomlValue::Switch(on) => json!(on),
            TomlValue::List { items, .. } => json!(items.iter().map(to_json).collect::<Vec<_>>()),
            TomlValue::Table(table) => table_to_json(table),
            TomlValue::Float => json!(0.5),
            TomlValue::Broken => panic!("broken"),
        }
    }

    fn table_to_json(table: &doc::Table) -> Value {
        Value::Object(
            table.pairs.iter().map(|pair| (pair.key.clone(), to_json(&pair.node))).collect(),
        )
    }

    fn file_to_json(text: &str) -> Value {
        let document = doc::parse(text);
        assert!(document.problems.is_empty(), "{:?}", document.problems);
        table_to_json(&document.root)
    }

    /// The part of JSON Schema that `schema` uses; any other keyword is a failure.
    fn check(schema: &Value, value: &Value, root: &Value, path: &str, wrong: &mut Vec<String>) {
        let holds = |schema: &Value| {
            let mut inner = Vec::new();
            check(schema, value, root, path, &mut inner);
            inner.is_empty()
        };
        for (word, rule) in schema.as_object().unwrap() {
            let ok = match word.as_str() {
                "$schema" | "title" | "$defs" | "description" => true,
                "$ref" => {
                    let name = rule.as_str().unwrap().strip_prefix("#/$defs/").unwrap();
                    check(&root["$defs"][name], value, root, path, wrong);
                    true
                }
                "type" => match rule.as_str().unwrap() {
                    "object" => value.is_object(),
                    "array" => value.is_array(),
                    "string" => value.is_string(),
                    "integer" => value.is_i64(),
                    "boolean" => value.is_boolean(),
                    other => panic!("type {other}"),
                },
                "const" => value == rule,
                "enum" => rule.as_array().unwrap().contains(value),
                "minimum" => value.as_i64().is_none_or(|n| n >= rule.as_i64().unwrap()),
                "maximum" => value.as_i64().is_none_or(|n| n <= rule.as_i64().unwrap()),
                "minLength" => {
                    value.as_str().is_none_or(|s| s.len() as u64 >= rule.as_u64().unwrap())
                }
                "maxLength" => {
                    value.as_str().is_none_or(|s| s.len() as u64 <= rule.as_u64().unwrap())
                }
                "minItems" => {
                    value.as_array().is_none_or(|a| a.len() as u64 >= rule.as_u64().unwrap())
                }
                "uniqueItems" => {
                    value.as_array().is_none_or(|a| (1..a.len()).all(|i| !a[..i].contains(&a[i])))
                }
                "pattern" => value.as_str().is_none_or(|s| {
                    regex_lite::Regex::new(rule.as_str().unwrap()).unwrap().is_match(s)
                }),
                "anyOf" => rule.as_array().unwrap().iter().any(holds),
                "oneOf" => rule.as_array().unwrap().iter().filter(|s| holds(s)).count() == 1,
                "required" => rule
                    .as_array()
                    .unwrap()
                    .iter()
                    .all(|name| value.get(name.as_str().unwrap()).is_some()),
                "items" => {
                    for (i, item) in value.as_array().into_iter().flatten().enumerate() {
                        check(rule, item, root, &format!("{path}/{i}"), wrong);
                    }
                    true
                }
                "properties" => {
                    for (name, schema) in rule.as_object().unwrap() {
                        if let Some(inner) = value.get(name) {
                            check(schema, inner, root, &format!("{path}/{name}"), wrong);
                        }
                    }
                    true
                }
                "additionalProperties" => {
                    assert_eq!(*rule, json!(false));
                    value
                        .as_object()
                        .is_none_or(|o| o.keys().all(|key| schema["properties"].get(key).is_some()))
                }
                other => panic!("a keyword this check does not know: {other}"),
            };
            if !ok {
                wrong.push(format!("{path}: {word}"));
            }
        }
    }

    fn wrong(text: &str) -> Vec<String> {
        let root: Value = serde_json::from_str(&schema()).unwrap();
        let mut wrong = Vec::new();
        check(&root, &file_to_json(text), &root, "", &mut wrong);
        wrong
    }

    #[test]
    fn the_template_is_valid() {
        assert_eq!(wrong(super::super::template()), Vec::<String>::new());
    }

    #[test]
    fn what_the_reader_takes_the_schema_takes_and_the_other_way() {
        let everything = include_str!("everything.toml");
        assert!(super::super::read("e", everything).is_ok());
        assert_eq!(wrong(everything), Vec::<String>::new());
        for (from, to, path) in [
            ("\"120 ml\"", "\"120\"", "/entry/0/volume: pattern"),
            ("rollers = 3", "rollers = 17", "/head/rollers: maximum"),
            ("schema = 1", "schema = 2", "/schema: const"),
            ("run_for", "run_four", ": required"),
            ("\"fri 00:50:20\"", "\"friday\"", "/fault/0/at: pattern"),
            ("nights = [\"mon\"", "nights = [\"thr\"", "/entry/0/weekly/nights/0: enum"),
        ] {
            let bad = everything.replacen(from, to, 1);
            assert_ne!(bad, everything, "{from}");
            assert!(wrong(&bad).iter().any(|w| w.ends_with(path)), "{path}: {:?}", wrong(&bad));
            assert!(super::super::read("e", &bad).is_err(), "{to}");
        }
    }

    #[test]
    fn everything_names_every_key() {
        let text = include_str!("everything.toml");
        let mut tables = vec![&ROOT];
        collect(&ROOT, &mut tables);
        let value = file_to_json(text);
        let mut seen: Vec<(String, String)> = Vec::new();
        note(&ROOT, &value, &mut seen);
        for table in tables {
            for key in table.keys {
                let pair = (definition(table), key.name.to_owned());
                // Mains and battery exclude each other: mains are what other tests run on.
                // So do the drives of a head: the round trip of each is tested beside them.
                if ["mains", "on_off", "duty", "speed"].contains(&key.name) {
                    continue;
                }
                assert!(seen.contains(&pair), "everything.toml has no {pair:?}");
            }
        }
    }

    fn note(table: &Table, value: &Value, seen: &mut Vec<(String, String)>) {
        for key in table.keys {
            let Some(inner) = value.get(key.name) else { continue };
            seen.push((definition(table), key.name.to_owned()));
            match key.kind {
                Kind::Table(next) => note(next, inner, seen),
                Kind::Tables(next) => {
                    inner.as_array().unwrap().iter().for_each(|item| note(next, item, seen));
                }
                _ => {}
            }
        }
    }

    #[test]
    fn no_two_tables_share_a_definition() {
        let mut tables = Vec::new();
        collect(&ROOT, &mut tables);
        let mut names: Vec<String> = tables.iter().map(|t| definition(t)).collect();
        names.sort();
        let all = names.len();
        names.dedup();
        assert_eq!(names.len(), all);
    }
}
