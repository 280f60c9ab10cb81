//! `dosewright operate`: scripts as tests, what is typed, and the way of a first set-up.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Stdio;

use crate::support::{Place, Said, nights};

fn docs() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs")
}

fn script(place: &Place, site: &str, name: &str, more: &[&str]) -> Said {
    let file = |name: &str| docs().join("scripts").join(name).display().to_string();
    let (site, script) = (file(site), file(name));
    let mut args = vec!["operate", site.as_str(), "--script", script.as_str()];
    args.extend(more);
    place.call(&args)
}

#[test]
fn the_books_scripts_hold() {
    let place = Place::new("operate-scripts");
    let mut count = 0;
    for file in std::fs::read_dir(docs().join("scripts")).unwrap() {
        let name = file.unwrap().file_name().into_string().unwrap();
        if !name.ends_with(".script") {
            continue;
        }
        count += 1;
        let said = match name.as_str() {
            "first-set-up.script" => script(&place, "first-set-up.toml", &name, &["--factory"]),
            "closed.script" => {
                script(&place, "../scenarios/04-school-kitchen-holidays.toml", &name, &[])
            }
            _ => script(&place, "canteen.toml", &name, &[]),
        };
        assert_eq!(said.code, 0, "{name}: {}", said.err);
        assert!(said.err.contains("screens as expected"), "{name}: {}", said.err);
    }
    assert!(count >= 3, "only {count} scripts");
}

#[test]
fn the_way_of_a_first_set_up_is_as_long_as_the_book_says() {
    let place = Place::new("operate-first");
    let path = docs().join("scripts/first-set-up.script");
    let text = std::fs::read_to_string(path).unwrap();
    // up to where the entry is in force; what comes after it is a look at the result
    let (way, _) = text.split_once("# it is set up").expect("the script says where the way ends");
    place.write("way.script", way);
    let site = docs().join("scripts/first-set-up.toml").display().to_string();
    let said = place.call(&["operate", "--factory", &site, "--script", "way.script"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let figure = |word: &str| {
        let before = said.err.split(&format!(" {word}")).next().unwrap();
        before.rsplit(' ').next().unwrap().to_owned()
    };
    let (turns, presses, holds) = (figure("turns"), figure("presses"), figure("holds"));
    let book = std::fs::read_to_string(docs().join("src/panel.md")).unwrap();
    let sentence = format!("**{turns} notches, {presses} presses and {holds} holds**");
    assert!(book.contains(&sentence), "the book does not say {sentence}");
}

/// Width, height and pixels of a PNG, as red, green, blue.
fn pixels(bytes: &[u8]) -> (u32, u32, Vec<u8>) {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    (info.width, info.height, pixels)
}

#[test]
fn the_books_pictures_of_the_panel_are_what_a_display_shows() {
    let place = Place::new("operate-pictures");
    let drawn = ["--png", "drawn", "--scale", "3"];
    let said = script(&place, "canteen.toml", "pictures.script", &drawn);
    assert_eq!(said.code, 0, "{}", said.err);
    let mut count = 0;
    for file in std::fs::read_dir(place.dir.join("drawn")).unwrap() {
        let path = file.unwrap().path();
        let in_book = docs().join("src/pictures").join(path.file_name().unwrap());
        let drawn = std::fs::read(&path).unwrap();
        if std::env::var_os("DOSEWRIGHT_UPDATE_BOOK").is_some() {
            std::fs::write(&in_book, &drawn).unwrap();
        }
        let kept = std::fs::read(&in_book).unwrap_or_default();
        assert!(!kept.is_empty(), "{} is not in the book", in_book.display());
        let (width, height, dots) = pixels(&drawn);
        // three pixels a dot, and four dots of glass around the display
        assert_eq!((width, height), ((128 + 8) * 3, (64 + 8) * 3));
        assert!(pixels(&kept) == (width, height, dots), "{}", in_book.display());
        count += 1;
    }
    assert_eq!(count, 4);
    let said = script(&place, "canteen.toml", "edit.script", &["--png", "none"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("picture next-dose"), "{}", said.err);
}

#[test]
fn a_script_that_asks_for_screens_is_written_with_them() {
    let place = Place::new("operate-record");
    place.write("first.script", "press\nhold\nscreen\nright # on\nscreen\n");
    let said = place.call(&["operate", "--script", "first.script", "--record"]);
    assert_eq!(said.code, 0, "{}", said.err);
    let lines: Vec<&str> = said.out.lines().collect();
    assert_eq!(lines.len(), 11, "{}", said.out);
    assert_eq!((lines[0], lines[1], lines[6]), ("press", "hold", "right # on"));
    place.write("found.script", &said.out);
    let said = place.call(&["operate", "--script", "found.script"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.err.contains("2 screens as expected"), "{}", said.err);
}

#[test]
fn o2_a_calibration_ends_with_a_pump_that_is_slower_than_its_label() {
    // the label is left at 30 ml/min, the pump gives 26.5
    let until_the_run = "press\nhold\npress 6\npress 4\npress 5\npress 4\npress 5\n\
                         press 2\nwait 6 min\npress\nhold\npress 3\nwait 4 min\npress\nhold\n";
    // what is read off the cylinder: tens, ones, tenths
    let reading = |tens: &str, ones: &str, tenths: &str| {
        format!("press 3\n{tens}\npress\n{ones}\npress\n{tenths}\npress\npress\npress\n")
    };
    let told = "|Not taken:\n|not sure enough\n|run for 2 min 24 s\n|> run once more\n";
    let longer = "press 2\n|Calibrating\n|1 s\n|of 2 min 24 s\n|> stop\nwait 4 min\npress\nhold\n";
    let twice = "|Not taken:\n|far from the last\n|make a second run\n|> run once more\n";
    let done = "|In force\n|New entry\n|how much and when\n|> set up, step 8/8\n";
    let place = Place::new("operate-slow-pump");
    let text = [
        until_the_run,
        &reading("right 5", "right 7", "right"),
        told,
        longer,
        &reading("right 6", "right 3", "right 5"),
        twice,
        longer,
        &reading("right 6", "right 3", "right 5"),
        done,
    ];
    place.write("way.script", &text.concat());
    let site = docs().join("scripts/first-set-up.toml").display().to_string();
    let said = place.call(&["operate", "--factory", &site, "--script", "way.script"]);
    assert_eq!(said.code, 0, "{}", said.err);
}

#[test]
fn an_installed_device_knows_the_files_tube_set() {
    let place = Place::new("operate-tube");
    place.write("look.script", "press\nhold\nright 4\nscreen\n");
    let prime = |tube: &str| {
        place.write("site.toml", &nights(tube));
        let said = place.call(&["operate", "site.toml", "--script", "look.script"]);
        let at = said.out.find("Up to").unwrap_or_else(|| panic!("{said:?}"));
        said.out[at..at + 20].split_whitespace().nth(2).unwrap().to_owned()
    };
    let tube = |bore: &str, suction: &str, discharge: &str| {
        format!("[tube]\nbore = \"{bore}\"\nsuction = \"{suction}\"\ndischarge = \"{discharge}\"\n")
    };
    // what fills it, by pi d^2 / 4 and the length: 126.7, 56.3, 18.8, 28.3 ml; of a bore that
    // the panel does not know to the next decimetre of one that it knows
    assert_eq!(prime(&tube("4.8 mm", "2 m", "5 m")), "127");
    assert_eq!(prime(&tube("3.2 mm", "2 m", "5 m")), "57");
    assert_eq!(prime(&tube("4 mm", "0.5 m", "1 m")), "20");
    assert_eq!(prime(&tube("3 mm", "1 m", "3 m")), "29");
    // nobody said
    assert_eq!(prime(""), "60");
}

/// The canteen of the book's scripts for 400 days, with `more` put at the end.
fn canteen(more: &str) -> String {
    let site = std::fs::read_to_string(docs().join("scripts/canteen.toml")).unwrap();
    let (before, after) = site.split_once("run_for = \"3 days\"").expect("it runs for 3 days");
    format!("{before}run_for = \"400 days\"{after}{more}")
}

/// What is in the container, by each screen that was shown.
fn levels(out: &str) -> Vec<&str> {
    out.lines().filter_map(|line| line.strip_prefix("container ")).collect()
}

#[test]
fn what_the_hand_says_is_new_is_new_in_the_world() {
    let place = Place::new("operate-new");
    let call = |site: String, script: &str| {
        place.write("site.toml", &site);
        place.write("new.script", script);
        let said = place.call(&["operate", "site.toml", "--script", "new.script"]);
        assert_eq!(said.code, 0, "{said:?}");
        said.out
    };
    // 480 ml of 1.2 l are gone; ten litres are in, and last for all the doses that follow
    let filled = call(
        canteen(""),
        "wait 4 d\npress\nhold\nscreen\npress\n|Refilled\n|10.0 l\n|\n|> put in force\npress\n\
         screen\ncame out 480 ml .. 480 ml\nwait 20 d\ncame out 2399.9 ml .. 2400.1 ml\nscreen\n",
    );
    assert_eq!(levels(&filled), ["720.0 ml", "10000.0 ml", "7600.0 ml"], "{filled}");
    // no container holds more than it can, whatever is told
    let over = canteen("").replacen("capacity = \"10 l\"", "capacity = \"2 l\"", 1);
    let set_up = "press\nhold\nleft\npress\nright 5\npress\nright\npress 2\nright 3\npress 5\nscreen\n\
                  hold\nright 2\npress 2\n|Refilled\n|5.0 l\n|\n|> put in force\npress\nscreen\n";
    let over = call(over, set_up);
    assert_eq!(levels(&over), ["1200.0 ml", "2000.0 ml"], "{over}");
    // a pack that is exhausted, and the dose that it would have kept from running
    let weak = canteen("").replacen(
        "[head]",
        "[supply]\nbattery = { type = \"LR6\", charge = \"3 %\" }\n\n[head]",
        1,
    );
    let change = "press\nhold\nscreen\nright 2\npress\nright 2\npress\n|New battery\n|a full one is in\n|\n\
                  |> put in force\npress\nscreen\nhold\nwait 25 h\ncame out 119.9 ml .. 120.1 ml\n";
    let changed = call(weak, change);
    let (before, after) = changed.split_once("battery 100 %").expect("it is full after");
    assert!(before.contains("battery 3 %") && before.contains("! battery exhausted"), "{changed}");
    assert!(!after.contains("! battery"), "{changed}");
    // a new tube set in the head: the rollers squeeze again, and nothing runs out any more
    let siphons = "\n[[fault]]\nat = \"+1 min\"\nsqueeze_lost = { flow = \"10 ml/min\" }\n";
    let new_tube = "wait 10 min\npress\nhold\nright 2\npress\nright\npress 4\nscreen\npress\n\
                    screen\nwait 1 h\nscreen\n";
    let tube = call(canteen(siphons), new_tube);
    let levels = levels(&tube);
    assert_eq!(levels.len(), 3, "{tube}");
    assert!(levels[0] != "1200.0 ml" && levels[1] == levels[2], "{tube}");
}

#[test]
fn a_screen_that_differs_is_told_beside_what_was_expected() {
    let place = Place::new("operate-differs");
    place.write("look.script", "press\nhold\n|Last dose\n|some\n|\n|\n");
    let said = place.call(&["operate", "--script", "look.script"]);
    assert_eq!(said.code, 1);
    assert_eq!(
        said.err,
        "error: look.script:3: the display shows something else\n  \
         expected               found\n  \
         |Last dose           | |Last dose\n\
         ! |some                | |none on record\n  \
         |                    | |\n  \
         |                    | |\n\n"
    );
    let said = place.call(&["operate", "--script", "look.script", "--record"]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.contains("|none on record      |"), "{}", said.out);
    place.write("found.script", &said.out);
    assert_eq!(place.call(&["operate", "--script", "found.script"]).code, 0);
}

#[test]
fn what_came_out_is_compared_as_it_is_told() {
    let place = Place::new("operate-came-out");
    place.write("site.toml", &canteen(""));
    for (range, told) in [
        ("480 ml .. 480 ml", None),
        ("480.001 ml .. 481 ml", Some("480 ml came out, expected 480.001 ml .. 481 ml")),
        ("479 ml .. 479.999 ml", Some("480 ml came out, expected 479 ml .. 479.999 ml")),
    ] {
        place.write("out.script", &format!("wait 4 d\ncame out {range}\n"));
        let said = place.call(&["operate", "site.toml", "--script", "out.script"]);
        assert_eq!(said.code, i32::from(told.is_some()), "{said:?}");
        assert!(said.err.contains(told.unwrap_or("held")), "{said:?}");
    }
}

#[test]
fn a_bad_script_is_told_line_by_line_and_nothing_is_run() {
    let place = Place::new("operate-bad");
    place.write("bad.script", "push\npress\nright 0\n|only one line\n");
    let said = place.call(&["operate", "--script", "bad.script"]);
    assert_eq!(said.code, 2);
    for line in ["bad.script:1:", "bad.script:3:", "bad.script:4:"] {
        assert!(said.err.contains(line), "{}", said.err);
    }
    assert_eq!(said.out, "");
}

#[test]
fn a_script_longer_than_its_run_says_so() {
    let place = Place::new("operate-long");
    place.write("long.script", "press\nwait 4000 d\npress\n");
    let said = place.call(&["operate", "--script", "long.script"]);
    assert_eq!(said.code, 3);
    assert!(said.err.contains("run_for"), "{}", said.err);
}

#[test]
fn a_wait_at_the_end_of_a_script_is_waited() {
    let place = Place::new("operate-wait");
    for (text, code, part) in [
        ("wait 20 min\n", 0, "20 min"),
        // with the mark that some editors begin a file with
        ("\u{feff}wait 2 h\n", 0, "2 h"),
        ("press\nwait 4000 d\n", 3, "run_for"),
        ("# nothing\n", 2, "no step"),
    ] {
        place.write("wait.script", text);
        let said = place.call(&["operate", "--script", "wait.script"]);
        assert_eq!(said.code, code, "{text}: {said:?}");
        assert!(format!("{}{}", said.out, said.err).contains(part), "{text}: {said:?}");
    }
}

#[test]
fn what_is_typed_off_a_terminal_shows_each_screen() {
    let place = Place::new("operate-typed");
    let mut child = place
        .command(&["operate"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"press\nhold\nright\n").unwrap();
    let said = Said::of(&child.wait_with_output().unwrap());
    assert_eq!(said.code, 0, "{}", said.err);
    assert_eq!(said.out.matches("+--------------------+").count(), 6, "{}", said.out);
    assert!(said.out.contains("|Next dose"), "{}", said.out);
    assert!(said.out.contains("supply on, pump off"), "{}", said.out);
    assert!(!said.out.contains('\x1b'), "plain text");
}

#[test]
fn pictures_that_would_be_lost_are_told() {
    let place = Place::new("operate-lost");
    place.write("twice.script", "press\npicture a\npicture a\n");
    let said = place.call(&["operate", "--script", "twice.script", "--png", "p"]);
    assert!(said.code == 2 && said.err.contains("a.png has another output"), "{said:?}");
    let said = place.call(&["operate", "--script", "twice.script"]);
    assert!(said.code == 0 && said.err.contains("without --png DIR"), "{said:?}");
    assert!(said.err.contains("held: 0 turns, 1 press, 0 holds"), "{}", said.err);
    place.write("one.script", "press\nscreen\n");
    let said = place.call(&["operate", "--script", "one.script", "--record"]);
    assert!(said.err.contains("held: 1 screen taken down, "), "{}", said.err);
}
