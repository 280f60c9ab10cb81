//! The lists of tables of a scenario's text, `[[fault]]`, brought into that one way of
//! writing: a file may as well have `fault = [{ at = "+1 d", leak = {} }]`, and a table
//! that is added to it in the other way would be the key a second time.

use toml_edit::{Array, DocumentMut, Item, Value};

/// Writes each list of tables of the document that stands as a value as tables of its own.
/// One that is empty says nothing, and goes.
pub(crate) fn unfold(doc: &mut DocumentMut) {
    for key in ["fault", "operator", "expect"] {
        if doc.get(key).and_then(Item::as_array).is_some_and(Array::is_empty) {
            doc.remove(key);
        }
    }
    let is_list = |item: &Item| match item {
        Item::Value(Value::Array(all)) => !all.is_empty() && all.iter().all(Value::is_inline_table),
        _ => false,
    };
    let lists: Vec<String> =
        doc.iter().filter(|(_, item)| is_list(item)).map(|(key, _)| key.to_owned()).collect();
    for key in lists {
        let Some(item) = doc.remove(&key) else { continue };
        if let Ok(mut tables) = item.into_array_of_tables() {
            // where it stood on a line no longer matters
            tables.iter_mut().for_each(|table| table.decor_mut().clear());
            doc.insert(&key, Item::ArrayOfTables(tables));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_on_a_line_becomes_tables_and_takes_one_more() {
        let text = "fault = [{ at = \"+1 d\", leak = {} }, { at = \"+2 d\", leak = {} }]\n\
                    operator = []\nschema = 1\n\n[clock]\ndrift = [1, 2]\n";
        let mut doc: DocumentMut = text.parse().unwrap();
        unfold(&mut doc);
        let more = format!("{doc}\n[[fault]]\nat = \"+3 d\"\n");
        let read: DocumentMut = more.parse().unwrap();
        let faults = read["fault"].as_array_of_tables().unwrap();
        let at: Vec<&str> = faults.iter().filter_map(|fault| fault["at"].as_str()).collect();
        assert_eq!(at, ["+1 d", "+2 d", "+3 d"], "{more}");
        assert!(read.get("operator").is_none() && read["clock"]["drift"].is_array(), "{more}");
        assert!(read["schema"].as_integer() == Some(1), "{more}");
    }
}
