//! Accuracy, linearity and repeatability by API 675's definitions (from a
//! secondary source): +-1 % of mean delivered flow over 10:1, +-3 % of rated for
//! repeatability, +-3 % of rated from the best-fit line.

use dosewright_sim::trade::turndown::{
    ACCURACY_PERCENT, LINEARITY_PERCENT, Point, REPEATABILITY_PERCENT, judge,
};

use crate::same;

#[test]
fn the_three_figures_by_hand() {
    for (figure, expected) in
        [(ACCURACY_PERCENT, 1.0), (REPEATABILITY_PERCENT, 3.0), (LINEARITY_PERCENT, 3.0)]
    {
        same(figure, expected, 9);
    }
    // four settings on a line with an offset of 1, but for one that is 2 high;
    // repeats +-1 at the largest
    let point = |set: f64, measured: &[f64]| Point { set, measured: measured.to_vec() };
    let points = [
        point(25.0, &[26.0]),
        point(50.0, &[51.0]),
        point(75.0, &[76.0]),
        point(100.0, &[100.0, 102.0]),
    ];
    let found = judge(&points, 100.0).unwrap();
    // the means lie on a straight line: no bend
    same(found.linearity_percent, 0.0, 9);
    same(found.repeatability_percent, 2.0, 9);
    same(found.accuracy_percent, 100.0 / 101.0, 9);
    same(found.error_percent, 4.0, 9);
    // one mean 1.0 off: least squares of (0, 0, 1, 0) at equal steps leaves 0.7
    let bent: Vec<Point> = [(25.0, 25.0), (50.0, 50.0), (75.0, 76.0), (100.0, 100.0)]
        .iter()
        .map(|(set, got)| point(*set, &[*got]))
        .collect();
    same(judge(&bent, 100.0).unwrap().linearity_percent, 0.7, 9);
    assert_eq!(judge(&points[..1], 100.0), None);
}
