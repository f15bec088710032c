//! A thrust curve: two columns, seconds and newtons.
//!
//! One heading line is passed over, so are empty lines and those that begin with `#` or `;`. Columns are parted
//! by a comma, a semicolon, tabs or spaces. Times rise; no thrust is negative.

use crate::mistake::clean;

/// The most points of a curve.
const MOST: usize = 5000;

/// Reads a curve; a mistake is told with its line.
pub(crate) fn read(text: &str) -> Result<Vec<(f64, f64)>, String> {
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut heading = false;
    for (index, line) in text.trim_start_matches('\u{feff}').lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with(['#', ';']) {
            continue;
        }
        let columns: Vec<&str> = line
            .split(|c: char| c == ',' || c == ';' || c.is_whitespace())
            .filter(|c| !c.is_empty())
            .collect();
        let numbers: Option<Vec<f64>> =
            columns.iter().map(|c| c.parse().ok().filter(|n: &f64| n.is_finite())).collect();
        match numbers.as_deref() {
            Some(&[seconds, newtons]) => {
                if seconds < 0.0 || newtons < 0.0 {
                    return Err(format!("line {}: a negative number", index + 1));
                }
                if points.last().is_some_and(|&(before, _)| seconds <= before) {
                    return Err(format!("line {}: time does not rise", index + 1));
                }
                points.push((seconds, newtons));
            }
            _ if points.is_empty() && !heading => heading = true,
            _ => return Err(format!("line {}: \"{}\" is not two numbers", index + 1, clean(line, 40))),
        }
        if points.len() > MOST {
            return Err(format!("more than {MOST} points"));
        }
    }
    sound(&points)?;
    Ok(points)
}

/// Whether points are enough of a curve; what is wrong with them all together.
pub(crate) fn sound(points: &[(f64, f64)]) -> Result<(), String> {
    if points.len() < 2 {
        return Err(format!("{} points, at least 2 are needed", points.len()));
    }
    if impulse_ns(points) <= 0.0 {
        return Err("no thrust anywhere".to_owned());
    }
    Ok(())
}

/// Area under the curve, N s.
pub(crate) fn impulse_ns(points: &[(f64, f64)]) -> f64 {
    points.windows(2).map(|pair| 0.5 * (pair[0].1 + pair[1].1) * (pair[1].0 - pair[0].0)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_with_heading_and_remarks_is_read() {
        let points = read("; motor\nseconds, newtons\n0,0\n0.1, 100\n\n1.1;100\n1.2\t0\n").unwrap();
        assert_eq!(points.len(), 4);
        assert!((impulse_ns(&points) - 110.0).abs() < 1e-9);
    }

    #[test]
    fn a_broken_curve_says_where() {
        assert_eq!(read("0,1\n1,abc\n").unwrap_err(), "line 2: \"1,abc\" is not two numbers");
        assert_eq!(read("0,1\n1,2\n1,3\n").unwrap_err(), "line 3: time does not rise");
        assert_eq!(read("0,1\n1,-2\n").unwrap_err(), "line 2: a negative number");
        assert_eq!(read("time thrust\n").unwrap_err(), "0 points, at least 2 are needed");
        assert_eq!(read("0,0\n1,0\n").unwrap_err(), "no thrust anywhere");
    }
}
