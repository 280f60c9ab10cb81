//! Measuring cylinders: how far what they show may be off.

/// Class of accuracy.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Class {
    /// The finer one.
    A,
    /// Twice the tolerance.
    B,
}

/// Whose table of tolerances.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Standard {
    /// ASTM E1272, Table 1.
    Astm,
    /// ISO 4788 (from memory).
    Iso,
}

/// Size, class A in ml. ASTM E1272 Table 1; 1000 ml from memory.
const ASTM_A: [(u32, f64); 4] = [(100, 0.5), (250, 1.0), (500, 2.0), (1000, 3.0)];
/// Size, class A in ml. ISO 4788, from memory.
const ISO_A: [(u32, f64); 4] = [(100, 0.5), (250, 1.0), (500, 2.5), (1000, 5.0)];

/// Sizes that the tables have, in ml.
pub const SIZES_ML: [u32; 4] = [100, 250, 500, 1000];

/// The tolerance of a cylinder in ml, the half-width of what it may be off;
/// `None` for a size the table does not have.
pub fn tolerance_ml(standard: Standard, size_ml: u32, class: Class) -> Option<f64> {
    let table = match standard {
        Standard::Astm => &ASTM_A,
        Standard::Iso => &ISO_A,
    };
    let times = match class {
        Class::A => 1.0,
        Class::B => 2.0,
    };
    table.iter().find(|(size, _)| *size == size_ml).map(|(_, a)| a * times)
}
