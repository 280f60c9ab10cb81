//! The known word nearest to one that is not known.

/// Edits (insert, delete, replace, swap of neighbours) that lead from one word
/// to the other: the optimal string alignment distance.
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut before_last: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let replace = last[j] + usize::from(x != y);
            let mut best = replace.min(last[j + 1] + 1).min(row[j] + 1);
            if i > 0 && j > 0 && *x == b[j - 1] && a[i - 1] == *y {
                best = best.min(before_last[j - 1] + 1);
            }
            row.push(best);
        }
        before_last = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

/// How far off a word may be to be taken for a slip: some third of its letters,
/// one at least.
fn reach(word: &str) -> usize {
    ((word.chars().count() + 1) / 3).max(1)
}

/// The nearest of the words, where one is near; of several the first.
pub(super) fn nearest<'w>(word: &str, words: impl IntoIterator<Item = &'w str>) -> Option<&'w str> {
    // A word longer than any that is known by more than it is near is none of them,
    // and a word as long as a file is not measured.
    if word.len() > 80 {
        return None;
    }
    let near = words.into_iter().map(|known| (distance(word, known), known));
    near.filter(|(d, known)| *d <= reach(known).min(reach(word)))
        .min_by_key(|(d, _)| *d)
        .map(|(_, known)| known)
}

/// The nearest few of many names, nearest first.
pub(super) fn nearest_few<'w>(
    word: &str,
    names: impl IntoIterator<Item = &'w str>,
    distance_to: impl Fn(&str, &str) -> usize,
) -> Vec<&'w str> {
    if word.len() > 80 {
        return Vec::new();
    }
    let mut near: Vec<(usize, &str)> = names
        .into_iter()
        .map(|name| (distance_to(word, name), name))
        .filter(|(d, _)| *d <= reach(word).min(3))
        .collect();
    near.sort_by_key(|(d, name)| (*d, name.len()));
    near.into_iter().take(3).map(|(_, name)| name).collect()
}

/// Distance without regard to case.
pub(super) fn loose_distance(a: &str, b: &str) -> usize {
    distance(&a.to_lowercase(), &b.to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances() {
        assert_eq!(distance("window", "window"), 0);
        assert_eq!(distance("windwo", "window"), 1);
        assert_eq!(distance("volum", "volume"), 1);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("kitten", "sitting"), 3);
    }

    #[test]
    fn only_what_is_near_is_offered() {
        let keys = ["volume", "window", "weekly", "at"];
        assert_eq!(nearest("volum", keys), Some("volume"));
        assert_eq!(nearest("windoww", keys), Some("window"));
        assert_eq!(nearest("temperature", keys), None);
        assert_eq!(nearest("a", keys), Some("at"));
        assert_eq!(nearest(&"x".repeat(10_000), keys), None);
    }
}
