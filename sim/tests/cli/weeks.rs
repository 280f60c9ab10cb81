//! The picture of a week: each dose with its window and its mark.

use crate::support::{Place, nights};

/// Top and bottom of the grid, and the left edge of its first column, in units of the picture.
const TOP: f64 = 34.0;
const BOTTOM: f64 = TOP + 24.0 * 15.0;
const LEFT: f64 = 34.0;
const DAY_W: f64 = 48.0;

/// The picture of the week of a Monday, without its legend.
fn picture<'p>(page: &'p str, monday: &str) -> &'p str {
    let from = page.find(&format!("Week of Monday {monday}")).unwrap();
    let from = from + page[from..].find("<svg").unwrap();
    &page[from..][..page[from..].find("</svg>").unwrap()]
}

fn number(tag: &str, name: &str) -> f64 {
    let from = tag.find(&format!(" {name}=\"")).unwrap() + name.len() + 3;
    tag[from..][..tag[from..].find('"').unwrap()].parse().unwrap()
}

fn tags<'p>(picture: &'p str, head: &str) -> Vec<&'p str> {
    picture.match_indices(head).map(|(at, _)| picture[at..].split('>').next().unwrap()).collect()
}

/// Boxes of windows as column, and hours from top to bottom.
fn boxes(picture: &str) -> Vec<(usize, f64, f64)> {
    let hour = |y: f64| (y - TOP) / 15.0;
    tags(picture, "<rect class=\"due\"")
        .into_iter()
        .map(|tag| {
            let (x, y, h) = (number(tag, "x"), number(tag, "y"), number(tag, "height"));
            assert!(y >= TOP - 0.05 && y + h <= BOTTOM + 0.05, "{tag}");
            (((x - LEFT) / DAY_W) as usize, hour(y), hour(y + h))
        })
        .collect()
}

/// Full discs as column and hour of the middle.
fn discs(picture: &str) -> Vec<(usize, f64)> {
    tags(picture, "<circle class=\"dosed\"")
        .into_iter()
        .map(|tag| {
            let (x, y, r) = (number(tag, "cx"), number(tag, "cy"), number(tag, "r"));
            assert!(y - r >= TOP - 0.05 && y + r <= BOTTOM + 0.05, "{tag}");
            (((x - LEFT) / DAY_W) as usize, (y - TOP) / 15.0)
        })
        .collect()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 0.02
}

#[test]
fn a_window_across_midnight_goes_on_at_the_top_of_the_next_day() {
    let place = Place::new("week-midnight");
    let text = nights("")
        .replace("[\"mon\", \"tue\", \"wed\"]", "[\"tue\", \"sun\"]")
        .replace("00:45", "23:00")
        .replace("45 min", "5 h")
        .replace("4 days", "10 days");
    place.write("site.toml", &text);
    let said = place.call(&["report", "site.toml", "-o", "r.html"]);
    assert_eq!(said.code, 0, "{said:?}");
    let page = place.read("r.html");
    let first = picture(&page, "2026-10-05");
    let drawn = boxes(first);
    let wanted = [(1, 23.0, 24.0), (2, 0.0, 4.0), (6, 23.0, 24.0)];
    assert_eq!(drawn.len(), wanted.len(), "{drawn:?}");
    for (have, want) in drawn.iter().zip(wanted) {
        assert!(have.0 == want.0 && near(have.1, want.1) && near(have.2, want.2), "{drawn:?}");
    }
    // each mark stands once, on the day on which its dose was due
    let marks = discs(first);
    assert!(marks.len() == 2 && marks[0].0 == 1 && marks[1].0 == 6, "{marks:?}");
    assert!(marks.iter().all(|mark| near(mark.1, 23.5)), "{marks:?}");
    // and Sunday's window goes on in the week after, without a mark of its own there
    let second = picture(&page, "2026-10-12");
    let drawn = boxes(second);
    assert!(drawn[0].0 == 0 && near(drawn[0].1, 0.0) && near(drawn[0].2, 4.0), "{drawn:?}");
    assert_eq!(discs(second).len(), 1);
}

#[test]
fn the_mark_of_a_dose_just_before_midnight_is_within_the_picture() {
    let place = Place::new("week-just-before");
    for (at, window) in [("23:45", "40 min"), ("23:55", "6 min"), ("00:00", "6 min")] {
        let text = nights("").replace("00:45", at).replace("45 min", window);
        place.write("site.toml", &text);
        place.call(&["report", "site.toml", "-o", "r.html"]);
        let page = place.read("r.html");
        let drawn = picture(&page, "2026-10-05");
        assert!(boxes(drawn).len() >= 3 && discs(drawn).len() == 3, "{at}");
    }
}

/// What an edit or a new entry made of the timetable is what the weeks after it are told by.
#[test]
fn a_week_after_an_edit_is_drawn_by_the_settings_of_then() {
    let place = Place::new("week-edit");
    let closed = "[[closed]]\nfirst = 2026-10-12\nlast = 2026-10-18\n[[operator]]\n\
                  at = \"2026-10-08 10:00\"\n";
    let week = "days = [\"mon\", \"tue\", \"wed\", \"thu\", \"fri\", \"sat\", \"sun\"]";
    let page = |act: &str| {
        place.write("site.toml", &nights(&format!("{closed}{act}")).replace("4 days", "21 days"));
        place.call(&["report", "site.toml", "-o", "r.html", "-q"]);
        place.write("run.jsonl", &place.call(&["run", "site.toml", "--json"]).out);
        place.call(&["report", "run.jsonl", "-o", "s.html", "-q"]);
        assert!(place.read("r.html") == place.read("s.html"));
        place.read("r.html")
    };
    // three nights a week are made seven, of 90 min each
    let edited = page(&format!(
        "edit = {{ entry = \"night\", weekly = {{ {week}, at = \"07:00\" }}, window = \"90 min\" }}\n"
    ));
    let said = "From Monday <span class=\"date\">2026-10-12</span> to Sunday, 7 doses were due: 7 skipped.";
    assert!(edited.contains(said), "{edited}");
    let drawn = boxes(picture(&edited, "2026-10-12"));
    assert!(
        drawn.len() == 7
            && drawn
                .iter()
                .enumerate()
                .all(|(day, of)| of.0 == day && near(of.1, 7.0) && near(of.2, 8.5)),
        "{drawn:?}"
    );
    // before the edit the window was half as long
    let drawn = boxes(picture(&edited, "2026-10-05"));
    assert!(near(drawn[0].2 - drawn[0].1, 0.75) && drawn.len() > 5, "{drawn:?}");
    let added = page(&format!(
        "add = {{ name = \"bar\", weekly = {{ {week}, at = \"03:00\" }}, volume = \"60 ml\", window = \"90 min\" }}\n"
    ));
    let drawn = boxes(picture(&added, "2026-10-12"));
    let bar: Vec<_> = drawn.iter().filter(|of| near(of.1, 3.0)).collect();
    assert!(bar.len() == 7 && bar.iter().all(|of| near(of.2, 4.5)), "{drawn:?}");
    let every = page(
        "add = { name = \"drip\", every = { interval = \"8 h\", from = \"2026-10-08 12:00\" }, volume = \"10 ml\", window = \"30 min\" }\n[[fault]]\nat = \"2026-10-12 00:30\"\nremote_stop = { lasts = \"60 h\" }\n",
    );
    let drawn = boxes(picture(&every, "2026-10-12"));
    assert!(drawn.iter().filter(|of| near(of.2 - of.1, 0.5)).count() >= 20, "{drawn:?}");
}

/// A clock that is set on by days skips dues that were meant before the edit was made.
#[test]
fn a_row_that_a_setting_of_the_clock_skips_is_of_its_own_revision() {
    let place = Place::new("week-revision");
    let acts = "[[operator]]\nat = \"2026-10-06 10:00\"\n\
                edit = { entry = \"night\", weekly = { days = [\"mon\", \"wed\", \"fri\"], at = \"07:30\" }, window = \"90 min\" }\n\
                [[operator]]\nat = \"2026-10-06 12:00\"\nset_clock = { by = \"9 d\" }\n";
    place.write("site.toml", &nights(acts));
    place.call(&["report", "site.toml", "-o", "r.html", "-q"]);
    let page = place.read("r.html");
    // 9, 12 and 14 October; of 7 October by true time it is before the edit
    let said = "From Monday <span class=\"date\">2026-10-12</span> to Sunday, 3 doses were due";
    assert!(page.contains(said), "{page}");
    let drawn = boxes(picture(&page, "2026-10-12"));
    assert!(
        drawn.len() == 3 && drawn.iter().all(|of| near(of.1, 7.5) && near(of.2, 9.0)),
        "{drawn:?}"
    );
}
