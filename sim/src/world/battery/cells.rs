//! What a cell is like. Every figure has its source beside it; "from memory" and
//! "model parameter" mean what they say.

use crate::scenario::CellType;

/// A kind of cell, as the world has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellModel {
    /// Open-circuit voltage in V by the share of its charge that is used.
    pub ocv: [(f64, f64); 7],
    /// Internal resistance of a fresh cell at 20 C, in ohm.
    pub fresh_ohm: f64,
    /// What an exhausted one has on top, in ohm.
    pub rise_ohm: f64,
    /// Share by which resistance rises for each kelvin below 20 C.
    pub rise_a_kelvin: f64,
    /// Capacity in Ah at `at_a`.
    pub capacity_ah: f64,
    /// Current of that capacity, in A. A smaller current counts as this one: Peukert's
    /// law holds between the two loads that it was drawn through.
    pub at_a: f64,
    /// Peukert's exponent.
    pub exponent: f64,
    /// Share of the capacity that is there by temperature in C.
    pub cold: [(f64, f64); 3],
    /// Share that is lost in a year on the shelf at 20 C.
    pub lost_a_year: f64,
}

/// Alkaline, from memory: the shape of a usual discharge curve, less what the
/// internal resistance takes from it at the motor's current.
const ALKALINE_OCV: [(f64, f64); 7] =
    [(0.0, 1.58), (0.1, 1.43), (0.3, 1.32), (0.5, 1.25), (0.7, 1.18), (0.9, 1.08), (1.0, 1.00)];
/// 70 % at 0 C (check values, from memory); full at 20 C; -20 C from memory.
const ALKALINE_COLD: [(f64, f64); 3] = [(-20.0, 0.2), (0.0, 0.7), (20.0, 1.0)];
/// Nickel-metal hydride, from memory: flat, with a knee at its end.
const NIMH_OCV: [(f64, f64); 7] =
    [(0.0, 1.42), (0.1, 1.34), (0.3, 1.30), (0.5, 1.28), (0.7, 1.26), (0.9, 1.20), (1.0, 0.95)];
/// From memory.
const NIMH_COLD: [(f64, f64); 3] = [(-20.0, 0.5), (0.0, 0.85), (20.0, 1.0)];

/// Alkaline, size D.
pub const LR20: CellModel = CellModel {
    ocv: ALKALINE_OCV,
    // 0.15 ohm fresh: from memory; what it gains: model parameter
    fresh_ohm: 0.15,
    rise_ohm: 0.15,
    rise_a_kelvin: 0.02,
    // 20 Ah at 25 mA and 10 Ah at 500 mA (an encyclopedia's table), which makes the
    // exponent 1.23138
    capacity_ah: 20.0,
    at_a: 0.025,
    exponent: 1.231_38,
    cold: ALKALINE_COLD,
    // sources disagree, 2 to 4 % a year at 21 C: a parameter
    lost_a_year: 0.03,
};
/// Alkaline, size C: all from memory.
pub const LR14: CellModel =
    CellModel { fresh_ohm: 0.18, rise_ohm: 0.2, capacity_ah: 8.0, exponent: 1.239_85, ..LR20 };
/// Alkaline, size AA: all from memory.
pub const LR6: CellModel =
    CellModel { fresh_ohm: 0.2, rise_ohm: 0.25, capacity_ah: 2.7, exponent: 1.243_98, ..LR20 };
/// Nickel-metal hydride, size D, of the kind that keeps its charge: all from memory.
pub const HR20: CellModel = CellModel {
    ocv: NIMH_OCV,
    fresh_ohm: 0.02,
    rise_ohm: 0.03,
    rise_a_kelvin: 0.02,
    capacity_ah: 9.0,
    at_a: 0.9,
    exponent: 1.035,
    cold: NIMH_COLD,
    lost_a_year: 0.15,
};

impl CellModel {
    /// Of a type.
    pub const fn of(cells: CellType) -> Self {
        match cells {
            CellType::Lr20 => LR20,
            CellType::Lr14 => LR14,
            CellType::Lr6 => LR6,
            CellType::Hr20 => HR20,
        }
    }

    /// Capacity in Ah at a current in A and a temperature in C (Peukert).
    pub fn capacity_at(&self, current_a: f64, celsius: f64) -> f64 {
        let ratio = (current_a / self.at_a).max(1.0);
        self.capacity_ah * ratio.powf(1.0 - self.exponent) * along(&self.cold, celsius)
    }

    /// Voltage in V with so much of its charge used, at a current in A.
    pub fn volts(&self, used: f64, current_a: f64, celsius: f64) -> f64 {
        let colder = (20.0 - celsius).max(0.0);
        let ohm = (self.fresh_ohm + self.rise_ohm * used.clamp(0.0, 1.0).powi(2))
            * (1.0 + self.rise_a_kelvin * colder);
        // beyond its last point a cell is dead
        let open = if used > 1.0 {
            (self.ocv[6].1 - 10.0 * (used - 1.0)).max(0.0)
        } else {
            along(&self.ocv, used)
        };
        (open - current_a * ohm).max(0.0)
    }
}

/// A value on a line through points, held beyond its ends.
fn along(points: &[(f64, f64)], x: f64) -> f64 {
    for pair in points.windows(2) {
        let ((a, ya), (b, yb)) = (pair[0], pair[1]);
        if x <= b {
            return ya + (yb - ya) * ((x - a) / (b - a)).max(0.0);
        }
    }
    points.last().map_or(0.0, |&(_, y)| y)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_lr20_has_the_capacities_of_the_table() {
        // 17.04 14.51 11.74 10.00 8.52 Ah at 50 100 250 500 1000 mA: computed from the
        // two loads of an encyclopedia's table
        for (ma, ah) in
            [(50.0, 17.04), (100.0, 14.51), (250.0, 11.74), (500.0, 10.0), (1000.0, 8.52)]
        {
            assert!((LR20.capacity_at(ma / 1e3, 20.0) - ah).abs() < 0.01, "{ma} mA");
        }
        // cold derating about 70 % at 0 C (from memory)
        assert!((LR20.capacity_at(0.5, 0.0) - 7.0).abs() < 0.01);
        // sleep draws on no more than the lightest load of the table
        assert!((LR20.capacity_at(60e-6, 20.0) - 20.0).abs() < 1e-9);
    }

    #[test]
    fn a_cell_falls_with_use_sags_under_load_and_more_so_in_the_cold() {
        for cell in [LR20, LR14, LR6, HR20] {
            let course: Vec<f64> =
                (0..=103).map(|i| cell.volts(f64::from(i) / 100.0, 0.35, 20.0)).collect();
            assert!(course.windows(2).all(|pair| pair[1] < pair[0]));
            assert!(cell.volts(0.5, 0.35, 20.0) < cell.volts(0.5, 0.0, 20.0));
            assert!(cell.volts(0.5, 0.35, 4.0) < cell.volts(0.5, 0.35, 20.0));
            // at rest the cold does not show
            let rest = cell.volts(0.5, 0.0, 4.0) - cell.volts(0.5, 0.0, 20.0);
            assert!(rest.abs() < 1e-12);
            // down to 0.9 V with a motor's load where its charge is used
            let end = cell.volts(1.0, 0.35, 20.0);
            assert!((0.82..0.95).contains(&end), "{end}");
        }
    }
}
