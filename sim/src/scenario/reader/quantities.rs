//! Getters of quantities and counts.

use dosewright_core::time::Duration;
use dosewright_core::units::{Flow, Volume};

use super::super::doc::{Node, Value};
use super::super::keys::{Kind, Range, range};
use super::super::model::Change;
use super::super::quantity::{self, Problem};
use super::TableReader;
use crate::diagnose::{Diagnostic, codes};

impl TableReader<'_, '_> {
    /// A value inside its kind's limits.
    fn bounded(
        &mut self,
        key: &str,
        node: &Node,
        kind: Kind,
        value: i128,
        range: Range,
    ) -> Option<i64> {
        let (least, most) = (i128::from(range.least), i128::from(range.most));
        let counted = matches!(kind, Kind::Count(_) | Kind::CountOrNone(_));
        let message = if value < 0 && least >= 0 {
            format!("`{key}` is negative")
        } else if value < least && value == 0 && !counted {
            format!("`{key}` is nothing")
        } else if value < least {
            format!("`{key}` is below {}", kind.show(least))
        } else if value > most {
            format!("`{key}` is above {}", kind.show(most))
        } else {
            return i64::try_from(value).ok();
        };
        let help = match (value < least, least) {
            (true, 1) if !counted => "it has to be more than nothing".to_owned(),
            _ => format!("from {} to {}", kind.show(least), kind.show(most)),
        };
        self.cx.report(Diagnostic::new(codes::OUT_OF_RANGE, node.span, message).help(help));
        None
    }

    /// A quantity in its base unit.
    fn measured(
        &mut self,
        key: &'static str,
        read: impl Fn(&str) -> Result<i128, Problem>,
        range: Range,
    ) -> Option<i64> {
        let (text, node, kind) = self.text(key)?;
        match read(text) {
            Ok(value) => self.bounded(key, node, kind, value, range),
            Err(problem) => {
                self.refuse(key, node, problem);
                None
            }
        }
    }

    pub(in crate::scenario) fn volume(&mut self, key: &'static str) -> Option<Volume> {
        let Some(Kind::Volume(range)) = self.kind(key) else { return self.slip(key) };
        let nl = self.measured(key, |text| quantity::quantity(text, &quantity::VOLUME), range)?;
        Some(Volume::from_nl(nl as u64))
    }

    /// A volume, or a share of another volume.
    pub(in crate::scenario) fn volume_or_share(
        &mut self,
        key: &'static str,
        of: Option<Volume>,
    ) -> Option<Volume> {
        let Some(Kind::VolumeOrShare(limits)) = self.kind(key) else { return self.slip(key) };
        let is_share =
            |text: &str| text.trim_end().ends_with('%') || text.trim_end().ends_with("ppm");
        let share = self
            .table
            .get(key)
            .is_some_and(|p| matches!(&p.node.value, Value::Text { text, .. } if is_share(text)));
        if !share {
            let nl =
                self.measured(key, |text| quantity::quantity(text, &quantity::VOLUME), limits)?;
            return Some(Volume::from_nl(nl as u64));
        }
        let (text, node, _) = self.text(key)?;
        let all = range(0, 1_000_000);
        let shares = Kind::Quantity(&quantity::PERCENT, all);
        match quantity::quantity(text, &quantity::PERCENT) {
            Ok(ppm) => {
                let ppm = self.bounded(key, node, shares, ppm, all)?;
                let nl = i128::from(of?.as_nl()) * i128::from(ppm) / 1_000_000;
                Some(Volume::from_nl(nl as u64))
            }
            Err(problem) => {
                self.refuse(key, node, problem);
                None
            }
        }
    }

    pub(in crate::scenario) fn flow(&mut self, key: &'static str) -> Option<Flow> {
        let Some(Kind::Flow(range)) = self.kind(key) else { return self.slip(key) };
        let nl = self.measured(key, quantity::flow, range)?;
        u32::try_from(nl).ok().and_then(Flow::from_nl_per_min)
    }

    /// In milliseconds.
    pub(in crate::scenario) fn length_ms(&mut self, key: &'static str) -> Option<i64> {
        let Some(Kind::Length(range)) = self.kind(key) else { return self.slip(key) };
        self.measured(key, quantity::duration, range)
    }

    pub(in crate::scenario) fn length(&mut self, key: &'static str) -> Option<Duration> {
        self.length_ms(key).map(|ms| Duration::from_ms(ms.max(0) as u64))
    }

    /// In milliseconds; the kinds that are read with this are bounded to what
    /// fits.
    pub(in crate::scenario) fn short_ms(&mut self, key: &'static str) -> Option<u32> {
        self.length_ms(key).and_then(|ms| u32::try_from(ms).ok())
    }

    /// In the base unit of its dimension.
    pub(in crate::scenario) fn quantity(&mut self, key: &'static str) -> Option<i64> {
        let Some(Kind::Quantity(dimension, range)) = self.kind(key) else { return self.slip(key) };
        self.measured(key, |text| quantity::quantity(text, dimension), range)
    }

    /// The same, where its limits are those of 32 bits.
    pub(in crate::scenario) fn quantity_i32(&mut self, key: &'static str) -> Option<i32> {
        self.quantity(key).and_then(|value| i32::try_from(value).ok())
    }

    /// The same, where its limits are those of 32 bits and it is not negative.
    pub(in crate::scenario) fn quantity_u32(&mut self, key: &'static str) -> Option<u32> {
        self.quantity(key).and_then(|value| u32::try_from(value).ok())
    }

    fn whole(&mut self, key: &'static str, node: &Node, kind: Kind, range: Range) -> Option<u32> {
        let Value::Integer { digits, radix } = &node.value else {
            self.wrong_type(key, node, kind);
            return None;
        };
        // A number too long for this is above every limit.
        let value = i128::from_str_radix(digits, *radix).unwrap_or(if digits.starts_with('-') {
            i128::MIN
        } else {
            i128::MAX
        });
        self.bounded(key, node, kind, value, range).and_then(|n| u32::try_from(n).ok())
    }

    pub(in crate::scenario) fn count(&mut self, key: &'static str) -> Option<u32> {
        let Some(Kind::Count(range)) = self.kind(key) else { return self.slip(key) };
        let (node, kind) = self.node(key)?;
        self.whole(key, node, kind, range)
    }

    /// A count, or "none".
    pub(in crate::scenario) fn count_or_none(&mut self, key: &'static str) -> Option<Change<u32>> {
        let Some(Kind::CountOrNone(range)) = self.kind(key) else { return self.slip(key) };
        let (node, kind) = self.node(key)?;
        if matches!(&node.value, Value::Text { text, .. } if text == "none") {
            return Some(Change::Clear);
        }
        self.whole(key, node, kind, range).map(Change::To)
    }

    /// The version of the format.
    pub(in crate::scenario) fn version(&mut self, key: &'static str, known: u32) -> Option<u32> {
        let (node, kind) = self.node(key)?;
        let Value::Integer { digits, radix } = &node.value else {
            self.wrong_type(key, node, kind);
            return None;
        };
        if u32::from_str_radix(digits, *radix).is_ok_and(|version| version == known) {
            return Some(known);
        }
        let message = format!("schema {digits} is not known");
        self.cx.report(
            Diagnostic::new(codes::UNKNOWN_SCHEMA, node.span, message)
                .label(format!("this program reads schema {known}"))
                .help("a newer program may read it"),
        );
        None
    }
}
