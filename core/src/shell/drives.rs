//! Drives over embedded-hal: a switched motor, a motor at a duty, a stepper.

use embedded_hal::digital::OutputPin;
use embedded_hal::pwm::SetDutyCycle;

use super::Drive;

/// A motor switched by one pin, high for on. For a switch that is on when low,
/// give an inverted pin.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Switched<P> {
    /// The pin.
    pub pin: P,
}

impl<P: OutputPin> Drive for Switched<P> {
    type Error = P::Error;

    fn start(&mut self) -> Result<(), P::Error> {
        self.pin.set_high()
    }

    fn stop(&mut self) -> Result<(), P::Error> {
        self.pin.set_low()
    }
}

/// A motor at a fixed duty: the calibrated flow is the flow at that duty.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Modulated<P> {
    /// The output of the modulator.
    pub pwm: P,
    /// The duty of a run, 1 to 100 %; what is above counts as 100.
    pub duty_percent: u8,
}

impl<P: SetDutyCycle> Drive for Modulated<P> {
    type Error = P::Error;

    fn start(&mut self) -> Result<(), P::Error> {
        self.pwm.set_duty_cycle(part_of(self.pwm.max_duty_cycle(), self.duty_percent))
    }

    fn stop(&mut self) -> Result<(), P::Error> {
        self.pwm.set_duty_cycle(0)
    }
}

/// A part of the largest duty, in hundredths. The adapter of embedded-hal asserts
/// that it is at most 100, and this must not.
fn part_of(most: u16, percent: u8) -> u16 {
    let part = u32::from(most) * u32::from(percent.min(100)) / 100;
    u16::try_from(part).unwrap_or(most)
}

/// A stepper on a driver with step, direction and enable inputs. A timer makes the
/// steps, at the rate it was set to; it runs at half duty while the pump is on.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Stepped<S, D, E> {
    /// The timer's output that steps.
    pub step: S,
    /// The direction.
    pub direction: D,
    /// On while the motor is to hold or turn; high for on.
    pub enable: E,
    /// The direction pin's level that pumps towards the outlet.
    pub forward_is_high: bool,
}

/// What failed of a stepper's driver.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StepperError<S, D, E> {
    /// The step output.
    Step(S),
    /// The direction pin.
    Direction(D),
    /// The enable pin.
    Enable(E),
}

impl<S: SetDutyCycle, D: OutputPin, E: OutputPin> Drive for Stepped<S, D, E> {
    type Error = StepperError<S::Error, D::Error, E::Error>;

    fn start(&mut self) -> Result<(), Self::Error> {
        self.direction.set_state(self.forward_is_high.into()).map_err(StepperError::Direction)?;
        self.enable.set_high().map_err(StepperError::Enable)?;
        self.step.set_duty_cycle(self.step.max_duty_cycle() / 2).map_err(StepperError::Step)
    }

    /// Both outputs are tried, whatever becomes of the first: either stops it.
    fn stop(&mut self) -> Result<(), Self::Error> {
        let step = self.step.set_duty_cycle(0).map_err(StepperError::Step);
        let enable = self.enable.set_low().map_err(StepperError::Enable);
        step.and(enable)
    }
}
