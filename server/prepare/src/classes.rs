//! Impulse classes and minimum distances.
//!
//! Classes double from letter to letter: up to 2.5 N s is A, and each letter's upper end is twice the one before (NFPA 1125;
//! the table of classes is also common to all catalogues). Minimum distances by installed total impulse: NFPA 1127, the
//! table of its 2018 edition **as remembered**, in feet; the column for complex vehicles (clusters and stages) is the larger
//! one. It was not looked up again: the edition in force and the local code decide.

use serde::Serialize;

/// A foot, m (exact since 1959).
const FOOT_M: f64 = 0.3048;

/// An impulse class.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Class {
    /// Its letter or letters; AA after Z is beyond all amateur motors.
    pub letter: char,
    /// Upper end, N s.
    pub upper_ns: f64,
    /// Share of the class that is filled, 0 to 1.
    pub filled: f64,
}

/// The class of a total impulse, N s. Below A there is one class only here; above Z there is none.
pub fn class_of(impulse_ns: f64) -> Option<Class> {
    if !(impulse_ns > 0.0 && impulse_ns.is_finite()) {
        return None;
    }
    let mut upper = 2.5;
    for letter in 'A'..='Z' {
        if impulse_ns <= upper {
            let lower = if letter == 'A' { 0.0 } else { 0.5 * upper };
            return Some(Class { letter, upper_ns: upper, filled: (impulse_ns - lower) / (upper - lower) });
        }
        upper *= 2.0;
    }
    None
}

/// Minimum distances, m.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Distances {
    /// Diameter of the cleared area.
    pub cleared_m: f64,
    /// People.
    pub people_m: f64,
    /// People, where motors are clustered or staged.
    pub complex_m: f64,
}

/// Upper end of impulse, N s; cleared diameter, people, people where complex, ft.
const TABLE: [(f64, f64, f64, f64); 8] = [
    (320.0, 50.0, 100.0, 200.0),
    (640.0, 50.0, 100.0, 200.0),
    (1_280.0, 50.0, 100.0, 200.0),
    (2_560.0, 75.0, 200.0, 300.0),
    (5_120.0, 100.0, 300.0, 500.0),
    (10_240.0, 125.0, 500.0, 1_000.0),
    (20_480.0, 125.0, 1_000.0, 1_500.0),
    (40_960.0, 125.0, 1_500.0, 2_000.0),
];

/// The distances for an installed total impulse, N s; `None` above the table.
pub fn distances(impulse_ns: f64) -> Option<Distances> {
    let row = TABLE.iter().find(|row| impulse_ns <= row.0)?;
    Some(Distances { cleared_m: row.1 * FOOT_M, people_m: row.2 * FOOT_M, complex_m: row.3 * FOOT_M })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Upper ends as NFPA 1125 has them: G 160, H 320, I 640, J 1280, K 2560, L 5120, M 10240, N 20480, O 40960 N s.
    #[test]
    fn classes_end_where_the_table_says() {
        for (letter, upper) in [
            ('A', 2.5),
            ('D', 20.0),
            ('G', 160.0),
            ('H', 320.0),
            ('I', 640.0),
            ('J', 1280.0),
            ('K', 2560.0),
            ('L', 5120.0),
            ('M', 10_240.0),
            ('N', 20_480.0),
            ('O', 40_960.0),
        ] {
            let at = class_of(upper).unwrap();
            assert_eq!((at.letter, at.upper_ns, at.filled), (letter, upper, 1.0));
            assert_ne!(class_of(upper + 0.01).unwrap().letter, letter, "just above it is the next");
        }
        assert_eq!(class_of(480.0).unwrap().filled, 0.5);
        assert!(class_of(0.0).is_none() && class_of(f64::NAN).is_none() && class_of(1e12).is_none());
    }

    /// The rows as remembered from NFPA 1127 (2018).
    #[test]
    fn distances_step_with_impulse_and_complex_ones_are_larger() {
        let people = |ns: f64| distances(ns).map(|d| (d.people_m / FOOT_M, d.complex_m / FOOT_M));
        assert_eq!(people(4350.0), Some((300.0, 500.0)));
        assert_eq!(people(2560.0), Some((200.0, 300.0)));
        assert_eq!(people(2560.1), Some((300.0, 500.0)));
        assert_eq!(people(50_000.0), None);
        for pair in TABLE.windows(2) {
            assert!(pair[0].2 <= pair[1].2 && pair[0].2 < pair[0].3);
        }
    }
}
