//! The live panel: keys as they are pressed, the screen drawn in its place.

use std::fmt::Write as _;
use std::io::Write as _;
use std::time::{Duration, Instant};

use dosewright_core::panel::Input;
use dosewright_sim::operate::{Bench, Hand, boxed, facts};

use super::args::Pace;

/// How often the screen is drawn while nothing is pressed.
const DRAW_EVERY: Duration = Duration::from_millis(200);
/// Paces to change between, in times real time.
const PACES: [f64; 3] = [1.0, 60.0, 3600.0];

const HELP: &str = "\
arrows (or a, d)  turn      p  pace: 1x, 60x, 3600x
enter (or space)  press     n  on to 30 s before the next dose
h                 hold      q  leave
";

/// A key that means something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Key {
    Touch(Input),
    Pace,
    Next,
    Quit,
}

/// The keys in what a terminal sent.
fn keys(bytes: &[u8]) -> Vec<Key> {
    let mut found = Vec::new();
    let mut left = bytes;
    while let Some((&first, rest)) = left.split_first() {
        left = rest;
        found.push(match first {
            0x1b => match rest {
                // ESC [ C, or ESC O C
                [b'[' | b'O', code, after @ ..] => {
                    left = after;
                    match code {
                        b'C' | b'A' => Key::Touch(Input::Right),
                        b'D' | b'B' => Key::Touch(Input::Left),
                        _ => continue,
                    }
                }
                _ => continue,
            },
            b'd' => Key::Touch(Input::Right),
            b'a' => Key::Touch(Input::Left),
            b'\r' | b'\n' | b' ' => Key::Touch(Input::Press),
            b'h' => Key::Touch(Input::Hold),
            b'p' => Key::Pace,
            b'n' => Key::Next,
            b'q' | 3 | 4 => Key::Quit,
            _ => continue,
        });
    }
    found
}

/// A person at the terminal.
pub(super) struct Live {
    before: sys::Mode,
    times: f64,
    /// Real and true time from which the pace counts.
    since: (Instant, u64),
    pending: Vec<Key>,
    /// Goes on without waiting until then.
    skip_to: Option<u64>,
    next_due_ms: Option<u64>,
    quits: bool,
}

impl Live {
    pub(super) fn new(pace: Pace) -> Result<Self, String> {
        let before = sys::raw()?;
        // the screen as it was comes back when this is over
        write("\x1b[?1049h\x1b[?25l\x1b[2J");
        Ok(Self {
            before,
            times: match pace {
                Pace::Times(times) => times,
                Pace::Max => PACES[2],
            },
            since: (Instant::now(), 0),
            pending: Vec::new(),
            skip_to: None,
            next_due_ms: None,
            quits: false,
        })
    }

    fn count_from(&mut self, now: u64) {
        self.since = (Instant::now(), now);
    }

    fn true_now(&self) -> u64 {
        let (real, ms) = self.since;
        ms + (real.elapsed().as_secs_f64() * 1000.0 * self.times) as u64
    }

    fn draw(&self, bench: &mut dyn Bench) {
        let mut text = "\x1b[H".to_owned();
        let screen = boxed(&bench.screen());
        let beside = facts(&bench.sight());
        let mut beside = beside.lines();
        let mut line = |left: &str| {
            let gap = 26_usize.saturating_sub(left.chars().count());
            let fact = beside.next().unwrap_or("");
            _ = write!(text, "{left}{:gap$}{fact}\x1b[K\r\n", "");
        };
        for row in screen.lines() {
            line(row);
        }
        for _ in 0..6 {
            line("");
        }
        _ = write!(text, "pace {}x\x1b[K\r\n\r\n", self.times);
        for row in HELP.lines() {
            _ = write!(text, "{row}\x1b[K\r\n");
        }
        text.push_str("\x1b[J");
        write(&text);
    }
}

impl Drop for Live {
    /// The terminal as it was, whatever ends the run.
    fn drop(&mut self) {
        write("\x1b[?25h\x1b[?1049l");
        sys::restore(&self.before);
    }
}

fn write(text: &str) {
    let mut out = std::io::stdout();
    // a terminal that has gone away ends the program by its own signal
    _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}

impl Hand for Live {
    fn next_at(&mut self, now: u64, world: Option<u64>) -> Option<u64> {
        if self.quits || !self.pending.is_empty() {
            return Some(now);
        }
        if let Some(to) = self.skip_to {
            if now < to {
                // as fast as it goes
                return world.is_none_or(|world| world > to).then_some(to);
            }
            self.skip_to = None;
            self.count_from(now);
        }
        // until something is pressed, the screen is to be drawn, or the world goes on
        let draw_at = Instant::now() + DRAW_EVERY;
        loop {
            let bytes = sys::read(Duration::from_millis(20));
            self.pending.extend(keys(&bytes));
            let at = self.true_now().max(now);
            if let Some(world) = world.filter(|&world| world <= at) {
                return (!self.pending.is_empty() && world > now).then_some(now);
            }
            if !self.pending.is_empty() || Instant::now() >= draw_at {
                return Some(at);
            }
        }
    }

    fn act(&mut self, now: u64, bench: &mut dyn Bench) {
        for key in std::mem::take(&mut self.pending) {
            match key {
                Key::Touch(input) => {
                    // nobody turns a knob in the second that an hour takes
                    if self.times > PACES[0] {
                        self.times = PACES[0];
                        self.count_from(now);
                    }
                    bench.touch(input);
                }
                Key::Pace => {
                    let at = PACES.iter().position(|&times| times > self.times);
                    self.times = PACES[at.unwrap_or(0)];
                    self.count_from(now);
                }
                Key::Next => {
                    self.skip_to = self.next_due_ms.map(|ms| now + ms.saturating_sub(30_000));
                }
                Key::Quit => self.quits = true,
            }
        }
        self.next_due_ms = bench.sight().next_due_ms;
        self.draw(bench);
    }

    fn is_done(&self) -> bool {
        self.quits
    }
}

#[cfg(unix)]
mod sys {
    use std::time::Duration;

    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    use rustix::stdio::stdin;
    use rustix::termios::{OptionalActions, Termios, tcgetattr, tcsetattr};

    pub(super) type Mode = Termios;

    /// Keys come as they are pressed from here on.
    pub(super) fn raw() -> Result<Mode, String> {
        let failed = |error| format!("the terminal does not give its keys: {error}");
        let before = tcgetattr(stdin()).map_err(failed)?;
        let mut raw = before.clone();
        raw.make_raw();
        tcsetattr(stdin(), OptionalActions::Now, &raw).map_err(failed)?;
        Ok(before)
    }

    pub(super) fn restore(before: &Mode) {
        _ = tcsetattr(stdin(), OptionalActions::Now, before);
    }

    /// What is typed within a while.
    pub(super) fn read(within: Duration) -> Vec<u8> {
        let stdin = stdin();
        let mut fds = [PollFd::new(&stdin, PollFlags::IN)];
        let within = Timespec { tv_sec: 0, tv_nsec: i64::from(within.subsec_nanos()) };
        match poll(&mut fds, Some(&within)) {
            Ok(1..) => {
                let mut bytes = [0; 64];
                match rustix::io::read(stdin, &mut bytes) {
                    // the terminal has gone away
                    Ok(0) | Err(_) => b"q".to_vec(),
                    Ok(count) => bytes[..count].to_vec(),
                }
            }
            _ => Vec::new(),
        }
    }
}

#[cfg(not(unix))]
mod sys {
    use std::time::Duration;

    pub(super) type Mode = ();

    pub(super) fn raw() -> Result<Mode, String> {
        Err("the live panel is for Unix terminals; give --script FILE".to_owned())
    }

    pub(super) fn restore((): &Mode) {}

    pub(super) fn read(within: Duration) -> Vec<u8> {
        std::thread::sleep(within);
        Vec::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_found_in_what_a_terminal_sends() {
        use Input::{Hold, Left, Press, Right};
        let touches = [Right, Left, Press, Hold, Right].map(Key::Touch);
        assert_eq!(keys(b"\x1b[C\x1b[D\rhd"), touches);
        assert_eq!(keys(b"\x1bOCpnq"), [Key::Touch(Right), Key::Pace, Key::Next, Key::Quit]);
        assert_eq!(keys(b"xyz\x1b"), []);
    }
}
