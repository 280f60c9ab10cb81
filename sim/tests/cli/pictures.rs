//! The pictures of the book are what the program draws. Renew them with
//! `DOSEWRIGHT_UPDATE_BOOK=1 cargo test -p dosewright-sim --test cli pictures`.

use std::path::Path;

use crate::support::{Place, shipped};

/// Cuts a figure out of a page, as a file of its own with the page's style.
fn cut(page: &str, id: &str) -> (String, String) {
    let style = page.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    let style: String = style
        .lines()
        .filter(|line| line.starts_with("svg") || line.contains(":root"))
        .map(|line| format!("{line}\n"))
        .collect();
    let from = page.find(&format!("<figure id=\"{id}\">")).unwrap_or_else(|| panic!("{id}"));
    let svg = &page[from..][page[from..].find("<svg").unwrap()..];
    let svg = &svg[..svg.find("</svg>").unwrap() + 6];
    let what = svg.split("<desc").nth(1).unwrap().split('>').nth(1).unwrap();
    let what = what.split("</desc").next().unwrap().to_owned();
    let (head, body) = svg.split_at(svg.find('>').unwrap() + 1);
    let head = head.replace("<svg", "<svg xmlns=\"http://www.w3.org/2000/svg\"");
    (format!("{head}<style>\n{style}</style>{body}\n").replace("><", ">\n<"), what)
}

#[test]
fn the_books_pictures_are_what_the_program_draws() {
    let place = Place::new("pictures");
    let docs = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src");
    for name in [
        "01-quayside-canteen.toml",
        "02-mill-refectory-autumn.toml",
        "03-bakery-cellar-long-cut.toml",
        "harbour-kitchen.toml",
    ] {
        place.write(name, &shipped(name));
    }
    let faults = "supply_loss,memory_tear,clock_lost,late_wake,leak,squeeze_lost";
    let sweep = ["sweep", "01-quayside-canteen.toml", "--faults", faults, "--json"];
    place.write("sweep.jsonl", &place.call(&sweep).out);
    for (file, id, name) in [
        ("02-mill-refectory-autumn.toml", "week-1", "autumn-week"),
        ("03-bakery-cellar-long-cut.toml", "week-1", "cut-week"),
        ("01-quayside-canteen.toml", "pulses", "pulses"),
        ("01-quayside-canteen.toml", "evenness", "evenness"),
        ("harbour-kitchen.toml", "container", "container"),
        ("harbour-kitchen.toml", "battery", "battery"),
        ("sweep.jsonl", "matrix-1", "matrix"),
    ] {
        place.call(&["report", file, "-o", "page.html", "-q"]);
        let (found, what) = cut(&place.read("page.html"), id);
        let path = docs.join("pictures").join(format!("{name}.svg"));
        if std::env::var_os("DOSEWRIGHT_UPDATE_BOOK").is_some() {
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(&path, &found).unwrap();
            println!("{name}: {what}");
        }
        let book = std::fs::read_to_string(&path).unwrap_or_default().replace('\r', "");
        assert!(
            book == found,
            "docs/src/pictures/{name}.svg is not what the program draws; renew it with\n  \
             DOSEWRIGHT_UPDATE_BOOK=1 cargo test -p dosewright-sim --test cli pictures"
        );
    }
}
