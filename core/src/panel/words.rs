//! Every word that the panel says, in each language, checked at compile time to fit
//! the place it is shown in.

mod english;
#[cfg(feature = "panel-fr")]
mod french;
#[cfg(feature = "panel-de")]
mod german;
#[cfg(feature = "panel-pl")]
mod polish;
#[cfg(feature = "panel-es")]
mod spanish;

pub(super) use english::ENGLISH;
#[cfg(feature = "panel-fr")]
pub(super) use french::FRENCH;
#[cfg(feature = "panel-de")]
pub(super) use german::GERMAN;
#[cfg(feature = "panel-pl")]
pub(super) use polish::POLISH;
#[cfg(feature = "panel-es")]
pub(super) use spanish::SPANISH;

/// Characters of a text.
const fn columns(text: &str) -> usize {
    let bytes = text.as_bytes();
    let (mut at, mut count) = (0, 0);
    while at < bytes.len() {
        // a byte that goes on with a character is none of its own
        if bytes[at] & 0xc0 != 0x80 {
            count += 1;
        }
        at += 1;
    }
    count
}

/// Each word with the most columns that there are for it.
macro_rules! words {
    ($($(#[$about:meta])* $name:ident $most:literal,)*) => {
        /// The words of a language.
        pub(super) struct Words {
            /// Whether a comma parts whole and tenths.
            pub(super) comma: bool,
            /// Names of the weekdays, Monday first, two characters each.
            pub(super) weekdays: &'static str,
            /// Names of the months, three characters each.
            pub(super) months: &'static str,
            /// Causes, in their documented order.
            pub(super) causes: [&'static str; 23],
            /// Alarms, in the order of their numbers.
            pub(super) alarms: [&'static str; 12],
            $($(#[$about])* pub(super) $name: &'static str,)*
        }

        impl Words {
            /// Stops the build where a word does not fit.
            pub(super) const fn fit(&self) {
                $(
                    assert!(columns(self.$name) > 0, concat!(stringify!($name), " is empty"));
                    assert!(
                        columns(self.$name) <= $most,
                        concat!(stringify!($name), " has more than ", $most, " characters")
                    );
                )*
                assert!(columns(self.weekdays) == 14, "seven weekdays of two characters");
                assert!(columns(self.months) == 36, "twelve months of three characters");
                let mut at = 0;
                while at < self.causes.len() {
                    assert!(columns(self.causes[at]) <= 18, "a cause has more than 18 characters");
                    at += 1;
                }
                let mut at = 0;
                while at < self.alarms.len() {
                    assert!(columns(self.alarms[at]) <= 18, "an alarm has more than 18 characters");
                    at += 1;
                }
            }
        }
    };
}

words! {
    /// The language's own name.
    name 17,
    // titles of cards; the first three stand beside a time
    last 9, next 9, history 9, supply 19, timetable 14, prime 14, calibrate 14, clock 14, set_up 14,
    // a first set-up
    hint_turn 20, hint_press 20, hint_hold 20, set_up_step 13,
    help_place 20, help_clock 20, help_head 20, help_tube 20, help_product 20, help_prime 20,
    help_calibrate 20, help_entry 20,
    // outcomes and what runs
    dosed 8, part 8, skipped 16, none_yet 20, none_due 20, dosing 14, priming 14, calibrating 14,
    asked_for 8, due_in 6, now 20,
    // cards
    product 8, pack 8, mains 11, no_account 11, entries 12, a_day 8, up_to 8, any_touch 20,
    tube_until 10, unset 20, lock 11, lock_none 8, lock_open 8, lock_shut 8,
    // what a press does
    do_acknowledge 18, do_again 18, do_change 18, do_supply 18, do_timetable 18, do_prime 18,
    do_calibrate 18, do_reading 18, do_clock 18, do_older 18, do_stop 18, do_next 18, do_done 18,
    do_edit 18, do_put 18, do_back 18, do_take 11, do_pin 18, do_run 18, do_new 18,
    // notices
    in_force 20, stopped 20, nothing_changed 20, hold_to_unlock 20,
    // titles of drafts
    place 14, head 14, tube 14, vessel_of 14, refill 14, reading 14, entry 9, new_entry 14,
    unlock 14, new_pin 14, again 14, new_pack 14, lock_up 14, what_is_new 20, acknowledge 14,
    // fields
    language 20, zone 20, unit 20, clock_form 20, date 20, time 20, flow 20, rollers 20, pass 20,
    length 20, bore 20, capacity 20, level 20, contact 20, dose 20, repeat 20, first_water 20,
    nights 20, days 20, start 20, window 20, every 20, state 20, most_prime 20, vessel 20,
    method 20, amount 20, mass 20, temperature 20, meant_as 20, pin_wanted 20, pin 20, pin_again 20,
    which 20, which_entry 20,
    // choices
    hours_24 17, hours_12 17, by_night 8, by_day 8, by_hours 17, every_day 12, every_night 12,
    one_by_one 17, state_on 17, state_off 8, state_gone 17, by_volume 17, by_mass 17, as_new 17,
    as_found 17, with_pin 17, without_pin 17, each 6,
    outlet_in_vessel 20, look_first 20,
    // why something is not taken
    not_taken 20, no_line 20, entry_gone 20, limits_unfit 20, no_day 20, out_of_range 20,
    never_due 20, needs_window 20, dose_small 20, pulses_many 20, window_long 20, overlaps 17,
    free_at 12, over_ceiling 20, many_doses 20, busy 20, locked 20, wrong_pin 20, wait 12,
    vessel_small 20, vessel_coarse 20, no_run 20, not_sure 20, run_for 9, far_off 20, run_twice 20,
    implausible 20, no_number 20, pins_differ 20,
}
