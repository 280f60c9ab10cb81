//! The keys of tube set, product and separator: what the arithmetic of the trade needs.

use super::super::quantity::{DENSITY, DISTANCE, PERCENT, VISCOSITY};
use super::{A_LENGTH, A_VOLUME, ANY_LENGTH, Kind, Table, optional, range, required};

/// A hundred metres, in um.
const FAR: i64 = 100_000_000;

pub(in crate::scenario) static TUBE: Table = Table {
    name: "[tube]",
    group: "",
    keys: &[
        required("bore", Kind::Quantity(&DISTANCE, range(100, 50_000)), "Inner diameter."),
        optional(
            "suction",
            Kind::Quantity(&DISTANCE, range(0, FAR)),
            "Length of the suction line; none unless said.",
        ),
        optional(
            "discharge",
            Kind::Quantity(&DISTANCE, range(0, FAR)),
            "Length of the discharge line; none unless said.",
        ),
        optional(
            "lift",
            Kind::Quantity(&DISTANCE, range(-FAR, FAR)),
            "Height of the pump above the lowest level of the product; negative where it is below it; none unless said.",
        ),
        optional(
            "outlet_below",
            Kind::Quantity(&DISTANCE, range(-FAR, FAR)),
            "How far the outlet lies below the surface of the product; it siphons where that is more than nothing; none unless said.",
        ),
        optional("fitted", Kind::Date, "When the tube set was fitted; the start unless said."),
        optional("pumped", ANY_LENGTH, "How long it has pumped since; nothing unless said."),
        optional("life", A_LENGTH, "Calendar life of a tube set; 365 days unless said."),
        optional("life_pumping", A_LENGTH, "Its life in pumping; 500 h unless said."),
        optional(
            "life_drift",
            Kind::Quantity(&PERCENT, range(10_000, 500_000)),
            "Its life in loss of flow; 10 % unless said.",
        ),
        optional(
            "drift_a_year",
            Kind::Quantity(&PERCENT, range(0, 1_000_000)),
            "Loss of flow in a year, by the trend of calibrations; not known unless said.",
        ),
    ],
};

pub(in crate::scenario) static PRODUCT: Table = Table {
    name: "[product]",
    group: "",
    keys: &[
        optional(
            "density",
            Kind::Quantity(&DENSITY, range(500_000, 3_000_000)),
            "Density; 1 kg/l unless said.",
        ),
        optional(
            "viscosity",
            Kind::Quantity(&VISCOSITY, range(100, 100_000_000)),
            "Viscosity; 1 mPa s unless said.",
        ),
        optional(
            "active",
            Kind::Quantity(&PERCENT, range(1, 1_000_000)),
            "Share of active matter by mass, for the discharge figures.",
        ),
        optional(
            "cod",
            Kind::Quantity(&DENSITY, range(1, 5_000_000)),
            "Chemical oxygen demand, for the discharge figures.",
        ),
        optional("water_a_day", A_VOLUME, "Water that the site uses in a day, for the same."),
        optional("use_by", Kind::Date, "Date after which the product is not to be used."),
    ],
};

/// Twenty metres, in um: no separator is as deep.
const DEEP: i64 = 20_000_000;

pub(in crate::scenario) static SEPARATOR: Table = Table {
    name: "[separator]",
    group: "",
    keys: &[
        required(
            "depth",
            Kind::Quantity(&DISTANCE, range(10_000, DEEP)),
            "Depth from the surface of what is in it down to its floor.",
        ),
        optional(
            "limit",
            Kind::Quantity(&PERCENT, range(10_000, 1_000_000)),
            "Share of that depth which grease and solids may take together; 25 % unless said; the local rule governs.",
        ),
        optional(
            "emptied",
            Kind::Date,
            "When it was emptied last, at the start at the latest: nothing is in it from then on; a dip of that day is one before it.",
        ),
        required("dips", Kind::Tables(&DIP), "What was found at each dip, the earliest first."),
    ],
};

pub(in crate::scenario) static DIP: Table = Table {
    name: "dips",
    group: "",
    keys: &[
        required("date", Kind::Date, "When it was dipped: the start at the latest."),
        required(
            "grease",
            Kind::Quantity(&DISTANCE, range(0, DEEP)),
            "How thick the grease was that floats.",
        ),
        required(
            "solids",
            Kind::Quantity(&DISTANCE, range(0, DEEP)),
            "How thick the solids were on the floor.",
        ),
    ],
};
