//! What a panel asks of the controller: one of its existing events, whole.

use crate::lock::Pin;

/// One thing that the person at the knob wants. It is made an event
/// ([`operate`](super::operate)), and is in force when the controller has taken that, or not at
/// all.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Request {
    /// Stop prime or calibrate.
    Release,
    /// The PIN.
    Unlock(Pin),
    /// What the draft says.
    Draft,
}
