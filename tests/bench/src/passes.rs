//! Timing on a machine that others use too: the contestants take turns, each turn is
//! timed by itself, and the shortest of all turns counts.

use std::time::{Duration, Instant};

/// A turn is made as long as this at least, by doing the work again.
const LEAST_TURN: Duration = Duration::from_millis(60);

/// One who takes turns.
pub struct Contestant<'a> {
    pub name: &'static str,
    /// Does its work once, and says how long it took where it knows better.
    work: Box<dyn FnMut() -> Option<Duration> + 'a>,
    /// How often it does it in a turn.
    times: u32,
    best: Duration,
}

impl<'a> Contestant<'a> {
    pub fn new(name: &'static str, mut work: impl FnMut() + 'a) -> Self {
        Self::timed(name, move || {
            work();
            None
        })
    }

    /// One whose work says how long it took.
    pub fn timed(name: &'static str, work: impl FnMut() -> Option<Duration> + 'a) -> Self {
        Self { name, work: Box::new(work), times: 0, best: Duration::MAX }
    }

    fn turn(&mut self) {
        if self.times == 0 {
            let once = self.time(1).max(Duration::from_nanos(1));
            self.times = (LEAST_TURN.as_nanos() / once.as_nanos() + 1).min(1 << 20) as u32;
        }
        self.best = self.best.min(self.time(self.times) / self.times);
    }

    fn time(&mut self, times: u32) -> Duration {
        let began = Instant::now();
        let mut told: Option<Duration> = None;
        for _ in 0..times {
            if let Some(took) = (self.work)() {
                told = Some(told.unwrap_or_default() + took);
            }
        }
        told.unwrap_or_else(|| began.elapsed())
    }
}

/// Lets all of them take so many turns; the shortest time of each, for its work once.
pub fn best(contestants: Vec<Contestant<'_>>, passes: u32) -> Vec<(&'static str, Duration)> {
    let mut contestants = contestants;
    for _ in 0..passes {
        for contestant in &mut contestants {
            contestant.turn();
        }
    }
    contestants.into_iter().map(|contestant| (contestant.name, contestant.best)).collect()
}
