//! Drives and contacts over mock pins.

use dosewright_core::shell::contacts::{Absent, Contact, Contacts, Steady};
use dosewright_core::shell::drives::{Modulated, Stepped, StepperError, Switched};
use dosewright_core::shell::{Drive, Inputs, Levels};
use dosewright_core::time::{Duration, Instant};
use embedded_hal::digital::InputPin;
use embedded_hal_mock::eh1::MockError;
use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as Level};
use embedded_hal_mock::eh1::pwm::{Mock as Pwm, Transaction as Duty};

fn failing(level: Level) -> Level {
    level.with_error(MockError::Io(std::io::ErrorKind::BrokenPipe))
}

#[test]
fn a_switched_motor_is_on_when_high() {
    let mut pin = Pin::new(&[Level::set(State::High), Level::set(State::Low)]);
    let mut drive = Switched { pin: pin.clone() };
    drive.start().unwrap();
    drive.stop().unwrap();
    pin.done();
}

#[test]
fn a_motor_at_a_duty_never_goes_over_the_largest() {
    for (percent, duty) in [(40, 400), (100, 1000), (250, 1000)] {
        let mut pwm = Pwm::new(&[
            Duty::max_duty_cycle(1000),
            Duty::set_duty_cycle(duty),
            Duty::set_duty_cycle(0),
        ]);
        let mut drive = Modulated { pwm: pwm.clone(), duty_percent: percent };
        drive.start().unwrap();
        drive.stop().unwrap();
        pwm.done();
    }
}

#[test]
fn a_stepper_gets_its_direction_before_it_steps() {
    for forward_is_high in [true, false] {
        let direction_level = if forward_is_high { State::High } else { State::Low };
        let mut direction = Pin::new(&[Level::set(direction_level)]);
        let mut enable = Pin::new(&[Level::set(State::High), Level::set(State::Low)]);
        let mut step = Pwm::new(&[
            Duty::max_duty_cycle(65_535),
            Duty::set_duty_cycle(32_767),
            Duty::set_duty_cycle(0),
        ]);
        let mut drive = Stepped {
            step: step.clone(),
            direction: direction.clone(),
            enable: enable.clone(),
            forward_is_high,
        };
        drive.start().unwrap();
        drive.stop().unwrap();
        direction.done();
        enable.done();
        step.done();
    }
}

#[test]
fn p4_a_stepper_whose_step_output_fails_is_disabled_all_the_same() {
    let mut direction = Pin::new(&[]);
    let mut enable = Pin::new(&[Level::set(State::Low)]);
    let mut step = Pwm::new(&[
        Duty::set_duty_cycle(0).with_error(MockError::Io(std::io::ErrorKind::BrokenPipe))
    ]);
    let mut drive = Stepped {
        step: step.clone(),
        direction: direction.clone(),
        enable: enable.clone(),
        forward_is_high: true,
    };
    assert!(matches!(drive.stop(), Err(StepperError::Step(_))));
    direction.done();
    enable.done();
    step.done();
}

#[test]
fn a_contact_that_cannot_be_read_counts_as_on() {
    let fails = failing(Level::get(State::Low));
    let mut stop = Pin::new(&[fails.clone(), fails.clone(), fails.clone()]);
    // what goes wrong for a moment is read again
    let mut leak = Pin::new(&[fails.clone(), fails, Level::get(State::Low)]);
    let mut fault = Pin::new(&[Level::get(State::Low)]);
    let mut level = Pin::new(&[Level::get(State::Low)]);
    let mut contacts = Contacts {
        remote_stop: Contact { pin: stop.clone(), on_is_high: true },
        leak: Contact { pin: leak.clone(), on_is_high: true },
        motor_fault: Contact { pin: fault.clone(), on_is_high: false },
        level_low: Contact { pin: level.clone(), on_is_high: false },
    };
    let levels = Levels { remote_stop: true, leak: false, level_low: true, motor_fault: true };
    assert_eq!(contacts.levels(), levels);
    assert!(!Contact::absent().is_on());
    assert_eq!(Absent.is_low(), Ok(true));
    stop.done();
    leak.done();
    fault.done();
    level.done();
}

#[test]
fn a_contact_that_bounces_counts_when_it_has_stood() {
    let mut contact = Steady::new(Duration::from_ms(50));
    let at = Instant::from_ms;
    for (ms, is_on, counts) in [
        (0, true, None),
        (20, false, None),
        (30, true, None),
        (79, true, None),
        (80, true, Some(true)),
        (90, true, None),
        (100, false, None),
        (149, false, None),
        (200, false, Some(false)),
    ] {
        assert_eq!(contact.see(at(ms), is_on), counts, "at {ms} ms");
    }
    assert_eq!(contact.look_at(), None);
    contact.see(at(300), true);
    assert_eq!(contact.look_at(), Some(at(350)));
}
