//! The observation-window method of IEC 60601-2-24, used as a yardstick.

use dosewright_sim::trade::evenness::{SAMPLE_S, WINDOWS_MIN, all, overall_percent, window};

use crate::same;

#[test]
fn two_minutes_on_two_minutes_off() {
    // windows 2 5 11 19 31 min, sample 0.5 min: from the standard. Closed form of
    // 60 min of flow 2r for 2 min, then none for 2 min: computed
    assert_eq!(WINDOWS_MIN, [2, 5, 11, 19, 31]);
    let samples: Vec<f64> = (0..120).map(|i| if i / 4 % 2 == 0 { 2.0 } else { 0.0 }).collect();
    let found = all(&samples, SAMPLE_S, 1.0);
    let expected = [100.0, 20.0, 9.0909, 5.2632, 3.2258];
    let windows = [117, 111, 99, 83, 59];
    assert_eq!(found.len(), 5);
    for ((error, percent), count) in found.iter().zip(expected).zip(windows) {
        same(error.most_percent, percent, 4);
        same(error.least_percent, -percent, 4);
        assert_eq!(error.windows, count);
    }
    same(overall_percent(samples.iter().sum::<f64>() / 120.0, 1.0), 0.0, 9);
}

#[test]
fn a_period_that_divides_the_window_leaves_the_overall_error_alone() {
    // property: Ep(max) = Ep(min) = A
    for period in [1_usize, 2, 4] {
        let samples: Vec<f64> =
            (0..120).map(|i| if i % period == 0 { 1.1 * period as f64 } else { 0.0 }).collect();
        let error = window(&samples, SAMPLE_S, 2, 1.0).unwrap();
        same(error.most_percent, 10.0, 9);
        same(error.least_percent, 10.0, 9);
    }
}

#[test]
fn a_window_longer_than_the_samples_is_not_there() {
    assert_eq!(window(&[1.0; 3], SAMPLE_S, 2, 1.0), None);
    assert_eq!(window(&[1.0; 3], 25.0, 2, 1.0), None);
    assert_eq!(all(&[1.0; 10], SAMPLE_S, 1.0).len(), 2);
}
