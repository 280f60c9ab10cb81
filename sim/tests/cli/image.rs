//! Raw ledger images: written by a run, and told by replay.

use crate::support::{Place, good, nights};

#[test]
fn a_run_writes_its_memory_and_replay_tells_it() {
    let place = Place::new("image");
    place.write("week.toml", &good());
    assert_eq!(place.call(&["run", "week.toml", "--image", "week.bin"]).code, 0);
    let said = place.call(&["replay", "week.bin"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{said:?}");
    for part in [
        "this build starts from it\n",
        "131072 bytes, ledger of format version 8\n4 sectors of 32768 bytes",
        "entry 1  120 ml over 45 min, nights mon tue wed at 00:45, 30 pulses",
        // 271 698 whole ms at 26.5 ml/min
        "  2026-10-07 01:28:39.057  entry 1 dosed 119.99995 ml; due 2026-10-07 00:45\n",
        "  open dose  none\n",
        "the hourly stamp\n",
    ] {
        assert!(said.out.contains(part), "{part:?} is not in\n{}", said.out);
    }
    assert!(said.out.lines().all(|line| line.chars().count() <= 80), "{}", said.out);
    let lines = place.call(&["replay", "week.bin", "--json"]);
    assert_eq!(lines.out.matches("\"event\":\"outcome\"").count(), 3, "{}", lines.out);
    assert!(lines.out.contains("\"event\":\"started\"") && lines.code == 0);
}

#[test]
fn bytes_that_are_no_ledger_are_refused_with_the_reason() {
    let place = Place::new("no-image");
    for (name, bytes) in [
        ("blank.bin", vec![0xff; 65_536]),
        ("zero.bin", vec![0; 4096]),
        ("odd.bin", vec![0x9c; 77]),
    ] {
        std::fs::write(place.dir.join(name), bytes).unwrap();
        let said = place.call(&["replay", name]);
        assert_eq!((said.code, said.out.as_str()), (2, ""), "{said:?}");
        assert!(said.err.contains("no header of a ledger"), "{}", said.err);
    }
    let said = place.call(&["replay", "blank.bin", "--sector-bytes", "32768"]);
    assert!(said.code == 2 && said.out.contains("does not start from it"), "{said:?}");
    assert_eq!(place.call(&["replay", "missing.bin"]).code, 2);
    std::fs::write(place.dir.join("empty.bin"), []).unwrap();
    let said = place.call(&["replay", "empty.bin"]);
    assert!(said.code == 2 && said.err.contains("empty.bin: it is empty"), "{said:?}");
}

#[test]
fn an_image_has_no_traces_to_write() {
    let place = Place::new("image-traces");
    place.write("week.toml", &good());
    assert_eq!(place.call(&["run", "week.toml", "--image", "week.bin"]).code, 0);
    for trace in ["--csv", "--vcd", "--image"] {
        let said = place.call(&["replay", "week.bin", trace, "out"]);
        assert!(said.code == 2 && said.err.contains("memory's image"), "{said:?}");
        assert!(!place.dir.join("out").exists());
    }
}

#[test]
fn an_image_tells_of_container_pack_lead_and_lock() {
    let place = Place::new("image-settings");
    let more = "[container]\ncapacity = \"10 l\"\nlevel = \"8 l\"\nlow_contact = \"1 l\"\n\n[supply]\nbattery = { type = \"LR20\" }\n\n[[operator]]\nat = \"+1 h\"\nset_pin = { pin = \"4711\" }\n";
    let site =
        nights(more).replace("flow = \"26.5 ml/min\"", "flow = \"26.5 ml/min\"\nlead = \"40 ms\"");
    place.write("site.toml", &site);
    assert_eq!(place.call(&["run", "site.toml", "--image", "site.bin"]).code, 0);
    let said = place.call(&["replay", "site.bin"]).out;
    crate::support::wide(&said);
    let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in [
        // three doses of 120 ml
        "product container of 10 l, 7.64 l in it by the account; heel 400 ml, contact at 1 l",
        "pack 6.08 Ah; low at 7.00 V or 14 d ahead, exhausted at 6.51 V",
        "40 ms longer for each start",
        "lock a PIN is set",
    ] {
        assert!(flat.contains(part), "{part:?} is not in\n{said}");
    }
    assert!(!said.contains("4711"), "no PIN is told");
}
