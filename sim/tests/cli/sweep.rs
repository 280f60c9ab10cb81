//! The matrix of fault kind by moment.

use crate::support::{Place, good, nights};

#[test]
fn a_sweep_is_a_table_with_its_exit_code() {
    let place = Place::new("sweep");
    place.write("week.toml", &good());
    let said = place.call(&["sweep", "week.toml", "--faults", "supply_loss,late_wake,bit_flip"]);
    assert_eq!((said.code, said.err.as_str()), (0, ""), "{said:?}");
    assert_eq!(
        said.out,
        "   1  before due     +1 d 44 min
   2  at due         +1 d 45 min
   3  in pulse 1     +1 d 45 min 4 s 528 ms
   4  in gap 1       +1 d 45 min 49 s 528 ms
   5  mid dose       +1 d 1 h 7 min 34 s 528 ms
   6  in last pulse  +1 d 1 h 28 min 34 s 528 ms
   7  at outcome     +1 d 1 h 28 min 39 s 56 ms
   8  after          +1 d 1 h 29 min 39 s 57 ms

fault                 1      2      3      4      5      6      7      8
supply_loss        held   held   held   held   held   held   held   held
late_wake          held   held   held   held   held   held   held   held
bit_flip           held   held   held   held   held   held   held   held

put: supply_loss = { lasts = \"10 min\" }
put: late_wake = { by = \"5 min\" }
put: bit_flip = { address = 2580, bit = 3 }
     at 1
put: bit_flip = { address = 2708, bit = 3 }
     at 2, 3, 4
put: bit_flip = { address = 3668, bit = 3 }
     at 5
put: bit_flip = { address = 4564, bit = 3 }
     at 6, 7
put: bit_flip = { address = 4628, bit = 3 }
     at 8

24 of 24 held, 0 failed, 0 never took effect (none)
"
    );
    let quiet = ["sweep", "week.toml", "--faults", "supply_loss,late_wake,bit_flip", "-q"];
    assert_eq!(place.call(&quiet).out, "24 of 24 held, 0 failed, 0 never took effect (none)\n");
    // a kind whose part of the world is not there takes no effect
    let args = ["sweep", "week.toml", "--faults", "leak,squeeze_lost", "--moments", "every-due"];
    let said = place.call(&[&args[..], &["--json", "--junit", "sweep.xml"]].concat());
    assert_eq!(said.code, 5, "{said:?}");
    assert_eq!(said.out.matches("\"verdict\":\"held\"").count(), 3, "{}", said.out);
    assert_eq!(said.out.matches("\"verdict\":\"no effect\"").count(), 3, "{}", said.out);
    assert!(place.read("sweep.xml").contains("tests=\"6\" failures=\"0\" errors=\"3\""));
    // each has its line, and the line makes it again
    let replay = "dosewright sweep week.toml --faults leak --moments \\\"+1 d 45 min\\\" --seed 1";
    assert!(said.out.contains(replay), "{}", said.out);
    let one = ["sweep", "week.toml", "--faults", "leak", "--moments", "+1 d 45 min"];
    assert!(place.call(&one).out.ends_with("1 of 1 held, 0 failed, 0 never took effect (none)\n"));
}

#[test]
fn what_cannot_be_swept_is_said() {
    let place = Place::new("no-sweep");
    place.write("week.toml", &good());
    place.write("none.toml", &nights("").replace("run_for = \"4 days\"", "run_for = \"10 h\""));
    for (args, code, why) in [
        (&["week.toml", "--faults", "rain"][..], 2, "there is no fault named \"rain\""),
        (&["week.toml"], 2, "--faults"),
        (&["week.toml", "--faults", "leak", "--moments", "never"], 2, "moments are"),
        (&["week.toml", "--faults", "leak", "--moments", "fri 25:00"], 2, "fri 25:00"),
        (&["week.toml", "--faults", "leak", "--moments", "2026-13-45 10:00"], 2, "2026-13-45"),
        (&["week.toml", "--faults", "leak", "--moments", "+1 x"], 2, "+1 x"),
        (&["week.toml", "--faults", "leak", "--moments", "dose 0 pulse 0"], 2, "dose 0 pulse 0"),
        (&["week.toml", "--faults", "leak", "--moments", "2020-01-01 00:00"], 2, "2020-01-01"),
        (&["none.toml", "--faults", "leak"], 4, "no dose runs whole in it"),
    ] {
        let said = place.call(&[&["sweep"], args].concat());
        assert!(said.code == code && said.err.contains(why), "{args:?} {said:?}");
    }
}

#[test]
fn what_was_put_is_told_of_each_moment() {
    let place = Place::new("sweep-put");
    place.write("week.toml", &good());
    let sweep = |moments: &str| {
        let args = ["sweep", "week.toml", "--faults", "bit_flip,leak", "--moments", moments];
        place.call(&args).out
    };
    // three doses, three records; the leak is the same each time
    let few = sweep("every-due");
    let put = "put: bit_flip = { address = 2708, bit = 3 }\n     at 1\n\
               put: bit_flip = { address = 6228, bit = 3 }\n     at 2\n";
    assert!(few.contains(put), "{few}");
    assert_eq!(few.matches("put: leak = { lasts = \"10 min\" }\n").count(), 1, "{few}");
    let many = sweep("40");
    assert!(many.contains("bit = 3 }\n     at the first moment; --json tells each\n"), "{many}");
}
