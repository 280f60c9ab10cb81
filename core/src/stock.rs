//! The container by account: what was told to be in it, less what was drawn.

use crate::config::Container;
use crate::units::Volume;

/// The account of the container. It is reckoned by the most that can have been
/// drawn, so that what it says can be counted on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stock {
    /// The container.
    pub container: Container,
    /// What is in it, the dose that is open not taken off yet.
    pub level: Volume,
    /// What the prime or calibration run that has begun was taken off for.
    pub service: Volume,
}

impl Stock {
    /// No container: nothing is kept account of, and nothing runs out.
    pub const NONE: Self =
        Self { container: Container::NONE, level: Volume::ZERO, service: Volume::ZERO };

    /// The container, if the device was told of one.
    pub const fn container(&self) -> Option<&Container> {
        if self.container.is_none() { None } else { Some(&self.container) }
    }

    /// Takes off what a dose drew at most.
    pub const fn draw(&mut self, volume: Volume) {
        self.level = self.level.minus(volume);
    }

    /// A prime or calibration run begins: all that it can draw is taken off, so
    /// that a restart in the middle of it leaves nothing out.
    pub const fn service_begins(&mut self, most: Volume) {
        self.service = self.level.min(most);
        self.level = self.level.minus(most);
    }

    /// It has ended: what it did not draw is there still.
    pub const fn service_ends(&mut self, drawn: Volume) {
        self.level = self.level.plus(self.service.minus(drawn));
        self.service = Volume::ZERO;
    }

    /// What can be dosed: all but the heel, and what the open dose has drawn.
    pub const fn can_dose(&self, drawn: Volume) -> Volume {
        self.level.minus(drawn).minus(self.container.heel)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn o1_a_prime_that_ends_early_gives_back_what_it_did_not_draw() {
        let ml = Volume::from_ml;
        let mut stock = Stock { level: ml(300), ..Stock::NONE };
        stock.service_begins(ml(127));
        assert_eq!(stock.level, ml(173));
        stock.service_ends(ml(50));
        assert_eq!((stock.level, stock.service), (ml(250), ml(0)));
        // more asked for than there is: what was not there does not come back
        stock.service_begins(ml(400));
        assert_eq!(stock.level, ml(0));
        stock.service_ends(ml(50));
        assert_eq!(stock.level, ml(200));
    }
}
