//! The bench: head model, plans and forecasts, against the real controller and
//! against random sites.

mod forecasts;
mod plans;
mod trains;
