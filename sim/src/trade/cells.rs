//! Cells: what is in them at a load (Peukert), what is lost on the shelf, and
//! how much can be used. All of it is a model: say so where it is shown.

/// A kind of cell: two points of its discharge give the exponent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cell {
    /// Designation, as in IEC 60086.
    pub name: &'static str,
    /// A light load in A and the capacity at it in Ah.
    pub light: (f64, f64),
    /// A heavy load in A and the capacity at it in Ah.
    pub heavy: (f64, f64),
    /// Volts under load at which it counts as empty.
    pub end_v: f64,
    /// Volts under a usual motor's load by the share of its charge that is used, down to
    /// where it counts as empty: the shape of a usual discharge, from memory.
    pub loaded: [(f64, f64); 7],
    /// Internal resistance of a fresh one in ohm (from memory).
    pub ohm: f64,
    /// Share of its capacity that the cold leaves at 0 C and at -20 C (from memory).
    pub cold: (f64, f64),
    /// Share that is lost in a year on the shelf at 21 C.
    pub lost_a_year: f64,
    /// Where the numbers come from.
    pub source: &'static str,
}

const ALKALINE: [(f64, f64); 7] =
    [(0.0, 1.50), (0.1, 1.36), (0.3, 1.25), (0.5, 1.17), (0.7, 1.09), (0.9, 0.98), (1.0, END_V)];
const ALKALINE_COLD: (f64, f64) = (0.7, 0.2);
/// Flat, with a knee at its end.
const NICKEL: [(f64, f64); 7] =
    [(0.0, 1.41), (0.1, 1.33), (0.3, 1.29), (0.5, 1.27), (0.7, 1.25), (0.9, 1.19), (1.0, 1.0)];

/// Alkaline, size D.
pub const LR20: Cell = Cell {
    name: "LR20",
    light: (0.025, 20.0),
    heavy: (0.5, 10.0),
    end_v: END_V,
    loaded: ALKALINE,
    ohm: 0.15,
    cold: ALKALINE_COLD,
    lost_a_year: SELF_DISCHARGE_A_YEAR,
    source: "20 Ah at 25 mA, 10 Ah at 500 mA: an encyclopedia's table",
};
/// Alkaline, size C.
pub const LR14: Cell = Cell {
    name: "LR14",
    light: (0.025, 8.0),
    heavy: (0.5, 3.9),
    end_v: END_V,
    loaded: ALKALINE,
    ohm: 0.18,
    cold: ALKALINE_COLD,
    lost_a_year: SELF_DISCHARGE_A_YEAR,
    source: "8.0 Ah at 25 mA, 3.9 Ah at 500 mA: from memory",
};
/// Alkaline, size AA.
pub const LR6: Cell = Cell {
    name: "LR6",
    light: (0.025, 2.7),
    heavy: (0.5, 1.3),
    end_v: END_V,
    loaded: ALKALINE,
    ohm: 0.20,
    cold: ALKALINE_COLD,
    lost_a_year: SELF_DISCHARGE_A_YEAR,
    source: "2.7 Ah at 25 mA, 1.3 Ah at 500 mA: from memory",
};

/// Nickel-metal hydride, size D.
pub const HR20: Cell = Cell {
    name: "HR20",
    light: (0.9, 9.0),
    heavy: (4.5, 8.5),
    end_v: 1.0,
    loaded: NICKEL,
    ohm: 0.02,
    cold: (0.85, 0.5),
    // of the kind that keeps its charge: from memory
    lost_a_year: 0.15,
    source: "9.0 Ah at 0.9 A, 8.5 Ah at 4.5 A, to 1.0 V: from memory",
};

/// Volts of an alkaline cell at which it counts as empty (common practice, no
/// source).
pub const END_V: f64 = 0.9;
/// Drop of a driver with its wiring in V (own choice).
pub const DRIVER_DROP_V: f64 = 0.3;
/// Current of a usual small motor, in A (own choice).
pub const USUAL_A: f64 = 0.35;
/// Motor voltage unless said, in V (own choice).
pub const MOTOR_V: f64 = 6.0;
/// What a pack of a run is kept at where nothing says it (own choice), in C.
pub const ROOM_C: f64 = 20.0;
/// How cold a cool cellar counts as, in C (common practice, no source).
pub const COOL_C: f64 = 0.0;
/// Share that age leaves of it (common practice, no source).
pub const AGE_SHARE: f64 = 0.8;

/// Share that is lost in a year on the shelf at 21 C; sources say 2 to 4 %.
pub const SELF_DISCHARGE_A_YEAR: f64 = 0.03;

impl Cell {
    /// Peukert exponent through the two points.
    pub fn exponent(&self) -> f64 {
        1.0 + (self.light.1 / self.heavy.1).ln() / (self.heavy.0 / self.light.0).ln()
    }

    /// Capacity in Ah at a load in A.
    pub fn capacity_ah(&self, current_a: f64) -> f64 {
        self.light.1 * (self.light.0 / current_a).powf(self.exponent() - 1.0)
    }

    /// Share of its capacity that the cold leaves: all of it at 20 C, and in straight lines
    /// between the points and below.
    pub fn cold_share(&self, celsius: f64) -> f64 {
        let (at_0, at_minus_20) = self.cold;
        let a_kelvin = if celsius < 0.0 { at_0 - at_minus_20 } else { 1.0 - at_0 } / 20.0;
        (at_0 + a_kelvin * celsius).clamp(0.1, 1.0)
    }

    /// Voltage under a usual motor's load with a share of its charge used: it tells how a
    /// pack will read on a visit, no more.
    pub fn loaded_v(&self, used: f64) -> f64 {
        for pair in self.loaded.windows(2) {
            let ((a, va), (b, vb)) = (pair[0], pair[1]);
            if used <= b {
                return va + (vb - va) * ((used - a) / (b - a)).max(0.0);
            }
        }
        self.end_v
    }

    /// Share of its charge after which it is down to a voltage under a load in A: all of
    /// it from [`Cell::end_v`] down, nothing where a fresh one has less. What a load
    /// takes beyond the usual is by the resistance of a fresh one.
    pub fn used_at_v(&self, volts: f64, load_a: f64) -> f64 {
        let volts = volts.max(self.end_v) + (load_a - USUAL_A).max(0.0) * self.ohm;
        if volts <= self.end_v {
            return 1.0;
        }
        let (mut above, mut below) = (0.0, 1.0);
        while below - above > 1e-9 {
            let used = f64::midpoint(above, below);
            if self.loaded_v(used) > volts { above = used } else { below = used }
        }
        above
    }
}

/// Cells in series that a motor of `motor_v` needs, so that it still has its
/// voltage when each is down to [`END_V`] (common practice, no source).
pub fn cells_for(motor_v: f64, drop_v: f64) -> u32 {
    // 4.5 V over 0.9 V are 5 cells, whatever the last digit of a quotient says
    (((motor_v + drop_v) / END_V - 1e-9).ceil() as u32).max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_that_has_to_give_more_gives_less_long() {
        let usual = |cell: Cell, volts: f64| cell.used_at_v(volts, USUAL_A);
        assert_eq!((usual(LR20, 0.5), usual(LR20, END_V), usual(HR20, 1.0)), (1.0, 1.0, 1.0));
        assert_eq!((usual(LR20, 1.5), usual(LR20, 2.0)), (0.0, 0.0));
        for cell in [LR20, LR14, LR6, HR20] {
            for used in [0.1, 0.25, 0.5, 0.77] {
                assert!((usual(cell, cell.loaded_v(used)) - used).abs() < 1e-6, "{used}");
                if used > 0.6 {
                    continue;
                }
                // an ampere more through 0.15 ohm is 0.15 V of an LR20
                let more = cell.used_at_v(cell.loaded_v(used) - cell.ohm, USUAL_A + 1.0);
                assert!((more - used).abs() < 1e-6, "{} {used}", cell.name);
            }
        }
    }

    #[test]
    fn the_voltage_only_falls_and_ends_where_the_cell_counts_as_empty() {
        let course: Vec<f64> = (0..=120).map(|i| LR20.loaded_v(f64::from(i) / 100.0)).collect();
        assert!(course.windows(2).all(|pair| pair[1] <= pair[0]));
        assert_eq!((course[0], course[100], course[120]), (1.5, END_V, END_V));
    }
}
