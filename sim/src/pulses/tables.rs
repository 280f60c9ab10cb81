//! The train for other programs: rows, a waveform.

use std::io;

use vcd::{SimulationCommand, TimescaleUnit, VarType, Writer};

use super::Train;
use crate::lines::rounded;
use crate::world::head::Rotor;

/// One row a pulse.
pub fn csv(train: &Train) -> String {
    use std::fmt::Write as _;
    let (mut commanded_ml, mut sum_ml) = (0.0, 0.0);
    let mut out = String::from(
        "pulse,start_ms,on_ms,gap_after_ms,commanded_ml,outflow_ml,commanded_sum_ml,outflow_sum_ml\n",
    );
    let gaps = train.gaps_ms();
    for (i, pulse) in train.pulses.iter().enumerate() {
        let pulse_ml = train.pulse_ml(pulse);
        commanded_ml += pulse_ml;
        sum_ml += pulse.outflow_ml;
        let gap = gaps.get(i).map(u64::to_string).unwrap_or_default();
        _ = writeln!(
            out,
            "{},{},{},{gap},{:.6},{:.6},{:.6},{:.6}",
            i + 1,
            pulse.start_ms,
            pulse.on_ms,
            pulse_ml,
            pulse.outflow_ml,
            commanded_ml,
            sum_ml
        );
    }
    out
}

/// Steps of the outflow in the waveform, in ms.
const STEP_MS: u64 = 20;

/// The waveform: the drive as a wire; commanded and outflow volume, and the
/// outflow as a flow, as reals. One millisecond a step, no date.
pub fn vcd(train: &Train, out: impl io::Write) -> io::Result<()> {
    let lead_ms = u64::from(train.head.lead_ms);
    let mut out = Writer::new(out);
    out.version("dosewright")?;
    out.timescale(1, TimescaleUnit::MS)?;
    out.add_module("dose")?;
    let pump = out.add_wire(1, "pump")?;
    let real = |out: &mut Writer<_>, name: &str| out.add_var(VarType::Real, 64, name, None);
    let commanded = real(&mut out, "commanded_ml")?;
    let outflow = real(&mut out, "outflow_ml")?;
    let rate = real(&mut out, "outflow_ml_min")?;
    out.upscope()?;
    out.enddefinitions()?;
    out.timestamp(0)?;
    out.begin(SimulationCommand::Dumpvars)?;
    out.change_scalar(pump, false)?;
    for id in [commanded, outflow, rate] {
        out.change_real(id, 0.0)?;
    }
    out.end()?;
    let mut rotor = Rotor { model: train.model, angle: 0.0 };
    let (mut commanded_ml, mut sum_ml) = (0.0, 0.0);
    for (i, pulse) in train.pulses.iter().enumerate() {
        let next = train.pulses.get(i + 1).map_or(train.window_ms, |next| next.start_ms);
        let next = next.max(pulse.start_ms + pulse.on_ms);
        let on_s = pulse.on_ms as f64 / 1e3;
        let coast_ms = (train.model.coast_s * 1e3).ceil() as u64;
        let end = (pulse.start_ms + pulse.on_ms + coast_ms).min(next);
        out.timestamp(pulse.start_ms)?;
        out.change_scalar(pump, true)?;
        let (mut at, mut before) = (pulse.start_ms, 0.0);
        while at < end {
            let off = pulse.start_ms + pulse.on_ms;
            // the drive's end is a step of its own
            let to = if at < off { (at + STEP_MS).min(off) } else { (at + STEP_MS).min(end) };
            let ml = rotor.peek_ml(on_s, (to - pulse.start_ms) as f64 / 1e3);
            out.timestamp(to)?;
            if to == off {
                out.change_scalar(pump, false)?;
            }
            // what the start loses is no part of what is commanded
            let on_ms = (to - pulse.start_ms).min(pulse.on_ms).saturating_sub(lead_ms);
            let so_far_ml = commanded_ml + on_ms as f64 * train.flow_ml_ms();
            out.change_real(commanded, rounded(so_far_ml))?;
            out.change_real(outflow, rounded(sum_ml + ml))?;
            out.change_real(rate, rounded((ml - before) / (to - at) as f64 * 60e3))?;
            (at, before) = (to, ml);
        }
        if end < next {
            out.timestamp(end + 1)?;
            out.change_real(rate, 0.0)?;
        }
        commanded_ml += train.pulse_ml(pulse);
        sum_ml += rotor.run_ml(on_s, (next - pulse.start_ms - pulse.on_ms) as f64 / 1e3);
    }
    out.timestamp(train.window_ms)?;
    out.flush()
}
