//! A chart in a box: axes, grid, lines.

use super::draw::{Anchor, Drawing, Ink};

/// A box on the page: left, top, width, height.
#[derive(Clone, Copy, Debug)]
pub(super) struct Area {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) w: f64,
    pub(super) h: f64,
}

/// Axes of a chart: values to points on the page.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axes {
    area: Area,
    x: [f64; 2],
    y: [f64; 2],
}

/// Steps of 1, 2 or 5 that make about `count` of a stretch.
pub(super) fn step(stretch: f64, count: f64) -> f64 {
    let rough = (stretch / count).max(1e-9);
    let ten = libm::pow(10.0, libm::floor(libm::log10(rough)));
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|factor| factor * ten)
        .find(|step| *step >= rough)
        .unwrap_or(ten * 10.0)
}

fn label(value: f64, step: f64) -> String {
    let decimals = if step >= 1.0 { 0 } else { (-libm::floor(libm::log10(step))) as usize };
    format!("{:.decimals$}", value + 0.0)
}

impl Axes {
    /// Draws frame and grid; the unit stands at the last label of each axis.
    pub(super) fn draw(
        drawing: &mut Drawing,
        area: Area,
        x: [f64; 2],
        y: [f64; 2],
        units: [&str; 2],
    ) -> Self {
        let y_step = step(y[1] - y[0], 5.0);
        let axes = Self { area, x, y };
        let x_step = step(x[1] - x[0], 8.0);
        let mut at = libm::ceil(x[0] / x_step) * x_step;
        let bottom = area.y + area.h;
        while at <= x[1] + 1e-9 {
            let [px, _] = axes.point([at, y[0]]);
            drawing.line(&[[px, area.y], [px, bottom]], 0.4, Ink::Grid, &[]);
            let last = at + x_step > x[1] + 1e-9;
            let words = if last { format!("{} {}", label(at, x_step), units[0]) } else { label(at, x_step) };
            drawing.text([px, bottom + 10.0], 8.0, false, Ink::Soft, Anchor::Middle, &words);
            at += x_step;
        }
        let mut at = libm::ceil(y[0] / y_step - 1e-9) * y_step;
        while at <= y[1] + 1e-9 {
            let [_, py] = axes.point([x[0], at]);
            let zero = at.abs() < 1e-9;
            drawing.line(
                &[[area.x, py], [area.x + area.w, py]],
                if zero { 0.9 } else { 0.4 },
                if zero { Ink::Rule } else { Ink::Grid },
                &[],
            );
            let last = at + y_step > y[1] + 1e-9;
            let words = if last { format!("{} {}", label(at, y_step), units[1]) } else { label(at, y_step) };
            drawing.text([area.x - 4.0, py + 2.8], 8.0, false, Ink::Soft, Anchor::Right, &words);
            at += y_step;
        }
        axes
    }

    pub(super) fn point(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let share = |value: f64, [low, high]: [f64; 2]| (value - low) / (high - low).max(1e-12);
        [self.area.x + self.area.w * share(x, self.x), self.area.y + self.area.h * (1.0 - share(y, self.y))]
    }

    /// A line.
    pub(super) fn line(
        &self,
        drawing: &mut Drawing,
        values: &[[f64; 2]],
        width: f64,
        ink: Ink,
        dash: &[f64],
    ) {
        let points: Vec<[f64; 2]> = values
            .iter()
            .map(|[x, y]| {
                // A twentieth beyond the box is held at its edge, more is left out.
                let reach = (self.y[1] - self.y[0]) / 20.0;
                if *x < self.x[0] || *x > self.x[1] || !(self.y[0] - reach..=self.y[1] + reach).contains(y) {
                    return [f64::NAN; 2];
                }
                self.point([*x, y.clamp(self.y[0], self.y[1])])
            })
            .collect();
        drawing.line(&points, width, ink, dash);
    }

    /// A band between two rows of values.
    pub(super) fn band(&self, drawing: &mut Drawing, x: &[f64], low: &[f64], high: &[f64], ink: Ink) {
        let point = |x: f64, y: f64| self.point([x, y.clamp(self.y[0], self.y[1])]);
        let mut points: Vec<[f64; 2]> = x.iter().zip(low).map(|(x, y)| point(*x, *y)).collect();
        points.extend(x.iter().zip(high).rev().map(|(x, y)| point(*x, *y)));
        drawing.shape(points, ink);
    }
}
