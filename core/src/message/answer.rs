//! What a device says to a message.

use super::standing::Standing;
use crate::timetable::Refusal;

/// Why the bytes of a frame are no message.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Fault {
    /// They are no frame: too long, too short, or stuffed wrongly.
    Frame = 1,
    /// The checksum does not hold.
    Checksum = 2,
    /// They are a message of another version.
    Version = 3,
    /// There is no message of this kind.
    Kind = 4,
    /// The content is not what a message of this kind can say.
    Content = 5,
    /// A part of a timetable that was not begun, or is not complete.
    OutOfTurn = 6,
    /// There are more entries than there is room for.
    TooMany = 7,
}

impl Fault {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::Frame,
        Self::Checksum,
        Self::Version,
        Self::Kind,
        Self::Content,
        Self::OutOfTurn,
        Self::TooMany,
    ];

    /// In a user's words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Frame => "the bytes are no frame",
            Self::Checksum => "the checksum does not hold",
            Self::Version => "the message is of another version",
            Self::Kind => "there is no message of this kind",
            Self::Content => "the content means nothing",
            Self::OutOfTurn => "a part of a timetable is out of turn",
            Self::TooMany => "there are more entries than lines",
        }
    }
}

/// The answer to a message.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Answer {
    /// It was taken, and is in the ledger where it changes anything.
    Taken,
    /// The logic refuses it: the number of [`refusal_code`], and the number of the
    /// entry that it is about, 0 for none.
    Refused {
        /// Which refusal.
        code: u8,
        /// Which entry.
        entry: u16,
    },
    /// It cannot be read.
    Unreadable(Fault),
    /// How the device stands.
    Stands(Standing),
}

impl Answer {
    /// What comes of a message that the logic was given.
    pub fn to(refusal: Option<&Refusal>) -> Self {
        match refusal {
            None => Self::Taken,
            Some(refusal) => {
                let (code, entry) = refusal_code(refusal);
                Self::Refused { code, entry }
            }
        }
    }
}

/// A refusal's number in an answer, and the entry it is about, 0 for none. Numbers
/// are never given out anew.
pub const fn refusal_code(refusal: &Refusal) -> (u8, u16) {
    match refusal {
        Refusal::TooManyEntries { .. } => (1, 0),
        Refusal::SameId { id } => (2, id.0),
        Refusal::RetiredId { id } => (3, id.0),
        Refusal::Head(_) => (4, 0),
        Refusal::Field { id, .. } => (5, id.0),
        Refusal::NeverDue { id } => (6, id.0),
        Refusal::DoesNotFit { id, .. } => (7, id.0),
        Refusal::GapTooShort { id, .. } => (8, id.0),
        Refusal::Overlap { second, .. } => (9, second.0),
        Refusal::OverCeiling { .. } => (10, 0),
        Refusal::TooManyDues { .. } => (11, 0),
        Refusal::Busy => (12, 0),
        Refusal::ContainerEmpty => (13, 0),
        Refusal::NoSuchEntry { id } => (14, id.0),
        Refusal::Ledger => (15, 0),
        Refusal::AtCeiling => (16, 0),
        Refusal::OutOfRange => (17, 0),
        Refusal::Locked => (18, 0),
        Refusal::WrongPin => (19, 0),
        Refusal::TriedTooOften { .. } => (20, 0),
        Refusal::NoRun(_) => (21, 0),
        Refusal::NothingMeasured => (22, 0),
        Refusal::RunLonger { .. } => (23, 0),
        Refusal::RunTwice { .. } => (24, 0),
        Refusal::Implausible { .. } => (25, 0),
        Refusal::Battery => (26, 0),
        Refusal::NotRunning { id } => (27, id.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::NoRun;
    use crate::config::HeadProblem;
    use crate::entry::EntryId;
    use crate::spread::Misfit;
    use crate::units::{Flow, Volume};

    #[test]
    fn each_refusal_keeps_its_number_and_names_its_entry() {
        let id = EntryId(515);
        let (asked, ceiling) = (Volume::ZERO, Volume::ZERO);
        let flow = Flow::from_nl_per_min(1).unwrap();
        let misfit = Misfit::Indivisible { dose_ms: 1 };
        let nearest_min = None;
        // in the order in which the numbers were given out
        let all = [
            Refusal::TooManyEntries { most: 4 },
            Refusal::SameId { id },
            Refusal::RetiredId { id },
            Refusal::Head(HeadProblem::Rollers),
            Refusal::Field { id, field: "window" },
            Refusal::NeverDue { id },
            Refusal::DoesNotFit { id, misfit },
            Refusal::GapTooShort { id, window_and_grace_ms: 2, gap_ms: 1 },
            Refusal::Overlap { first: EntryId(1), second: id, nearest_min },
            Refusal::OverCeiling { asked, ceiling },
            Refusal::TooManyDues { dues: 97, most: 96 },
            Refusal::Busy,
            Refusal::ContainerEmpty,
            Refusal::NoSuchEntry { id },
            Refusal::Ledger,
            Refusal::AtCeiling,
            Refusal::OutOfRange,
            Refusal::Locked,
            Refusal::WrongPin,
            Refusal::TriedTooOften { wait_ms: 1 },
            Refusal::NoRun(NoRun::VesselTooSmall),
            Refusal::NothingMeasured,
            Refusal::RunLonger { least_ms: 1 },
            Refusal::RunTwice { flow },
            Refusal::Implausible { flow: None },
            Refusal::Battery,
            Refusal::NotRunning { id },
        ];
        let of_an_entry = [2, 3, 5, 6, 7, 8, 9, 14, 27];
        for (refusal, code) in all.iter().zip(1..) {
            let entry = if of_an_entry.contains(&code) { id.0 } else { 0 };
            assert_eq!(Answer::to(Some(refusal)), Answer::Refused { code, entry }, "{refusal:?}");
        }
        assert_eq!(Answer::to(None), Answer::Taken);
    }

    #[test]
    fn each_fault_has_words_of_its_own() {
        for (place, fault) in Fault::ALL.into_iter().enumerate() {
            assert_eq!(fault as usize, place + 1);
            assert!(fault.words().len() > 10);
            let others = Fault::ALL.into_iter().filter(|other| *other != fault);
            assert!(others.into_iter().all(|other| other.words() != fault.words()), "{fault:?}");
        }
    }
}
