//! Lists of all of a kind: what decodes, shows or counts goes by them, and one that is left
//! out would be silently none.

use dosewright_core::cause::Cause;
use dosewright_core::civil::Weekday;
use dosewright_core::message::Fault;
use dosewright_core::record::{Act, Alarm, NewPack, Reset};
use dosewright_core::timers::Reason;

/// One that is left out here does not compile; one that is left out of its list fails.
macro_rules! assert_complete {
    ($($of:ident { $($one:ident)* })*) => {$(
        let _ = |one: $of| match one { $($of::$one => ()),* };
        assert_eq!($of::ALL.to_vec(), [$($of::$one),*]);
    )*};
}

#[test]
fn every_list_is_complete() {
    assert_complete! {
        Alarm {
            ClockUnset LedgerFault MemoryDamaged EntryDamaged DoesNotFit MotorFault Leak LowLevel
            LevelDisagrees ContainerEmpty PackLow PackExhausted
        }
        Act {
            PrimeBegun PrimeEnded CalibrationBegun CalibrationEnded Acknowledged TubeChanged
            Unlocked WrongPin TrainBegun TrainEnded
        }
        NewPack {
            Set Changed Recognised
        }
        Reset {
            PowerOn Watchdog
        }
        Cause {
            Closed ClockUnset ClockLost ClockSet SupplyLost WokenLate AlreadyDosed Ceiling
            OlderWaiting PumpInUse Service RemoteStop Leak MotorFault Battery ContainerEmpty
            Edited Disabled Removed Restarts PumpLimits Ledger Damaged Stopped
        }
        Reason {
            Boot RunEnd Governor PulseStart Due Deadline DoseDeadline Level PackTest Display Retry
            Stamp
        }
        Fault {
            Frame Checksum Version Kind Content OutOfTurn TooMany
        }
        Weekday {
            Mon Tue Wed Thu Fri Sat Sun
        }
    }
}
