//! A scenario file as plain tables with keys and values, and how large it is.

use std::fmt::Write as _;

use toml_edit::{DocumentMut, Item, Value};

use crate::scenario;
use crate::tables;

/// What may trouble the device: faults, and what people do.
const FAULT: &str = "fault";
const ACT: &str = "operator";

/// One table, `[clock]`, or one of a list, `[[fault]]`.
#[derive(Debug, Clone)]
pub(super) struct Block {
    /// Its name; empty for the keys outside all tables.
    pub(super) name: String,
    pub(super) is_listed: bool,
    pub(super) pairs: Vec<(String, Value)>,
}

/// The whole file, comments left out.
#[derive(Debug, Clone)]
pub(super) struct Plain {
    pub(super) blocks: Vec<Block>,
}

/// How large a file is: lines, then digits that say something, then characters.
pub(super) type Size = (usize, usize, usize);

impl Plain {
    /// Of a text; `None` where it is no TOML.
    pub(super) fn read(text: &str) -> Option<Self> {
        let mut doc: DocumentMut = text.parse().ok()?;
        tables::unfold(&mut doc);
        let mut root = Block { name: String::new(), is_listed: false, pairs: Vec::new() };
        let mut blocks = Vec::new();
        for (name, item) in doc.iter() {
            match item {
                Item::Table(table) => {
                    let pairs = pairs(table.iter())?;
                    blocks.push(Block { name: name.to_owned(), is_listed: false, pairs });
                }
                Item::ArrayOfTables(tables) => {
                    for table in tables {
                        let pairs = pairs(table.iter())?;
                        blocks.push(Block { name: name.to_owned(), is_listed: true, pairs });
                    }
                }
                item => root.pairs.push((name.to_owned(), value(item)?)),
            }
        }
        blocks.insert(0, root);
        Some(Self { blocks })
    }

    /// As a file.
    pub(super) fn write(&self) -> String {
        let mut out = String::new();
        for block in &self.blocks {
            if !block.name.is_empty() {
                let (open, close) = if block.is_listed { ("[[", "]]") } else { ("[", "]") };
                _ = writeln!(out, "\n{open}{}{close}", block.name);
            }
            for (key, value) in &block.pairs {
                _ = writeln!(out, "{} = {value}", quoted(key));
            }
        }
        out
    }

    /// What may trouble the device in this scenario, together and each alone.
    pub(super) fn without_trouble(&self) -> Vec<&'static [&'static str]> {
        let has = |name: &str| self.blocks.iter().any(|block| block.name == name);
        match (has(FAULT), has(ACT)) {
            (true, true) => vec![&[FAULT, ACT], &[FAULT], &[ACT]],
            // of nothing there is nothing to leave out
            (false, false) => Vec::new(),
            _ => vec![&[FAULT, ACT]],
        }
    }

    /// The same without the tables of these names.
    pub(super) fn without(&self, names: &[&str]) -> Self {
        let stays = |block: &&Block| !names.contains(&block.name.as_str());
        Self { blocks: self.blocks.iter().filter(stays).cloned().collect() }
    }

    /// How long it runs, in ms, where that is written as a length.
    pub(super) fn run_ms(&self) -> Option<u64> {
        let clock = self.blocks.iter().find(|block| block.name == "clock")?;
        let (_, value) = clock.pairs.iter().find(|(key, _)| key == "run_for")?;
        scenario::length(value.as_str()?).ok()
    }

    /// What says which doses are asked for: when the run is, and when each entry is due.
    pub(super) fn asked(&self) -> Vec<String> {
        const OF_A_DOSE: [&str; 4] = ["volume", "window", "grace", "pulses"];
        let timetable = self
            .blocks
            .iter()
            .filter(|block| matches!(block.name.as_str(), "clock" | "entry" | "closed"));
        timetable
            .flat_map(|block| &block.pairs)
            .filter(|(key, _)| !OF_A_DOSE.contains(&key.as_str()))
            .map(|(key, value)| format!("{key} = {value}"))
            .collect()
    }

    pub(super) fn lines(&self) -> usize {
        let heads = self.blocks.iter().filter(|block| !block.name.is_empty()).count();
        heads + self.blocks.iter().map(|block| block.pairs.len()).sum::<usize>()
    }

    pub(super) fn size(&self) -> Size {
        let text = self.write();
        let digits = text.chars().filter(|c| ('1'..='9').contains(c)).count();
        (self.lines(), digits, text.len())
    }

    /// The value at a path of keys in a block.
    pub(super) fn value_mut(&mut self, block: usize, path: &[usize]) -> Option<&mut Value> {
        let (first, rest) = path.split_first()?;
        let mut value = self.blocks.get_mut(block)?.pairs.get_mut(*first).map(|(_, v)| v)?;
        for at in rest {
            value = match value {
                Value::InlineTable(table) => table.iter_mut().nth(*at).map(|(_, v)| v)?,
                Value::Array(array) => array.get_mut(*at)?,
                _ => return None,
            };
        }
        Some(value)
    }

    /// The paths of all values in a block, those of tables and lists before those
    /// in them.
    pub(super) fn paths(&self, block: usize) -> Vec<Vec<usize>> {
        fn walk(value: &Value, path: &mut Vec<usize>, out: &mut Vec<Vec<usize>>) {
            out.push(path.clone());
            let inner: Vec<&Value> = match value {
                Value::InlineTable(table) => table.iter().map(|(_, value)| value).collect(),
                Value::Array(array) => array.iter().collect(),
                _ => return,
            };
            for (at, value) in inner.into_iter().enumerate() {
                path.push(at);
                walk(value, path, out);
                path.pop();
            }
        }
        let mut out = Vec::new();
        for (at, (_, value)) in
            self.blocks.get(block).iter().flat_map(|b| b.pairs.iter().enumerate())
        {
            walk(value, &mut vec![at], &mut out);
        }
        out
    }

    /// Takes a value out of the table or list that it is in.
    pub(super) fn remove(&mut self, block: usize, path: &[usize]) -> Option<()> {
        let (last, before) = path.split_last()?;
        if before.is_empty() {
            let pairs = &mut self.blocks.get_mut(block)?.pairs;
            if *last >= pairs.len() {
                return None;
            }
            pairs.remove(*last);
            return Some(());
        }
        match self.value_mut(block, before)? {
            Value::InlineTable(table) => {
                let key = table.iter().nth(*last).map(|(key, _)| key.to_owned())?;
                table.remove(&key)?;
                table.fmt();
            }
            Value::Array(array) => {
                if *last >= array.len() {
                    return None;
                }
                array.remove(*last);
                array.fmt();
            }
            _ => return None,
        }
        Some(())
    }
}

fn quoted(key: &str) -> String {
    if !key.is_empty() && key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_' || c == '-') {
        key.to_owned()
    } else {
        Value::from(key).to_string()
    }
}

fn pairs<'a>(items: impl Iterator<Item = (&'a str, &'a Item)>) -> Option<Vec<(String, Value)>> {
    items.map(|(key, item)| Some((key.to_owned(), value(item)?))).collect()
}

/// A value without what stands around it; tables become inline ones.
fn value(item: &Item) -> Option<Value> {
    let mut value = item.clone().into_value().ok()?;
    settle(&mut value);
    Some(value)
}

/// Takes line ends and comments out of a value.
fn settle(value: &mut Value) {
    match value {
        Value::InlineTable(table) => {
            table.iter_mut().for_each(|(_, value)| settle(value));
            table.fmt();
        }
        Value::Array(array) => {
            array.iter_mut().for_each(settle);
            array.set_trailing("");
            array.set_trailing_comma(false);
            array.fmt();
        }
        _ => {}
    }
    value.decor_mut().clear();
}
