//! `[separator]`: what was found in the grease separator at its dips.

use dosewright_core::civil::Date;

use crate::diagnose::Spans;

/// `[separator]`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Separator {
    /// Depth from the surface of its water to its floor, in micrometres.
    pub depth_um: u32,
    /// Share of it that grease and solids may take, in parts per million.
    pub limit_ppm: Option<u32>,
    /// When it was emptied last: nothing is in it from then on.
    pub emptied: Option<Date>,
    /// What was found, in the order of the dates: one dip at least.
    pub dips: Vec<Dip>,
    /// Where it stands.
    pub spans: Spans,
}

/// A dip: how thick the grease and the solids were.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dip {
    /// When.
    pub date: Date,
    /// The grease that floats, in micrometres.
    pub grease_um: u32,
    /// The solids on the floor, in micrometres.
    pub solids_um: u32,
    /// Where it stands.
    pub spans: Spans,
}

impl Dip {
    /// Both together.
    pub const fn thick_um(&self) -> u32 {
        self.grease_um.saturating_add(self.solids_um)
    }
}
