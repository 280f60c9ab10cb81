//! Every word that the panel says, in each language: checked at compile time to fit the
//! place it is shown in, and packed one after the other, each behind its length.

use crate::cause::Cause;

mod english;
#[cfg(feature = "panel-fr")]
mod french;
#[cfg(feature = "panel-de")]
mod german;
#[cfg(feature = "panel-pl")]
mod polish;
#[cfg(feature = "panel-es")]
mod spanish;

/// The words that differ with the language, each with the most columns that there are
/// for it, behind the signs, which do not.
///
/// What always stands before or behind a word is kept with it, in a pattern in which `_`
/// is the word: a space, `\n` for a new line, `\t` for what follows to go to the right.
/// Each would be a call of the pen otherwise, in every place that says the word.
macro_rules! words {
    (
        signs { $($sign:ident $text:literal,)* }
        words { $($(#[$about:meta])* $word:ident $most:literal $($pattern:literal)?,)* }
    ) => {
        /// A word, by its place in the table of a language.
        #[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        #[repr(u8)]
        #[allow(dead_code, reason = "of a row of words the first alone may be named")]
        pub(super) enum Word {
            /// What parts whole and tenths.
            Point,
            $($sign,)*
            $($(#[$about])* $word,)*
        }

        const SIGNS: &[&str] = &[$($text),*];
        const MOST: &[usize] = &[$($most),*];
        const PATTERNS: &[&str] = &[$(concat!($($pattern)?)),*];
    };
}

words! {
    signs {
        Millilitre " ml", Litre " l", FluidOunce " fl oz", MillilitrePerMin " ml/min",
        FluidOuncePerMin " fl oz/min", PerMin "/min", Metre " m", Millimetre " mm", Gram " g",
        Celsius " °C", D " d", H " h", Min " min", S " s", Am "am", Pm "pm", Utc "\tUTC", Bare "",
        UnitMetric "ml, l", UnitUs "US fl oz", UnitImperial "imp fl oz",
    }
    words {
        /// The language's own name.
        Name 17,
        // titles of cards, in their order; three of them stand beside a time
        Last 9, Next 9, Supply 19, Timetable 14, Prime 14, Calibrate 14, Clock 14, History 9, SetUp 14,
        // a first set-up
        Hints 20, SetUpStep 13 "_ ",
        HelpPlace 20, HelpClock 20, HelpHead 20, HelpTube 20, HelpProduct 20, HelpPrime 20,
        HelpCalibrate 20, HelpEntry 20,
        // outcomes and what runs
        Dosed 8 "\n_\t", Part 8 "\n_\t", Skipped 15 "\n_\t", NoneKept 20 "\n_", NoneDue 20 "\n_", Dosing 14,
        Priming 14 "_\n", Calibrating 14 "_\n", AskedFor 8 "_ ", DueIn 6 "_ ", Now 20,
        // cards
        Product 8 "\n_\t", Pack 8 "\n_\t", Mains 11, NoAccount 11, Entries 12 "\n_\t", ADay 8 "\n_\t",
        UpTo 8 "\n_\t", AnyTouch 20 "\n_", TubeUntil 10 "\n_\t", Unset 20 "\n_",
        Lock 11 "\n_\t", LockNone 8, LockOpen 8, LockShut 8,
        // what a press does
        DoAcknowledge 18, DoAgain 18, DoChange 18, DoSupply 18, DoTimetable 18, DoPrime 18,
        DoCalibrate 18, DoReading 18, DoClock 18, DoOlder 18, DoStop 18, DoNext 18, DoDone 18,
        DoEdit 18, DoPut 18, DoBack 18, DoTake 6 "_ ", DoPin 18, DoRun 18, DoNew 18,
        // notices
        InForce 20, Stopped 20, NothingChanged 20, HoldToUnlock 20, Primed 20, Forgotten 20,
        // titles of drafts
        Place 14, Head 14, Tube 14, VesselOf 14, Refill 14, Service 14, Reading 14, Entry 7 "_ ", NewEntry 14,
        Unlock 14, NewPin 14, Again 14, NewPack 14, LockUp 14, WhatIsNew 20, Acknowledge 14,
        // fields
        Language 20, Zone 20, Unit 20, ClockForm 20, Date 20, Time 20, Flow 20, Rollers 20, Pass 20,
        Length 20, Bore 20, Capacity 20, Level 20, Contact 20, Dose 20, Repeat 20, FirstWater 20,
        Nights 20, Days 20, Start 20, Window 20, Every 20, State 20, MostPrime 20, Vessel 20,
        Method 20, Amount 20, Mass 20, Temperature 20, MeantAs 20, PinWanted 20, Pin 20, PinAgain 20,
        Which 20, WhichEntry 20,
        // choices
        Hours24 17, Hours12 17, ByNight 9, ByDay 9, ByHours 17, EveryDay 12, EveryNight 12,
        OneByOne 17, StateOn 17, StateOff 8, StateGone 17, ByVolume 17, ByMass 17, AsNew 17,
        AsFound 17, WithPin 17, WithoutPin 17, Each 6 "_ ",
        OutletInVessel 20, LookFirst 20, PackIsFull 20, PinFromNow 20, RestIsLost 20,
        // why something is not taken
        NotTaken 20 "_\n", NoLine 20, EntryGone 20, NoDay 20, OutOfRange 20,
        NeverDue 20, NeedsWindow 20, DoseSmall 20, PulsesMany 20, WindowLong 20, Overlaps 17 "_ ",
        FreeAt 12 "_ ", OverCeiling 20, ManyDoses 20, Busy 20, Locked 20, WrongPin 20, Wait 12,
        VesselSmall 20, VesselCoarse 20, NoRun 20, NotSure 20, RunFor 9 "_ ", AtMost 8 "_ ", FarOff 20, RunTwice 20,
        Implausible 20, NoNumber 20, PinsDiffer 20, VesselBig 20, OverFull 20, NoPin 20, DoseOver 20,
    }
}

impl Word {
    /// Whether it is a unit of volume, or of volume in a minute.
    pub(super) const fn is_of_volume(self) -> bool {
        self as u8 <= Self::FluidOuncePerMin as u8
    }

    /// The unit that stands for this one where volumes are in fluid ounces.
    pub(super) const fn in_ounces(self) -> Self {
        match self {
            Self::MillilitrePerMin => Self::FluidOuncePerMin,
            _ => Self::FluidOunce,
        }
    }
}

/// Words that differ with the language.
const WORDS: usize = MOST.len();
/// Where the rows of words begin that are told by a number: causes and alarms in the
/// order of theirs, from 1, days from Monday, months from January.
pub(super) const CAUSES: u16 = (1 + SIGNS.len() + WORDS) as u16;
pub(super) const ALARMS: u16 = CAUSES + Cause::ALL.len() as u16;
pub(super) const WEEKDAYS: u16 = ALARMS + 12;
pub(super) const MONTHS: u16 = WEEKDAYS + 7;

/// What a language says.
struct Vocabulary {
    /// Whether a comma parts whole and tenths.
    comma: bool,
    /// Names of the weekdays, Monday first, two characters each.
    weekdays: &'static str,
    /// Names of the months, three characters each.
    months: &'static str,
    /// Causes, in their documented order.
    causes: [&'static str; Cause::ALL.len()],
    /// Alarms, in the order of their numbers.
    alarms: [&'static str; 12],
    /// The words, in their order.
    words: [(Word, &'static str); WORDS],
}

/// Characters of a text; of several lines those of the longest.
const fn columns(text: &str) -> usize {
    let bytes = text.as_bytes();
    let (mut at, mut count, mut most) = (0, 0, 0);
    while at < bytes.len() {
        // a byte that goes on with a character is none of its own
        if bytes[at] == b'\n' {
            count = 0;
        } else if bytes[at] & 0xc0 != 0x80 {
            count += 1;
        }
        if count > most {
            most = count;
        }
        at += 1;
    }
    most
}

/// Where words are packed while the compiler does it.
struct Packing {
    bytes: [u8; 6144],
    len: usize,
}

impl Packing {
    /// One word more: so many characters of a text, from one of them on.
    const fn word(mut self, text: &str, from: usize, count: usize) -> Self {
        let bytes = text.as_bytes();
        let start = self.len;
        self.len += 1;
        let (mut at, mut seen) = (0, 0);
        while at < bytes.len() {
            assert!(bytes[at] < 0xe0, "the pen knows characters of two bytes at most");
            if bytes[at] & 0xc0 != 0x80 {
                seen += 1;
            }
            if seen > from && seen <= from + count {
                self.bytes[self.len] = bytes[at];
                self.len += 1;
            }
            at += 1;
        }
        self.bytes[start] = (self.len - start - 1) as u8;
        self
    }

    const fn whole(self, text: &str) -> Self {
        self.word(text, 0, text.len())
    }

    /// One word more in its pattern; one that has none stands alone.
    const fn laid_out(mut self, text: &str, pattern: &str) -> Self {
        let start = self.len;
        self = self.whole(text);
        let pattern = pattern.as_bytes();
        let (mut at, mut before) = (0, 0);
        while before < pattern.len() && pattern[before] != b'_' {
            before += 1;
        }
        // the word makes room for what is before it
        let mut place = self.len;
        while before > 0 && place > start + 1 {
            place -= 1;
            self.bytes[place + before] = self.bytes[place];
        }
        self.len += before;
        while at < pattern.len() {
            if at < before {
                self.bytes[start + 1 + at] = pattern[at];
            } else if at > before {
                self.bytes[self.len] = pattern[at];
                self.len += 1;
            }
            at += 1;
        }
        self.bytes[start] = (self.len - start - 1) as u8;
        self
    }

    /// As it stays in the image.
    const fn trimmed<const LEN: usize>(&self) -> [u8; LEN] {
        let mut bytes = [0; LEN];
        let mut at = 0;
        while at < LEN {
            bytes[at] = self.bytes[at];
            at += 1;
        }
        bytes
    }
}

/// Texts one after the other.
const fn packed(texts: &[&str], mut packing: Packing) -> Packing {
    let mut at = 0;
    while at < texts.len() {
        packing = packing.whole(texts[at]);
        at += 1;
    }
    packing
}

impl Vocabulary {
    /// All of it in one table. A word that does not fit its place stops the build.
    const fn pack(&self) -> Packing {
        let mut packing = Packing { bytes: [0; 6144], len: 0 };
        packing = packed(&[if self.comma { "," } else { "." }], packing);
        packing = packed(SIGNS, packing);
        let mut at = 0;
        while at < WORDS {
            let (word, text) = self.words[at];
            assert!(word as usize == 1 + SIGNS.len() + at, "the words are not in their order");
            assert!(columns(text) > 0, "a word is empty");
            assert!(columns(text) <= MOST[at], "a word has more characters than its place");
            packing = packing.laid_out(text, PATTERNS[at]);
            at += 1;
        }
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
        packing = packed(&self.alarms, packed(&self.causes, packing));
        assert!(columns(self.weekdays) == 14, "seven weekdays of two characters");
        assert!(columns(self.months) == 36, "twelve months of three characters");
        let mut at = 0;
        while at < 7 {
            packing = packing.word(self.weekdays, at * 2, 2);
            at += 1;
        }
        let mut at = 0;
        while at < 12 {
            packing = packing.word(self.months, at * 3, 3);
            at += 1;
        }
        packing
    }
}

/// A table of words from the texts that it is to hold.
macro_rules! table {
    ($(#[$about:meta])* $name:ident, $packing:expr) => {
        $(#[$about])*
        pub(super) static $name: [u8; { $packing.len }] = $packing.trimmed();
    };
}

table!(ENGLISH, english::ENGLISH.pack());
#[cfg(feature = "panel-fr")]
table!(FRENCH, french::FRENCH.pack());
#[cfg(feature = "panel-de")]
table!(GERMAN, german::GERMAN.pack());
#[cfg(feature = "panel-pl")]
table!(POLISH, polish::POLISH.pack());
#[cfg(feature = "panel-es")]
table!(SPANISH, spanish::SPANISH.pack());
table!(
    /// The names of the places, the same in all languages.
    PLACE_NAMES,
    packed(&super::zones::NAMES, Packing { bytes: [0; 6144], len: 0 })
);

/// The word of that number in a table; nothing where there is none.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn nth(table: &[u8], mut number: u16) -> &[u8] {
    let mut left = table;
    loop {
        let Some((&len, after)) = left.split_first() else { return &[] };
        let Some((word, next)) = after.split_at_checked(usize::from(len)) else { return &[] };
        if number == 0 {
            return word;
        }
        (left, number) = (next, number - 1);
    }
}
