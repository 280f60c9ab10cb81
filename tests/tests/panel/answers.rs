//! What stands on the line of an answer while it is turned, and what a press does then.

use dosewright_core::panel::Input::{self, Left, Press, Right};
use dosewright_core::panel::Preferences;

use crate::forged::{Looking, book};

fn looking(preferences: Preferences, touches: &[(Input, u32)]) -> Looking {
    let mut looking = Looking::at(book(), preferences);
    looking.touches(touches);
    looking
}

/// The answer, and what a press does.
fn answer(looking: &Looking) -> [String; 2] {
    let [_, _, answer, press] = looking.lines().try_into().unwrap();
    [answer, press]
}

#[test]
fn nights_are_taken_by_name_or_one_by_one() {
    // a new entry: its dose, how it comes, the first water, its nights
    let touches = [(Right, 3), (Press, 1), (Right, 3), (Press, 4)];
    let mut looking = looking(Preferences::NEW, &touches);
    assert_eq!(looking.lines()[1..3], ["In the nights of", "[every night]"]);
    for (turn, shown) in [
        (Right, "[Mo-Sa]"),
        (Right, "[Mo-Fr]"),
        (Right, "[one by one]"),
        (Right, "[every night]"),
        (Left, "[one by one]"),
        (Left, "[Mo-Fr]"),
        (Right, "[one by one]"),
    ] {
        looking.touch(turn);
        assert_eq!(looking.lines()[2], shown);
    }
    // of Monday to Friday, wheel by wheel
    for (touch, shown) in [
        (Press, "[Mo]TuWeThFr----"),
        (Right, "[--]TuWeThFr----"),
        (Left, "[Mo]TuWeThFr----"),
        (Left, "[--]TuWeThFr----"),
        (Press, "--[Tu]WeThFr----"),
        (Right, "--[--]WeThFr----"),
        (Press, "----[We]ThFr----"),
        (Press, "----We[Th]Fr----"),
        (Press, "----WeTh[Fr]----"),
        (Press, "----WeThFr[--]--"),
        (Press, "----WeThFr--[--]"),
    ] {
        looking.touch(touch);
        assert_eq!(looking.lines()[2], shown);
    }
    for (turns, nights) in [(0, "We-Fr"), (1, "WeThFrSu")] {
        let mut looking = Looking { panel: looking.panel, ..Looking::at(book(), Preferences::NEW) };
        // the last day, and on by start and window to what it comes to
        looking.touches(&[(Right, turns), (Press, 3)]);
        assert_eq!(looking.lines()[2], format!("00:45 {nights}"));
    }
}

#[test]
fn days_that_have_no_name_together_are_looked_up_one_by_one() {
    // the second entry: Saturday and Sunday, by day
    let mut looking = looking(Preferences::NEW, &[(Right, 3), (Press, 1), (Right, 1), (Press, 1)]);
    let end = ["Entry 2       by day", "120 ml        45 min", "13:30 SaSu", "> put in force"];
    assert_eq!(looking.lines(), end);
    looking.touches(&[(Left, 4)]);
    assert_eq!(looking.lines()[1..3], ["On the days", "SaSu"]);
    // a turn to the right leads on among the answers
    looking.touch(Right);
    assert_eq!(looking.lines()[1..3], ["Begins at", "13:30"]);
    looking.touches(&[(Left, 1), (Press, 1)]);
    assert_eq!(answer(&looking), ["[one by one]", "> next"]);
    looking.touch(Press);
    assert_eq!(answer(&looking), ["[--]--------SaSu", "> next"]);
    looking.touches(&[(Press, 6)]);
    assert_eq!(answer(&looking), ["----------Sa[Su]", "> next"]);
    looking.touch(Press);
    assert_eq!(looking.lines(), end);
}

#[test]
fn a_pin_may_end_after_its_fourth_digit() {
    let touches = [(Left, 1), (Press, 1), (Right, 1), (Press, 2)];
    let mut looking = looking(Preferences::NEW, &touches);
    assert_eq!(looking.lines()[1], "PIN, 4 to 8 digits");
    for (touch, shown, press) in [
        (Right, "[1]", "> next"),
        (Left, "[0]", "> next"),
        (Left, "[9]", "> next"),
        (Press, "*[0]", "> next"),
        (Press, "**[0]", "> next"),
        (Press, "***[0]", "> next"),
        (Press, "****[ ]", "> that is all"),
        (Right, "****[0]", "> next"),
        (Left, "****[ ]", "> that is all"),
        (Left, "****[9]", "> next"),
        (Right, "****[ ]", "> that is all"),
    ] {
        looking.touch(touch);
        assert_eq!(answer(&looking), [shown, press]);
    }
    looking.touch(Press);
    assert_eq!(looking.lines()[1..3], ["The same again", "[0]"]);
}

#[test]
fn a_day_that_a_month_does_not_have_is_its_last() {
    let mut looking = looking(Preferences::NEW, &[(Right, 6), (Press, 1)]);
    for (touch, times, shown) in [
        (Right, 1, "[2026] Oct 20"),
        (Press, 1, "2026 [Oct] 20"),
        (Right, 3, "2026 [Jan] 20"),
        (Press, 1, "2026 Jan [20]"),
        (Right, 11, "2026 Jan [31]"),
        (Right, 1, "2026 Jan [01]"),
        (Left, 1, "2026 Jan [31]"),
    ] {
        looking.touches(&[(touch, times)]);
        assert_eq!(looking.lines()[2], shown);
    }
    // the time as it is, and the date anew
    looking.touches(&[(Press, 2)]);
    assert_eq!(looking.lines()[1..3], ["Sa 31 Jan 2026", "10:05"]);
    looking.touches(&[(Left, 2), (Press, 1), (Right, 1), (Press, 1)]);
    for (turn, shown) in
        [(Right, "2026 [Feb] 28"), (Right, "2026 [Mar] 28"), (Left, "2026 [Feb] 28")]
    {
        looking.touch(turn);
        assert_eq!(looking.lines()[2], shown);
    }
    looking.touches(&[(Press, 1), (Right, 1)]);
    assert_eq!(looking.lines()[2], "2026 Feb [01]");
    // a leap day, and a year on
    looking.touches(&[(Press, 1), (Left, 2), (Press, 1), (Right, 3), (Press, 2), (Left, 1)]);
    assert_eq!(looking.lines()[2], "2028 Feb [29]");
    looking.touches(&[(Press, 1), (Left, 2), (Press, 1), (Right, 2)]);
    assert_eq!(looking.lines()[2], "[2029] Feb 28");
}

/// Every month of every year that can be entered; the weekdays are jiff's.
#[test]
fn a_date_that_was_entered_is_that_date() {
    let mut looking = looking(Preferences::NEW, &[(Right, 6), (Press, 1), (Right, 1)]);
    for year in (2026..2179).chain(2000..2026) {
        assert_eq!(looking.lines()[2], format!("[{year}] Oct 20"));
        let mut months = Looking { panel: looking.panel, ..Looking::at(book(), Preferences::NEW) };
        months.touch(Press);
        for month in [10, 11, 12, 1, 2, 3, 4, 5, 6, 7, 8, 9] {
            let here = months.panel;
            months.touches(&[(Press, 3)]);
            let date = jiff::civil::date(year, month, 20);
            let weekday = date.strftime("%a").to_string();
            let expected = format!("{} {}", &weekday[..2], date.strftime("%-d %b %Y"));
            assert_eq!(months.lines()[1], expected);
            months.panel = here;
            months.touch(Right);
        }
        looking.touch(Right);
    }
}

#[test]
fn twelve_hours_go_from_midnight_to_noon_and_again() {
    let preferences = Preferences { twelve_hours: true, ..Preferences::NEW };
    // the date as it is; of the time the minutes to the full hour
    let touches = [(Right, 6), (Press, 2), (Right, 1), (Press, 2), (Left, 5)];
    let mut looking = looking(preferences, &touches);
    assert_eq!(looking.lines()[2], "10:0[0]am");
    looking.touches(&[(Press, 1), (Left, 1), (Press, 1), (Right, 1)]);
    for hour in (10..24).chain(0..10) {
        let (shown, half) = match hour {
            0 => (12, "am"),
            1..12 => (hour, "am"),
            12 => (12, "pm"),
            _ => (hour - 12, "pm"),
        };
        assert_eq!(looking.lines()[2], format!("[{shown}]:00{half}"));
        looking.touch(Right);
    }
}
