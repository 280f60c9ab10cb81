//! What there is a draft of: its words, its questions, and what of it is shown at its
//! end.

use super::Step;
use crate::panel::cards::{CALIBRATED, PRIMED};
use crate::panel::words::Word;

/// What is known of a kind of draft.
pub(in crate::panel) struct Spec {
    pub(in crate::panel) title: Word,
    /// What it is about, at its step of a first set-up.
    pub(in crate::panel) help: Word,
    /// What a press does on the card that opens it.
    pub(in crate::panel) on_card: Word,
    /// What a press does at its end.
    pub(in crate::panel) put: Word,
    /// What to see to before that press.
    pub(in crate::panel) before: Option<Word>,
    pub(in crate::panel) steps: &'static [Step],
    /// What it comes to: the answers that are shown at its end, one a line.
    pub(in crate::panel) sum: &'static [Step],
    /// It begins at its end: it is put in force as it is, or its answers looked at.
    pub(in crate::panel) at_end: bool,
    /// It is of one choice, which opens another: nothing is put in force by it.
    pub(in crate::panel) opens: bool,
    /// The lock keeps it from being opened. To look, to fill the container, to put in a
    /// battery, to acknowledge and to stop a dose is for whoever is at hand.
    pub(in crate::panel) locked: bool,
    /// It goes by what the head delivers.
    pub(in crate::panel) by_head: bool,
    /// The bit of its step of a first set-up that is done by it; none where the book alone
    /// says whether it is.
    pub(in crate::panel) step: u8,
}

const PLAIN: Spec = Spec {
    title: Word::Place,
    help: Word::HelpEntry,
    on_card: Word::DoChange,
    put: Word::DoPut,
    before: None,
    steps: &[],
    sum: &[],
    at_end: false,
    opens: false,
    locked: true,
    by_head: false,
    step: 0,
};
/// Without a question.
const ACT: Spec = Spec { before: Some(Word::LookFirst), at_end: true, ..PLAIN };
const CHOICE: Spec = Spec { opens: true, locked: false, ..PLAIN };

macro_rules! kinds {
    ($($(#[$about:meta])* $kind:ident $spec:expr,)*) => {
        /// What a draft is of, by its place in the table.
        #[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub(in crate::panel) enum Kind { $($(#[$about])* $kind,)* }

        static SPECS: &[Spec] = &[$($spec,)*];
    };
}

kinds! {
    /// Nothing is being changed; of the outcomes one older is shown.
    Nothing Spec { on_card: Word::DoOlder, ..PLAIN },
    Place Spec {
        help: Word::HelpPlace,
        steps: &[Step::Language, Step::Zone, Step::Unit, Step::ClockForm],
        sum: &[Step::Zone, Step::Language],
        step: 1,
        ..PLAIN
    },
    Clock Spec {
        title: Word::Clock,
        help: Word::HelpClock,
        on_card: Word::DoClock,
        steps: &[Step::Date, Step::Time],
        ..PLAIN
    },
    Head Spec {
        title: Word::Head,
        help: Word::HelpHead,
        steps: &[Step::Flow, Step::Rollers, Step::Pass],
        sum: &[Step::Flow, Step::Rollers],
        ..PLAIN
    },
    Tube Spec {
        title: Word::Tube,
        help: Word::HelpTube,
        steps: &[Step::Length, Step::Bore],
        sum: &[Step::Length, Step::Bore],
        step: 1 << 3,
        ..PLAIN
    },
    Product Spec {
        title: Word::VesselOf,
        help: Word::HelpProduct,
        on_card: Word::DoSupply,
        steps: &[Step::Capacity, Step::Level, Step::Contact],
        sum: &[Step::Capacity, Step::Level],
        step: 1 << 4,
        ..PLAIN
    },
    Prime Spec {
        title: Word::Prime,
        help: Word::HelpPrime,
        on_card: Word::DoPrime,
        put: Word::DoRun,
        before: Some(Word::OutletInVessel),
        steps: &[Step::MostPrime],
        at_end: true,
        step: PRIMED,
        by_head: true,
        ..PLAIN
    },
    Calibrate Spec {
        title: Word::Calibrate,
        help: Word::HelpCalibrate,
        on_card: Word::DoCalibrate,
        put: Word::DoRun,
        before: Some(Word::OutletInVessel),
        steps: &[Step::Vessel],
        step: CALIBRATED,
        by_head: true,
        ..PLAIN
    },
    Reading Spec {
        title: Word::Reading,
        help: Word::HelpCalibrate,
        on_card: Word::DoReading,
        steps: &[Step::Method, Step::Amount, Step::Mass, Step::Temperature, Step::MeantAs],
        sum: &[Step::Amount, Step::Mass, Step::MeantAs],
        step: CALIBRATED,
        ..PLAIN
    },
    NewEntry Spec {
        title: Word::NewEntry,
        on_card: Word::NewEntry,
        steps: &[
            Step::Dose,
            Step::Repeat,
            Step::FirstWater,
            Step::Nights,
            Step::Days,
            Step::Start,
            Step::Every,
            Step::Begin,
            Step::Window,
        ],
        step: 1 << 7,
        by_head: true,
        ..PLAIN
    },
    Entry Spec {
        title: Word::Entry,
        steps: &[
            Step::Dose,
            Step::Nights,
            Step::Days,
            Step::Start,
            Step::Every,
            Step::Window,
            Step::State,
        ],
        at_end: true,
        by_head: true,
        ..PLAIN
    },
    WhichEntry Spec {
        title: Word::Timetable,
        on_card: Word::DoTimetable,
        steps: &[Step::WhichEntry],
        ..CHOICE
    },
    Fresh Spec {
        title: Word::Service,
        on_card: Word::DoSupply,
        steps: &[Step::Fresh],
        ..CHOICE
    },
    SetUp Spec { title: Word::SetUp, steps: &[Step::WhichSetting], ..CHOICE },
    Refill Spec {
        title: Word::Refill,
        on_card: Word::DoSupply,
        steps: &[Step::Full, Step::Refilled],
        sum: &[Step::Refilled],
        at_end: true,
        locked: false,
        ..PLAIN
    },
    NewPack Spec {
        title: Word::NewPack,
        on_card: Word::DoSupply,
        before: Some(Word::PackIsFull),
        locked: false,
        ..ACT
    },
    NewPin Spec {
        title: Word::NewPin,
        steps: &[Step::PinWanted, Step::Pin, Step::PinAgain],
        sum: &[Step::PinWanted],
        ..PLAIN
    },
    Lock Spec { title: Word::LockUp, before: Some(Word::PinFromNow), locked: false, ..ACT },
    RunAgain Spec {
        title: Word::Again,
        on_card: Word::DoAgain,
        put: Word::DoRun,
        by_head: true,
        ..ACT
    },
    StopDose Spec {
        title: Word::Dosing,
        on_card: Word::DoStop,
        put: Word::DoStop,
        before: Some(Word::RestIsLost),
        locked: false,
        ..ACT
    },
    Acknowledge Spec {
        title: Word::Acknowledge,
        on_card: Word::DoAcknowledge,
        put: Word::DoAcknowledge,
        locked: false,
        ..ACT
    },
}

impl Kind {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(in crate::panel) fn spec(self) -> &'static Spec {
        SPECS.get(self as usize).unwrap_or(&PLAIN)
    }

    /// What the choice of a draft opens, so many on; a container that there is none of
    /// is set up first.
    pub(in crate::panel) fn choice(self, at: u32) -> Self {
        const CHOICES: [Kind; 10] = [
            Kind::Product,
            Kind::Tube,
            Kind::NewPack,
            Kind::Place,
            Kind::NewPin,
            Kind::Lock,
            Kind::Head,
            Kind::Tube,
            Kind::Product,
            Kind::Acknowledge,
        ];
        // what is new, then what to set up
        let first = if self == Self::Fresh { 0 } else { 3 };
        CHOICES.get(first + at as usize).copied().unwrap_or(Self::Place)
    }
}
