//! Two-point calibration: one long run and one train of short pulses give the
//! steady flow and the volume lost at each start (O3).

/// What was run and measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Readings {
    /// Length of the long run, in s.
    pub long_s: f64,
    /// What it gave, in ml.
    pub long_ml: f64,
    /// Pulses in the train.
    pub pulses: u32,
    /// Length of each, in s.
    pub pulse_s: f64,
    /// What the train gave, in ml.
    pub train_ml: f64,
}

/// What they mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steady {
    /// Steady flow in ml/min.
    pub flow_ml_min: f64,
    /// Volume that a start loses, in ml; negative where coasting on after the
    /// end of a pulse gives more than the start takes.
    pub loss_ml: f64,
}

impl Steady {
    /// The loss as a time at the steady flow, in ms: how much longer a pulse has to run. None
    /// where a start loses nothing.
    pub fn lead_ms(&self) -> f64 {
        (self.loss_ml / self.flow_ml_min * 60_000.0).max(0.0)
    }
}

/// Each start loses the same volume: long = q T - e, train = n (q t - e).
/// `None` where the two runs do not differ enough to tell them apart.
pub fn solve(readings: &Readings) -> Option<Steady> {
    let n = f64::from(readings.pulses);
    let span = readings.long_s - readings.pulse_s;
    if n < 1.0 || span <= 0.0 {
        return None;
    }
    let flow_s = (readings.long_ml - readings.train_ml / n) / span;
    let steady =
        Steady { flow_ml_min: flow_s * 60.0, loss_ml: flow_s * readings.long_s - readings.long_ml };
    (flow_s > 0.0).then_some(steady)
}

/// Standard uncertainties of flow (ml/min) and loss (ml), from those of the two
/// readings in ml and of the run's length in s (JCGM 100, 5.1.2).
pub fn uncertainty(readings: &Readings, reading_ml: f64, timing_s: f64) -> (f64, f64) {
    let n = f64::from(readings.pulses.max(1));
    let span = (readings.long_s - readings.pulse_s).max(f64::MIN_POSITIVE);
    let flow_s = (readings.long_ml - readings.train_ml / n) / span;
    let flow = (reading_ml.hypot(reading_ml / n).hypot(flow_s * timing_s)) / span;
    // e = q T - V: by the long reading, the train's reading and the timing
    let by_long = reading_ml * (readings.long_s / span - 1.0);
    let by_train = reading_ml / n * readings.long_s / span;
    let by_time = flow_s * timing_s * (1.0 - readings.long_s / span);
    (flow * 60.0, by_long.hypot(by_train).hypot(by_time))
}
