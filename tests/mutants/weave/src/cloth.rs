//! The text with what is woven into it.

use std::ops::Range;

use serde::Serialize;

/// Text to put in, and whose it is: an error of the compiler in a mutant's own text is
/// that mutant's.
pub type Piece = (Option<usize>, String);

/// Text around a piece of source, or in place of it.
pub struct Wrap {
    pub around: Range<usize>,
    /// Of two wraps around the same source the one with the lower rank is outside.
    pub rank: u8,
    pub before: Vec<Piece>,
    /// Source inside that is replaced: an operator's token, mostly.
    pub instead: Vec<(Range<usize>, Vec<Piece>)>,
    pub after: Vec<Piece>,
    pub mutants: Vec<usize>,
}

/// Where a mutant's own text, or a whole wrap, stands in the woven file, in bytes.
#[derive(Serialize)]
pub struct Stretch {
    pub start: usize,
    pub end: usize,
    pub mutants: Vec<usize>,
    /// A mutant's own text, and not the wrap of several.
    pub own: bool,
}

struct Stitch<'a> {
    at: usize,
    order: (u8, usize, u8),
    wrap: usize,
    pieces: &'a [Piece],
    skip_to: usize,
}

/// The woven text and where everything stands in it. Wraps inside source that another one
/// replaces are left out; their mutants are returned.
pub fn weave(source: &str, wraps: &[Wrap]) -> (String, Vec<Stretch>, Vec<usize>) {
    let replaced: Vec<&Range<usize>> =
        wraps.iter().flat_map(|w| w.instead.iter().map(|(range, _)| range)).collect();
    let is_inside = |wrap: &Wrap| {
        let (start, end) = (wrap.around.start, wrap.around.end);
        replaced
            .iter()
            .any(|r| (r.start < start || r.start < end && r.start == start) && end <= r.end)
    };
    let mut lost = Vec::new();
    let mut stitches = Vec::new();
    for (wrap, w) in wraps.iter().enumerate() {
        if is_inside(w) {
            lost.extend(&w.mutants);
            continue;
        }
        let (start, end) = (w.around.start, w.around.end);
        let stitch = |at, order, pieces, skip_to| Stitch { at, order, wrap, pieces, skip_to };
        // what ends at a place comes before what begins there; inner ends first, outer begins
        // first, and a wrap around nothing stands before them all
        let outside = if start == end { 0 } else { usize::MAX - (end - start) };
        stitches.push(stitch(start, (1, outside, w.rank), &w.before, start));
        stitches.push(stitch(end, (0, end - start, u8::MAX - w.rank), &w.after, end));
        for (range, pieces) in &w.instead {
            stitches.push(stitch(range.start, (2, 0, 0), pieces, range.end));
        }
    }
    stitches.sort_by_key(|s| (s.at, s.order));
    let mut text = String::new();
    let mut stretches = Vec::new();
    let mut ends: Vec<Option<Range<usize>>> = vec![None; wraps.len()];
    let mut at = 0;
    for stitch in &stitches {
        text.push_str(&source[at.min(stitch.at)..stitch.at]);
        at = at.max(stitch.at);
        let first = text.len();
        for (whose, piece) in stitch.pieces {
            let start = text.len();
            text.push_str(piece);
            if let Some(mutant) = whose {
                let mutants = vec![*mutant];
                stretches.push(Stretch { start, end: text.len(), mutants, own: true });
            }
        }
        let whole = ends[stitch.wrap].get_or_insert(first..first);
        whole.end = text.len();
        at = at.max(stitch.skip_to);
    }
    text.push_str(&source[at..]);
    for (whole, wrap) in ends.into_iter().zip(wraps) {
        if let Some(Range { start, end }) = whole {
            stretches.push(Stretch { start, end, mutants: wrap.mutants.clone(), own: false });
        }
    }
    (text, stretches, lost)
}
