//! The queue between interrupt handlers and the main loop.

use core::cell::RefCell;

use critical_section::Mutex;
use heapless::Deque;

/// What came out of an [`Inbox`].
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Taken<T> {
    /// An item, in the order in which they were posted.
    Item(T),
    /// So many items found no room. It comes where the first of them is missing.
    Lost(u32),
}

/// A queue of `Q` items, at least one, that any number of interrupt handlers post into.
///
/// Every access is one short critical section, so that of two handlers that
/// interrupt each other neither sees half of it. What finds no room is counted
/// and told of, never lost in silence.
#[derive(Debug)]
pub struct Inbox<T, const Q: usize> {
    queue: Mutex<RefCell<Queue<T, Q>>>,
}

#[derive(Debug)]
struct Queue<T, const Q: usize> {
    items: Deque<T, Q>,
    lost: u32,
    /// Items that were there before the first one was lost.
    ahead: usize,
}

impl<T, const Q: usize> Default for Inbox<T, Q> {
    fn default() -> Self {
        Self::new()
    }
}

impl<T, const Q: usize> Inbox<T, Q> {
    /// An empty one.
    pub const fn new() -> Self {
        let queue = Queue { items: Deque::new(), lost: 0, ahead: 0 };
        Self { queue: Mutex::new(RefCell::new(queue)) }
    }

    /// Puts an item in; `false` where it found no room and is counted as lost.
    pub fn post(&self, item: T) -> bool {
        self.with(|queue| {
            if queue.items.push_back(item).is_ok() {
                return true;
            }
            if queue.lost == 0 {
                queue.ahead = queue.items.len();
            }
            queue.lost = queue.lost.saturating_add(1);
            false
        })
        .unwrap_or(false)
    }

    /// Takes the oldest item out, or the count of those that were lost.
    pub fn take(&self) -> Option<Taken<T>> {
        self.with(|queue| {
            if queue.lost > 0 && queue.ahead == 0 {
                return Some(Taken::Lost(core::mem::take(&mut queue.lost)));
            }
            queue.ahead = queue.ahead.saturating_sub(1);
            queue.items.pop_front().map(Taken::Item)
        })
        .flatten()
    }

    /// Whether there is nothing to take.
    pub fn is_empty(&self) -> bool {
        self.with(|queue| queue.items.is_empty() && queue.lost == 0).unwrap_or(true)
    }

    /// `None` cannot be: the cell is borrowed inside a critical section alone, and
    /// what runs there does not come back here.
    fn with<R>(&self, act: impl FnOnce(&mut Queue<T, Q>) -> R) -> Option<R> {
        critical_section::with(|cs| {
            self.queue.borrow(cs).try_borrow_mut().ok().map(|mut queue| act(&mut queue))
        })
    }
}
