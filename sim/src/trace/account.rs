//! What changed the container's account, by the records of one call.

use dosewright_core::record::{Act, Alarm, Record};
use dosewright_core::units::Volume;

use super::Mover;

/// What has changed the account since it was told last.
#[derive(Debug)]
pub(super) struct Moved {
    by: Mover,
    /// When that was a statement of the level which is not told yet.
    stated_ms: Option<u64>,
}

impl Default for Moved {
    fn default() -> Self {
        Self { by: Mover::Told, stated_ms: None }
    }
}

impl Moved {
    /// The next record.
    pub(super) fn record(&mut self, at_ms: u64, record: &Record) {
        let Some(by) = mover(record) else { return };
        let states = matches!(by, Mover::Told | Mover::Contact);
        // what states the level outweighs what was drawn, though one call writes that behind it
        if states || self.stated_ms != Some(at_ms) {
            self.by = by;
            self.stated_ms = states.then_some(at_ms);
        }
    }

    /// What it was; the next change is another.
    pub(super) fn by(&mut self) -> Mover {
        self.stated_ms = None;
        self.by
    }
}

/// How a record changes the account, if it may.
fn mover(record: &Record) -> Option<Mover> {
    Some(match record {
        Record::Container { .. } => Mover::Told,
        // a dose that drew nothing moves nothing, and may be told behind what did
        Record::Outcome(outcome) if outcome.most > Volume::ZERO => Mover::Dose,
        Record::Act { act: Act::PrimeEnded, .. } => Mover::Prime,
        Record::Act { act: Act::CalibrationEnded | Act::TrainEnded, .. } => Mover::Calibrate,
        Record::Calibration { .. } => Mover::Restated,
        Record::Alarm { alarm: Alarm::LowLevel | Alarm::LevelDisagrees, on: true, .. } => {
            Mover::Contact
        }
        Record::Boot { .. } => Mover::Restart,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use dosewright_core::cause::Cause;
    use dosewright_core::config::Container;
    use dosewright_core::record::OutcomeKind;
    use dosewright_core::time::Instant;

    use super::super::tests::{dosed, skipped};
    use super::*;

    /// What the account is told to have been changed by, after the records of each call.
    fn movers(calls: &[(u64, &[Record])]) -> Vec<Mover> {
        let mut moved = Moved::default();
        let call = |(at_ms, records): &(u64, &[Record])| {
            records.iter().for_each(|record| moved.record(*at_ms, record));
            moved.by()
        };
        calls.iter().map(call).collect()
    }

    fn said() -> Record {
        let level = Volume::from_ml(2000);
        Record::Container { at: Instant::ZERO, container: Container::NONE, level, pumped_ms: None }
    }

    fn alarm(alarm: Alarm) -> Record {
        Record::Alarm { at: Instant::ZERO, alarm, on: true, detail: 0 }
    }

    #[test]
    fn somebodys_word_outweighs_a_dose_that_ends_in_the_same_call() {
        let Record::Outcome(outcome) = dosed(9, 3) else { unreachable!() };
        let kind = OutcomeKind::Part(Cause::ContainerEmpty);
        let part = Record::Outcome(dosewright_core::record::Outcome { kind, ..outcome });
        let skipped = skipped(7, 1, Cause::ContainerEmpty);
        let told = movers(&[
            (1000, &[said(), skipped]),
            (2000, &[dosed(8, 3)]),
            (3000, &[said(), part]),
            // a second call in that ms
            (3000, &[dosed(10, 3)]),
            (4000, &[dosed(11, 3), said()]),
        ]);
        assert_eq!(told, [Mover::Told, Mover::Dose, Mover::Told, Mover::Dose, Mover::Told]);
    }

    #[test]
    fn so_does_the_contact_and_what_drew_nothing_moved_nothing() {
        let primed = Record::Act { at: Instant::ZERO, act: Act::PrimeEnded, ms: 1000 };
        let told = movers(&[
            (1000, &[primed, skipped(7, 1, Cause::PumpInUse)]),
            (2000, &[alarm(Alarm::LevelDisagrees), dosed(8, 3)]),
            (3000, &[alarm(Alarm::LowLevel), skipped(9, 1, Cause::ContainerEmpty)]),
            (4000, &[dosed(10, 3)]),
        ]);
        assert_eq!(told, [Mover::Prime, Mover::Contact, Mover::Contact, Mover::Dose]);
    }

    #[test]
    fn a_word_that_changed_nothing_counts_in_its_own_call_alone() {
        let mut moved = Moved::default();
        moved.record(1000, &said());
        moved.record(2000, &dosed(8, 3));
        assert_eq!(moved.by(), Mover::Dose);
    }
}
