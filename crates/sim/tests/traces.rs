//! The simulated hand beside real cursor traces; the table itself is printed by `scripts/hand-table`.

#![allow(clippy::unwrap_used)]

#[path = "../examples/hand_table.rs"]
#[allow(dead_code)]
mod hand_table;

use hand_table::{Figures, table};

#[test]
fn an_aimed_swipe_has_the_speed_profile_of_real_reaches() {
    let table = table().unwrap();
    let quartiles = |of: &str, figure: fn(&Figures) -> f64| {
        table.iter().find(|line| line.of == of).unwrap_or_else(|| panic!("no line {of}")).quartiles(figure)
    };
    let (real, simulated) = ("real, 130-260 px", "simulated, aimed, 2.5 m/s");
    // Medians agree within a quarter; a cursor's pixels tell no more, because the pointer's ballistics stretch them.
    for figure in
        [(|f: &Figures| f.duration_s) as fn(&Figures) -> f64, |f| f.peak_over_mean, |f| f.time_to_peak]
    {
        let (known, found) = (quartiles(real, figure)[1], quartiles(simulated, figure)[1]);
        assert!((found / known - 1.0).abs() < 0.25, "{found} against {known}");
    }
    let [low, _, high] = quartiles(simulated, |f| f.maxima);
    assert!(low >= 1.0 && high <= 2.0);
    // A swipe against a stop needs no aim: one push, less peaked.
    assert!(
        quartiles("simulated, 2.5 m/s", |f| f.peak_over_mean)[2] < quartiles(real, |f| f.peak_over_mean)[0]
    );
}
