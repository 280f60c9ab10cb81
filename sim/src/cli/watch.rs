//! Looking on while a run goes: the pace, the progress, the interrupt.

use std::cell::Cell;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use dosewright_sim::observe::{Observation, Observer};
use dosewright_sim::trace::stamp::about;

use super::args::{Pace, Progress};
use super::ticker::{Ticker, shown};

static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// When the first interrupt came.
static FIRST: OnceLock<Instant> = OnceLock::new();

/// One wish to end may come as several signals: a wrapper passes on what its group has
/// had already, or a runner sends another kind at once. Only what comes so much later is
/// a second wish.
const ONE_WISH: Duration = Duration::from_millis(500);

/// From here on an interrupt ends the run that goes and keeps what is finished; a
/// second one ends the program.
pub(super) fn catch_interrupts() {
    let caught = ctrlc::set_handler(|| {
        INTERRUPTED.store(true, Ordering::SeqCst);
        if FIRST.get_or_init(Instant::now).elapsed() >= ONE_WISH {
            std::process::exit(i32::from(super::exit::Exit::Interrupted.code()));
        }
    });
    debug_assert!(caught.is_ok(), "the handler is set once");
}

pub(super) fn interrupted() -> bool {
    INTERRUPTED.load(Ordering::SeqCst)
}

/// How long a wait may go on before the interrupt is looked at.
const SLICE: Duration = Duration::from_millis(50);
/// Observations between two looks at the clock on the wall.
const EVERY: u32 = 4096;
const BAR_EVERY: Duration = Duration::from_millis(100);

/// Watches one run.
pub(super) struct Watch {
    name: String,
    run_ms: u64,
    pace: Pace,
    ticker: Ticker,
    seen: Cell<u32>,
}

impl Watch {
    pub(super) fn new(
        name: &str,
        run_ms: u64,
        pace: Pace,
        progress: Progress,
        quiet: bool,
    ) -> Self {
        let show = match progress {
            // at a pace the timeline itself shows that the run goes on
            Progress::Auto if pace != Pace::Max => None,
            _ => shown(progress, quiet),
        };
        let ticker = Ticker::new(show).bar_every(BAR_EVERY);
        Self { name: name.to_owned(), run_ms, pace, ticker, seen: Cell::new(0) }
    }

    /// Real time since the run began.
    pub(super) fn elapsed(&self) -> Duration {
        self.ticker.elapsed()
    }

    /// Takes the bar away.
    pub(super) fn done(&mut self) {
        self.ticker.clear();
    }

    fn wait_for(&self, at_ms: u64) {
        let Pace::Times(times) = self.pace else { return };
        let due = Duration::from_secs_f64(at_ms as f64 / 1000.0 / times);
        while let Some(left) = due.checked_sub(self.elapsed()).filter(|left| !left.is_zero()) {
            if interrupted() {
                return;
            }
            std::thread::sleep(left.min(SLICE));
        }
    }

    fn tell(&mut self, at_ms: u64) {
        self.ticker.tell(|bar| {
            let percent = at_ms.saturating_mul(100) / self.run_ms.max(1);
            let text = format!("{percent:>3} %  {} of {}", about(at_ms), about(self.run_ms));
            if bar {
                let full = usize::try_from(percent / 5).unwrap_or(20).min(20);
                format!("[{}{}] {text}", "#".repeat(full), ".".repeat(20 - full))
            } else {
                format!("{}: {text}", self.name)
            }
        });
    }
}

impl Observer for Watch {
    fn see(&mut self, at_ms: u64, _: &Observation<'_>) {
        self.wait_for(at_ms);
        let seen = self.seen.get().wrapping_add(1);
        self.seen.set(seen);
        if seen.is_multiple_of(EVERY) {
            self.tell(at_ms);
        }
    }

    fn wants_end(&self) -> bool {
        interrupted()
    }
}
