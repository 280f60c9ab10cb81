//! The container by account: what was told to be in it, less what was drawn.

use crate::config::Container;
use crate::units::{Flow, Volume, over};

/// The account of the container. It is reckoned by the most that can have been
/// drawn, so that what it says can be counted on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stock {
    /// The container.
    pub container: Container,
    /// What is in it; neither the dose that is open is taken off yet, nor the prime or
    /// calibration run that has begun.
    pub level: Volume,
    /// What this run can draw of it at the most; nothing where none has begun.
    pub service: Volume,
    /// What was taken off since somebody or something last said how much is in it,
    /// or how much the head delivers.
    pub drawn: Volume,
}

impl Stock {
    /// No container: nothing is kept account of, and nothing runs out.
    pub const NONE: Self = Self {
        container: Container::NONE,
        level: Volume::ZERO,
        service: Volume::ZERO,
        drawn: Volume::ZERO,
    };

    /// The container, if the device was told of one.
    pub const fn container(&self) -> Option<&Container> {
        if self.container.is_none() { None } else { Some(&self.container) }
    }

    /// Takes off what a dose drew at most.
    pub const fn draw(&mut self, volume: Volume) {
        self.drawn = self.drawn.plus(self.level.min(volume));
        self.level = self.level.minus(volume);
    }

    /// It can hold no more than so much, whatever the account was.
    pub fn put_down(&mut self, most: Volume) {
        self.level = self.level.min(most);
        self.service = self.service.min(self.level);
        self.drawn = Volume::ZERO;
    }

    /// A prime or calibration run has ended: what it drew is taken off.
    pub fn service_ends(&mut self, drawn: Volume) {
        if core::mem::take(&mut self.service) > Volume::ZERO {
            self.draw(drawn);
        }
    }

    /// How much it has drawn will not be known, after a start or with another flow: all that
    /// it can draw is taken off.
    pub fn service_lost(&mut self) {
        self.service_ends(self.service);
    }

    /// The head was found to deliver another flow than the one in force. What was
    /// taken off since is restated as if the flow had drifted in a straight line:
    /// half the difference was not drawn, or was drawn beside the account (common
    /// practice, no source).
    pub fn restate(&mut self, in_force: Flow, found: Flow) {
        let (old, new) = (u64::from(in_force.as_nl_per_min()), u64::from(found.as_nl_per_min()));
        // in microlitres, so that 1000 l and any flow go into 64 bits together
        let drawn_ul = over(self.drawn.as_nl(), 1000).min(Container::LARGEST.as_ul());
        let off = Volume::from_ul(over(drawn_ul * old.abs_diff(new), 2 * old));
        self.drawn = Volume::ZERO;
        if new > old {
            self.level = self.level.minus(off);
        } else if self.level < self.container.capacity {
            self.level = self.level.plus(off).min(self.container.capacity);
        }
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
    fn o1_a_prime_takes_off_what_it_drew_or_all_that_it_can_have_drawn() {
        let ml = Volume::from_ml;
        let begun = Stock { level: ml(300), service: ml(127), ..Stock::NONE };
        let mut stock = begun;
        stock.service_ends(ml(50));
        assert_eq!((stock.level, stock.service, stock.drawn), (ml(250), ml(0), ml(50)));
        // that is told once
        stock.service_ends(ml(50));
        assert_eq!(stock.level, ml(250));
        stock = begun;
        stock.service_lost();
        assert_eq!((stock.level, stock.service, stock.drawn), (ml(173), ml(0), ml(127)));
        // put down to less than it can draw: to nothing
        stock = Stock { drawn: ml(7), ..begun };
        stock.put_down(ml(400));
        assert_eq!((stock.level, stock.service, stock.drawn), (ml(300), ml(127), ml(0)));
        stock.put_down(ml(100));
        assert_eq!((stock.level, stock.service), (ml(100), ml(100)));
        stock.put_down(ml(0));
        stock.service_ends(ml(50));
        assert_eq!((stock.level, stock.drawn), (ml(0), ml(0)));
    }

    #[test]
    fn o2_the_account_is_restated_by_half_of_what_the_flow_has_drifted() {
        let flow = |ul: u32| Flow::from_nl_per_min(ul * 1000).unwrap();
        let container = Container { capacity: Volume::from_ml(25_000), ..Container::NONE };
        let level = Volume::from_ml(20_000);
        let mut stock = Stock { container, level, ..Stock::NONE };
        stock.draw(Volume::from_ml(18_700));
        // 26.5 -> 23.9 ml/min, 18.7 l logged: 17.8 l (common practice, no source)
        let mut found_less = stock;
        found_less.restate(flow(26_500), flow(23_900));
        let drawn = level.minus(found_less.level);
        assert_eq!(drawn.as_ul() / 1000, 17_782);
        assert_eq!(found_less.drawn, Volume::ZERO);
        // what was restated once is not restated again
        let once = found_less;
        found_less.restate(flow(26_500), flow(23_900));
        assert_eq!(found_less, once);
        // a head that delivers more has drawn more
        stock.restate(flow(26_500), flow(29_100));
        assert_eq!(level.minus(stock.level).as_ul() / 1000, 19_617);
        // it never says more than goes into the container
        let mut full = Stock { level: Volume::from_ml(24_900), drawn: level, ..stock };
        full.restate(flow(26_500), flow(23_900));
        assert_eq!(full.level, container.capacity);
    }
}
