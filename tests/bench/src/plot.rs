//! The growth as a picture: nanoseconds an edge, both axes by powers of ten.

use std::fmt::Write as _;

use crate::growth::Point;

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 320.0;
const LEFT: f64 = 60.0;
const RIGHT: f64 = 90.0;
const TOP: f64 = 20.0;
const BOTTOM: f64 = 44.0;
/// Powers of ten on the axes: values, and ns an edge.
const X: (f64, f64) = (0.0, 3.0);
const Y: (f64, f64) = (2.0, 4.0);
/// What is varied, and the dash of its line: no colour tells them apart.
const LINES: [(&str, &str); 3] = [("entries", "0"), ("pulses", "6 4"), ("years", "2 3")];

fn x(value: f64) -> f64 {
    LEFT + (value.log10() - X.0) / (X.1 - X.0) * (WIDTH - LEFT - RIGHT)
}

fn y(ns: f64) -> f64 {
    let from_top = (Y.1 - ns.log10().clamp(Y.0, Y.1)) / (Y.1 - Y.0);
    TOP + from_top * (HEIGHT - TOP - BOTTOM)
}

/// The picture.
pub fn svg(points: &[Point]) -> String {
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" \
         aria-labelledby=\"t d\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <title id=\"t\">Cost of a pump edge</title>\n<desc id=\"d\">{}</desc>\n\
         <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"#fff\"/>\n",
        finding(points)
    );
    for power in 0..=3 {
        let at = x(10_f64.powi(power));
        _ = writeln!(
            out,
            "<path d=\"M{at:.1} {TOP}V{:.1}\" stroke=\"#ccc\"/>\
             <text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{}</text>",
            HEIGHT - BOTTOM,
            HEIGHT - BOTTOM + 16.0,
            10_u32.pow(power as u32)
        );
    }
    for power in 2..=4 {
        let at = y(10_f64.powi(power));
        _ = writeln!(
            out,
            "<path d=\"M{LEFT} {at:.1}H{:.1}\" stroke=\"#ccc\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            WIDTH - RIGHT,
            LEFT - 6.0,
            at + 4.0,
            10_u32.pow(power as u32)
        );
    }
    _ = writeln!(
        out,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">entries, pulses a dose, years</text>\n\
         <text x=\"14\" y=\"{:.1}\" transform=\"rotate(-90 14 {:.1})\" \
         text-anchor=\"middle\">ns an edge</text>",
        (LEFT + WIDTH - RIGHT) / 2.0,
        HEIGHT - 8.0,
        HEIGHT / 2.0,
        HEIGHT / 2.0
    );
    for (i, (of, dash)) in LINES.into_iter().enumerate() {
        let line: Vec<&Point> = points.iter().filter(|point| point.of == of).collect();
        let path: Vec<String> = line
            .iter()
            .map(|point| format!("{:.1} {:.1}", x(point.value as f64), y(point.ns_an_edge())))
            .collect();
        _ = writeln!(
            out,
            "<path d=\"M{}\" fill=\"none\" stroke=\"#000\" stroke-width=\"2\" \
             stroke-dasharray=\"{dash}\"/>",
            path.join("L")
        );
        let at = TOP + 16.0 + 20.0 * i as f64;
        _ = writeln!(
            out,
            "<path d=\"M{:.1} {at:.1}h24\" stroke=\"#000\" stroke-width=\"2\" \
             stroke-dasharray=\"{dash}\"/><text x=\"{:.1}\" y=\"{:.1}\">{of}</text>",
            WIDTH - RIGHT + 8.0,
            WIDTH - RIGHT + 36.0,
            at + 4.0
        );
    }
    out.push_str("</svg>\n");
    out
}

/// What it shows, in words.
fn finding(points: &[Point]) -> String {
    let ends = |of: &str| {
        let mut line = points.iter().filter(|point| point.of == of);
        let first = line.next()?;
        let last = line.next_back()?;
        Some(format!(
            "{} {of}: {:.0} ns an edge, {}: {:.0} ns",
            first.value,
            first.ns_an_edge(),
            last.value,
            last.ns_an_edge()
        ))
    };
    LINES.iter().filter_map(|(of, _)| ends(of)).collect::<Vec<_>>().join(". ") + "."
}
