//! Where a panel stands, and all of a touch of its knob.

use super::recent::Recent;
use super::request::Request;
use super::view::View;
use super::{Input, Panel};
use crate::controller::Controller;
use crate::event::Event;
use crate::time::Instant;
use crate::timetable::Refusal;

/// Where a panel stands: beside a device, whose controller it looks at.
pub trait Desk<const N: usize, const H: usize> {
    /// The present instant.
    fn now(&mut self) -> Instant;
    /// The controller.
    fn controller(&self) -> &Controller<N, H>;
    /// The latest outcomes ([`Recent::read`]).
    fn recent(&self) -> &Recent;
    /// Hands an event to the device; why it was not taken.
    fn hand_in(&mut self, event: Event<'_, N>) -> Option<Refusal>;
}

/// Hands an event in; why it is not taken.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(super) fn hand_in<const N: usize, const H: usize>(
    desk: &mut impl Desk<N, H>,
    event: Event<'_, N>,
) -> Option<Refusal> {
    desk.hand_in(event)
}

/// A touch of the knob, all of it: the panel, the key, the request, its answer.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub fn operate<const N: usize, const H: usize>(
    panel: &mut Panel,
    desk: &mut impl Desk<N, H>,
    input: Input,
) {
    let now = desk.now();
    let request =
        panel.touch(input, &View { controller: desk.controller(), recent: desk.recent(), now });
    // a key changes nothing but the display
    let _ = hand_in(desk, Event::Key { held: input == Input::Hold });
    let Some(request) = request else { return };
    let refusal = match request {
        Request::Release => hand_in(desk, Event::Release),
        Request::Unlock(pin) => hand_in(desk, Event::Unlock(pin)),
        Request::Draft => panel.hand_in(now, desk),
    };
    let now = desk.now();
    panel.answer(refusal, &View { controller: desk.controller(), recent: desk.recent(), now });
}
