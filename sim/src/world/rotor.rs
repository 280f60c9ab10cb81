//! A rotor in the world: from when to when it is driven, how it comes up to speed and to
//! rest, and what it moves by its angle. What a run has moved is reckoned from its
//! start, in closed form, so that it does not hang on how often it is looked at.

use super::head::HeadModel;

/// Sixty-thousandths of a nanolitre in a millilitre.
const PARTS_A_ML: f64 = 6e10;

/// A run of the rotor: from rest, driven, and its coast.
#[derive(Debug, Clone, Copy)]
struct Run {
    since: u64,
    /// When it was let go of.
    off: Option<u64>,
    /// What it has moved so far, in parts.
    moved: i128,
}

/// A rotor with the run that it is in.
#[derive(Debug, Clone)]
pub(super) struct Turning {
    model: HeadModel,
    /// Where it stood when the run began, in turns.
    angle: f64,
    run: Option<Run>,
}

impl Turning {
    pub(super) const fn new(model: HeadModel) -> Self {
        Self { model, angle: 0.0, run: None }
    }

    /// The most that it moves in a minute, in nl.
    pub(super) fn most_nl_min(&self) -> i128 {
        (self.model.most_ml_s() * 60e6).ceil() as i128
    }

    /// The true ms at which its coast is over; `None` while it is driven or stands.
    pub(super) fn ends_at(&self) -> Option<u64> {
        let off = self.run?.off?;
        Some(off + (self.model.coast_s * 1e3).ceil() as u64)
    }

    /// Whether it turns at a true ms.
    pub(super) fn turns(&self, now: u64) -> bool {
        self.run.is_some() && self.ends_at().is_none_or(|end| now < end)
    }

    /// Turns since the run began.
    fn turned(&self, run: &Run, at: u64) -> f64 {
        let seconds = |ms: u64| ms as f64 / 1e3;
        let driven_ms = run.off.map_or(at, |off| off.min(at)).saturating_sub(run.since);
        let driven_s = match run.off {
            Some(off) => seconds(off - run.since),
            None => seconds(driven_ms),
        };
        self.model.turned(driven_s, seconds(at.saturating_sub(run.since)))
    }

    /// What it moves in so many ms from now on, in parts.
    pub(super) fn pass(&mut self, now: u64, ms: i128) -> i128 {
        let Some(run) = self.run else { return 0 };
        let at = now.saturating_add(u64::try_from(ms).unwrap_or(0));
        let ml = self.model.volume_ml(self.angle, self.angle + self.turned(&run, at));
        let moved = (ml * PARTS_A_ML).round() as i128;
        self.run = Some(Run { moved, ..run });
        if self.ends_at().is_some_and(|end| at >= end) {
            self.stop(at);
        }
        moved - run.moved
    }

    /// It is driven from now on.
    pub(super) fn start(&mut self, now: u64) {
        if self.run.is_some_and(|run| run.off.is_none()) {
            return;
        }
        // what is left of a coast is cut
        self.stop(now);
        self.run = Some(Run { since: now, off: None, moved: 0 });
    }

    /// It is driven no more, and coasts.
    pub(super) fn let_go(&mut self, now: u64) {
        if let Some(run) = &mut self.run {
            run.off = run.off.or(Some(now));
        }
        if self.ends_at().is_some_and(|end| now >= end) {
            self.stop(now);
        }
    }

    /// It stands still where it is.
    pub(super) fn stop(&mut self, now: u64) {
        if let Some(run) = self.run.take() {
            self.angle = (self.angle + self.turned(&run, now)).fract();
        }
    }

    /// It gives another flow at its speed, from now on.
    pub(super) fn give(&mut self, flow_ml_min: f64, now: u64) {
        let was_driven = self.run.is_some_and(|run| run.off.is_none());
        self.stop(now);
        self.model = self.model.giving(flow_ml_min);
        if was_driven {
            self.start(now);
        }
    }
}
