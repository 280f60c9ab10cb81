//! Names that are too wide for their column.

use crate::diagnose::display;

/// A name on so many cells, cut with a tilde where it is wider: its end, or, where that
/// leaves two names alike, its middle. Where no cut tells them apart it is whole.
pub(super) fn padded(name: &str, cells: usize, all: &[String]) -> String {
    let others = || all.iter().filter(|other| *other != name);
    let tails = [0, cells / 3, cells / 2, cells * 2 / 3, cells.saturating_sub(2)];
    let mut mine = tails.into_iter().filter_map(|tail| {
        let mine = cut(name, cells, tail);
        others().all(|other| cut(other, cells, tail) != mine).then_some(mine)
    });
    let mut text = mine.next().unwrap_or_else(|| display(name).0);
    let width = display(&text).1;
    text.extend(std::iter::repeat_n(' ', cells.saturating_sub(width)));
    text
}

/// A name on so many cells at most, so many of them from its end.
fn cut(name: &str, cells: usize, tail: usize) -> String {
    let (text, width) = display(name);
    if width <= cells {
        return text;
    }
    let taken = |chars: &mut dyn Iterator<Item = char>, room: usize| {
        let (mut out, mut left) = (String::new(), room);
        for c in chars {
            let width = display(&c.to_string()).1;
            if width > left {
                break;
            }
            left -= width;
            out.push(c);
        }
        out
    };
    let end: String = taken(&mut text.chars().rev(), tail).chars().rev().collect();
    let room = cells.saturating_sub(1 + display(&end).1);
    format!("{}~{end}", taken(&mut text.chars(), room))
}

#[cfg(test)]
mod tests {
    use super::padded;

    fn shown(names: &[&str], cells: usize) -> Vec<String> {
        let all: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        names.iter().map(|name| padded(name, cells, &all)).collect()
    }

    #[test]
    fn the_end_goes_unless_it_is_what_tells_two_names_apart() {
        assert_eq!(
            shown(&["bar", "ristorante grande", "r"], 8),
            ["bar     ", "ristora~", "r       "]
        );
        assert_eq!(
            shown(&["kitchen line 1", "kitchen line 10", "kitchen"], 9),
            ["kitch~e 1", "kitch~ 10", "kitchen  "]
        );
        // by their beginnings and ends alike: the middle is what is left
        assert_eq!(
            shown(&["aaaaaaaa1bbbbbbbbb", "aaaaaaaa2bbbbbbbbb"], 9),
            ["aaaaaaaa1bbbbbbbbb", "aaaaaaaa2bbbbbbbbb"]
        );
        // one name twice is one entry given up and added again
        assert_eq!(shown(&["ristorante grande", "ristorante grande"], 8), ["ristora~"; 2]);
    }

    #[test]
    fn wide_signs_take_two_cells() {
        let names = [
            "\u{53a8}\u{623f}\u{4e00}\u{4e8c}\u{4e09}",
            "\u{53a8}\u{623f}\u{4e00}\u{4e8c}\u{56db}",
        ];
        let found = shown(&names, 8);
        assert!(found[0] != found[1], "{found:?}");
        for name in &found {
            assert_eq!(crate::diagnose::display(name).1, 8, "{found:?}");
        }
    }
}
