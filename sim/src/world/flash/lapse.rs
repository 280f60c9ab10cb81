//! What goes wrong for some calls in a row, and right again after them.

/// The faults of each kind of call.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub(super) struct Lapses {
    pub(super) misread: Lapse<Misread>,
    pub(super) no_erase: Lapse<EraseFailure>,
    pub(super) no_write: Lapse<WriteFailure>,
}

/// A fault that comes after so many more calls, and stays for so many of them.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(super) struct Lapse<H> {
    after: u64,
    times: u64,
    how: Option<H>,
}

impl<H> Default for Lapse<H> {
    fn default() -> Self {
        Self { after: 0, times: 0, how: None }
    }
}

impl<H: Copy> Lapse<H> {
    pub(super) fn new(after: u64, times: u64, how: H) -> Self {
        Self { after, times, how: Some(how) }
    }

    /// One more call; how it goes wrong, if it does.
    pub(super) fn next(&mut self) -> Option<H> {
        if let Some(before) = self.after.checked_sub(1) {
            self.after = before;
            return None;
        }
        self.times = self.times.checked_sub(1)?;
        self.how
    }
}

/// How a reading goes wrong, of bytes that are right.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Misread {
    /// An error, and none of the bytes.
    Fails,
    /// All ones, as from a part that does not answer.
    Ones,
    /// One bit of the first byte is the other way.
    Bit,
    /// Pseudo-random bytes.
    Garbage {
        /// Chooses the bytes.
        seed: u64,
    },
}

/// What an erase of a page has done that reports an error.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum EraseFailure {
    /// Nothing.
    Undone,
    /// The first half of the page is erased.
    Half,
    /// All of it is: it was the driver that did not wait for it.
    Done,
}

/// What a write has done that fails.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum WriteFailure {
    /// Nothing, and an error says so.
    Undone,
    /// Nothing, and no error says so.
    Silent,
    /// The first half, and an error says so.
    Half,
}
