//! Nothing is lost unreported, nothing comes twice, and each source's order is kept.

use std::thread;

use dosewright_core::shell::{Inbox, Taken};

const EACH: u32 = 100_000;
/// Items that a source posts without a look at who takes them.
const BURST: u32 = 1000;

#[test]
fn two_sources_at_once_lose_nothing_unreported() {
    static INBOX: Inbox<(usize, u32), 8> = Inbox::new();
    let sources: Vec<_> = (0..2)
        .map(|source| {
            thread::spawn(move || {
                let mut refused = 0_u32;
                for number in 0..EACH {
                    refused += u32::from(!INBOX.post((source, number)));
                    // however the threads are scheduled, the taker has its turns
                    while number % BURST == 0 && !INBOX.is_empty() {
                        thread::yield_now();
                    }
                }
                refused
            })
        })
        .collect();
    let (mut next, mut taken, mut lost, mut skipped) = ([0_u32; 2], 0, 0, 0);
    loop {
        let done = sources.iter().all(thread::JoinHandle::is_finished);
        match INBOX.take() {
            Some(Taken::Item((source, number))) => {
                assert!(number >= next[source], "{source}: {number} twice or out of order");
                skipped += number - next[source];
                next[source] = number + 1;
                taken += 1;
            }
            Some(Taken::Lost(count)) => {
                assert!(count > 0);
                lost += count;
            }
            None if done => break,
            None => {}
        }
    }
    skipped += next.iter().map(|next| EACH - next).sum::<u32>();
    let refused: u32 = sources.into_iter().map(|source| source.join().unwrap()).sum();
    assert_eq!(taken + lost, 2 * EACH);
    assert_eq!((skipped, refused), (lost, lost));
    assert!(lost > 0 && taken >= EACH / BURST, "{taken} taken, {lost} lost: this was no storm");
}

#[test]
fn a_loss_is_told_of_where_the_first_one_is_missing() {
    let inbox: Inbox<u32, 2> = Inbox::new();
    assert!(inbox.post(1) && inbox.post(2));
    assert!(!inbox.post(3) && !inbox.post(4));
    assert_eq!(inbox.take(), Some(Taken::Item(1)));
    assert!(inbox.post(5));
    assert_eq!(inbox.take(), Some(Taken::Item(2)));
    assert_eq!(inbox.take(), Some(Taken::Lost(2)));
    assert!(!inbox.is_empty());
    assert_eq!(inbox.take(), Some(Taken::Item(5)));
    assert_eq!(inbox.take(), None);
    assert!(inbox.is_empty());
}

#[test]
fn an_inbox_with_nothing_but_a_loss_is_not_empty() {
    let inbox: Inbox<u32, 1> = Inbox::new();
    assert!(inbox.post(1) && !inbox.post(2));
    assert_eq!(inbox.take(), Some(Taken::Item(1)));
    assert!(!inbox.is_empty(), "the loop must not sleep over a loss");
    assert_eq!(inbox.take(), Some(Taken::Lost(1)));
}
