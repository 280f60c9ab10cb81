//! Getters of switches, names and words.

use super::super::doc::Value;
use super::super::keys::Kind;
use super::super::model::EntryName;
use super::super::nearest::nearest;
use super::TableReader;
use crate::diagnose::{Diagnostic, codes};

impl TableReader<'_, '_> {
    pub(in crate::scenario) fn switch(&mut self, key: &'static str) -> Option<bool> {
        let (node, kind) = self.node(key)?;
        if let Value::Switch(on) = node.value {
            return Some(on);
        }
        self.wrong_type(key, node, kind);
        None
    }

    pub(in crate::scenario) fn free_text(&mut self, key: &'static str) -> Option<String> {
        let (text, node, kind) = self.text(key)?;
        if let Kind::Text(most) = kind
            && text.chars().count() > most
        {
            let message = format!("`{key}` is longer than {most} characters");
            self.cx.report(Diagnostic::new(codes::OUT_OF_RANGE, node.span, message));
            return None;
        }
        Some(text.to_owned())
    }

    /// The name of a new entry.
    pub(in crate::scenario) fn name(&mut self, key: &'static str) -> Option<String> {
        let (text, node, _) = self.text(key)?;
        let label = if text.is_empty() {
            "it is empty"
        } else if text.chars().count() > 64 {
            "it is longer than 64 characters"
        } else if text.chars().any(char::is_control) {
            "it has a control character"
        } else if text.trim() != text {
            "it begins or ends with a blank"
        } else {
            return Some(text.to_owned());
        };
        let message = format!("`{key}` cannot be used as a name");
        self.cx.report(Diagnostic::new(codes::BAD_NAME, node.span, message).label(label));
        None
    }

    /// The name of an entry that is to exist.
    pub(in crate::scenario) fn entry(&mut self, key: &'static str) -> Option<EntryName> {
        let (text, node, _) = self.text(key)?;
        let name = EntryName { name: text.to_owned(), span: node.span };
        self.cx.references.push(name.clone());
        Some(name)
    }

    /// A word of a list: its place in the list.
    pub(in crate::scenario) fn word<T: Copy>(
        &mut self,
        key: &'static str,
        values: &[T],
    ) -> Option<T> {
        let Some(Kind::Word(words)) = self.kind(key) else { return self.slip(key) };
        let words = words();
        debug_assert_eq!(words.len(), values.len());
        let (text, node, _) = self.text(key)?;
        let at = words.iter().position(|word| *word == text);
        if at.is_none() {
            let near = nearest(&text.to_lowercase(), words.iter().copied())
                .or_else(|| words.iter().copied().find(|word| word.eq_ignore_ascii_case(text)));
            let help = near.map_or_else(
                || format!("one of: {}", words.join(", ")),
                |near| format!("did you mean \"{near}\"?"),
            );
            let message = format!("`{key}` has an unknown word");
            let found =
                Diagnostic::new(codes::UNKNOWN_WORD, node.span, message).label("not in the list");
            self.cx.report(found.help(help));
        }
        at.and_then(|at| values.get(at)).copied()
    }
}
