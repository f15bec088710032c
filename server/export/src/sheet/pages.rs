//! What stands on the two pages, and where.

use std::fmt::Write as _;

use loftwatch_flight::EventKind;

use super::Sheet;
use super::chart::{Area, Axes, step};
use super::draw::{Anchor, Drawing, Ink, SERIES};
use super::face::weight;
use crate::audit::{CueAudit, Figure, Verdict};
use crate::path::Point;
use crate::time::for_people;
use crate::units::{Unit, Units};

const MARGIN: f64 = 36.0;
/// Size of the crew's own words, and from line to line.
const WRITTEN: f64 = 8.0;
const WRITTEN_LEADING: f64 = 10.4;
/// Points of a line on paper: more than the page has dots.
const MOST_POINTS: usize = 900;

pub(super) fn pages(sheet: &Sheet<'_>) -> Vec<Drawing> {
    let make =
        Make { sheet, units: sheet.units, width: sheet.size()[0] - 2.0 * MARGIN, height: sheet.size()[1] };
    vec![make.first(), make.second()]
}

struct Make<'a> {
    sheet: &'a Sheet<'a>,
    units: Units,
    width: f64,
    height: f64,
}

/// A heading over a rule; gives the height below it.
fn heading(page: &mut Drawing, x: f64, y: f64, width: f64, text: &str) -> f64 {
    page.line(&[[x, y], [x + width, y]], 1.4, Ink::Full, &[]);
    page.text([x, y + 13.0], 11.0, true, Ink::Full, Anchor::Left, text);
    y + 22.0
}

/// A figure that was rounded to nothing has no sign: `-0.00 s` would be read as before liftoff.
fn unsigned_zero(figure: String) -> String {
    let digits = figure.trim_start_matches(['-', '+']);
    let nothing = digits.bytes().take_while(|b| *b != b' ').all(|b| matches!(b, b'0' | b'.'));
    if nothing && digits.len() < figure.len() { digits.to_owned() } else { figure }
}

fn thin(points: &[Point]) -> impl Iterator<Item = &Point> {
    points.iter().step_by(points.len().div_ceil(MOST_POINTS).max(1))
}

impl Make<'_> {
    fn figure(&self, value: f64, unit: Unit, decimals: usize) -> String {
        unsigned_zero(format!("{:.decimals$} {}", unit.convert(value, self.units), unit.symbol(self.units)))
    }

    fn interval(&self, figure: &Figure, unit: Unit, decimals: usize) -> String {
        let [low, high] = [figure.low, figure.high].map(|value| unit.convert(value, self.units));
        format!("{low:.decimals$} to {high:.decimals$}")
    }

    fn foot(&self, page: &mut Drawing, number: usize) {
        let y = self.height - 26.0;
        page.line(&[[MARGIN, y - 10.0], [MARGIN + self.width, y - 10.0]], 0.6, Ink::Rule, &[]);
        let made = format!(
            "Loftwatch {}, engine {}. Measured against {}.",
            env!("CARGO_PKG_VERSION"),
            loftwatch_engine::ENGINE_VERSION,
            self.sheet.audits.measured_against
        );
        page.words([MARGIN, y], 8.0, false, Ink::Soft, self.width - 60.0, &made);
        page.text(
            [MARGIN + self.width, y],
            8.0,
            false,
            Ink::Soft,
            Anchor::Right,
            &format!("page {number} of 2"),
        );
    }

    fn since(&self, t_s: f64) -> f64 {
        t_s - self.sheet.path.flight.liftoff_s().unwrap_or(0.0)
    }

    fn body(&self, body: usize) -> &[Point] {
        self.sheet.path.bodies.iter().find(|(of, _)| *of == body).map_or(&[], |(_, points)| &points[..])
    }

    fn first(&self) -> Drawing {
        let page = &mut Drawing::default();
        let flight = &self.sheet.path.flight;
        let mut y = MARGIN + 16.0;
        let liftoff = flight.liftoff_ns.map(|t_ns| for_people(t_ns + flight.utc_offset_ns));
        page.words([MARGIN, y], 22.0, true, Ink::Full, self.width - 190.0, &self.sheet.title());
        let when = liftoff.unwrap_or_else(|| "no liftoff".to_owned());
        page.text(
            [MARGIN + self.width, y - 8.0],
            9.5,
            false,
            Ink::Full,
            Anchor::Right,
            &format!("Liftoff {when}"),
        );
        page.text([MARGIN + self.width, y + 4.0], 9.5, false, Ink::Soft, Anchor::Right, &flight.site);
        y += 12.0;
        page.line(&[[MARGIN, y], [MARGIN + self.width, y]], 2.0, Ink::Full, &[]);
        y += 19.0;
        y += page.paragraph([MARGIN, y], 13.0, false, Ink::Full, self.width, 2, &self.sentence());
        y = self.facts(page, y + 6.0);
        let chart = |y: f64, h: f64| Area { x: MARGIN + 34.0, y, w: self.width - 44.0, h };
        y = heading(page, MARGIN, y + 4.0, self.width, "Height above the pad");
        let tall = if self.height > 800.0 { 172.0 } else { 140.0 };
        let below = self.heights(page, chart(y + 2.0, tall));
        y = heading(page, MARGIN, below + 8.0, self.width, "Vertical speed and airspeed");
        self.speeds(page, chart(y + 2.0, 82.0));
        y += 2.0 + 82.0 + 22.0;
        let bottom = self.height - 50.0;
        let half = (self.width - 18.0) / 2.0;
        let top = y;
        let plan_top = heading(page, MARGIN, top, half, "The ground, north up");
        self.plan(page, Area { x: MARGIN, y: plan_top - 4.0, w: half, h: bottom - plan_top });
        self.recovery(page, MARGIN + half + 18.0, top, half, bottom);
        self.foot(page, 1);
        std::mem::take(page)
    }

    fn sentence(&self) -> String {
        let Some(audit) = &self.sheet.audits.prediction else {
            return "No apogee is known of this flight.".to_owned();
        };
        let apogee = &audit.apogee;
        let mut words = format!(
            "Apogee {} above the pad ({}), {:.1} s after liftoff",
            self.figure(apogee.height_m.value, Unit::Metre, 0),
            self.interval(&apogee.height_m, Unit::Metre, 0),
            apogee.t_s
        );
        if let Some(speed) = &apogee.airspeed_mps {
            let _ =
                write!(words, ", with {} of air past it", self.figure(speed.value, Unit::MetrePerSecond, 0));
        }
        words.push_str(". ");
        let down = self.sheet.pieces.iter().filter(|piece| piece.down).count();
        let _ = write!(words, "{down} of {} pieces known to be down.", self.sheet.pieces.len());
        words
    }

    fn facts(&self, page: &mut Drawing, y: f64) -> f64 {
        let points = self.body(0);
        let most = |of: fn(&Point) -> f64| {
            points.iter().filter(|point| of(point).is_finite()).max_by(|a, b| of(a).total_cmp(&of(b)))
        };
        let event = |kind: EventKind| {
            self.sheet.path.events.iter().find(|event| event.body == 0 && event.kind == kind)
        };
        let time = |kind: EventKind| {
            event(kind)
                .map_or_else(|| "not known".to_owned(), |event| format!("{:.2} s", self.since(event.t_s)))
        };
        let speed = |of: fn(&Point) -> f64| {
            most(of).map_or_else(
                || ["not known".to_owned(), String::new()],
                |point| {
                    [
                        self.figure(of(point), Unit::MetrePerSecond, 0),
                        format!("T+{:.1} s", self.since(point.t_s)),
                    ]
                },
            )
        };
        let climb = speed(|point| point.climb_mps);
        let air = speed(|point| point.airspeed_mps);
        let landing = event(EventKind::Landing);
        let facts = [
            ("Burnout", time(EventKind::Burnout), String::new()),
            ("Fastest climb", climb[0].clone(), climb[1].clone()),
            ("Fastest through the air", air[0].clone(), air[1].clone()),
            (
                "Apogee",
                self.sheet
                    .audits
                    .prediction
                    .as_ref()
                    .map_or_else(|| time(EventKind::Apogee), |audit| format!("{:.2} s", audit.apogee.t_s)),
                "after liftoff".to_owned(),
            ),
            (
                "Flight time",
                landing.map_or_else(
                    || "not known".to_owned(),
                    |event| format!("{:.0} s", self.since(event.t_s)),
                ),
                String::new(),
            ),
        ];
        let column = self.width / facts.len() as f64;
        for (index, (name, value, note)) in facts.iter().enumerate() {
            let x = MARGIN + column * index as f64;
            page.words([x, y + 8.0], 8.5, false, Ink::Soft, column - 6.0, name);
            page.words([x, y + 25.0], 15.0, true, Ink::Full, column - 6.0, value);
            let end = weight(true).width(value, 15.0);
            page.words([x + end + 5.0, y + 25.0], 8.0, false, Ink::Soft, column - 10.0 - end, note);
        }
        y + 34.0
    }

    /// From a second before liftoff to the vehicle's landing, or its last state.
    fn span(&self) -> [f64; 2] {
        let last = self
            .sheet
            .path
            .bodies
            .iter()
            .filter_map(|(body, points)| {
                let landing = self
                    .sheet
                    .path
                    .events
                    .iter()
                    .find(|event| event.body == *body && event.kind == EventKind::Landing)
                    .map(|event| self.since(event.t_s) + 1.0);
                landing.or_else(|| points.last().map(|point| self.since(point.t_s)))
            })
            .fold(5.0, f64::max);
        [-1.0, last]
    }

    fn heights(&self, page: &mut Drawing, area: Area) -> f64 {
        let span = self.span();
        let metre = |m: f64| Unit::Metre.convert(m, self.units);
        let top = self
            .sheet
            .path
            .bodies
            .iter()
            .flat_map(|(_, points)| points.iter().map(|point| point.height_m))
            .fold(1.0, f64::max);
        let axes =
            Axes::draw(page, area, span, [0.0, metre(top) * 1.04], ["s", Unit::Metre.symbol(self.units)]);
        for (body, points) in &self.sheet.path.bodies {
            let (ink, dash) = SERIES[body % SERIES.len()];
            let line: Vec<[f64; 2]> =
                thin(points).map(|point| [self.since(point.t_s), metre(point.height_m)]).collect();
            axes.line(page, &line, if *body == 0 { 1.8 } else { 1.2 }, ink, dash);
        }
        // Names of the lines, in a row at the top right, where the paper is empty.
        let mut x = area.x + area.w;
        for (body, _) in self.sheet.path.bodies.iter().rev() {
            let (ink, dash) = SERIES[body % SERIES.len()];
            let name = self.sheet.path.flight.body(*body);
            page.text([x, area.y - 8.0], 8.0, false, Ink::Full, Anchor::Right, name);
            x -= weight(false).width(name, 8.0) + 4.0;
            page.line(&[[x - 22.0, area.y - 10.8], [x, area.y - 10.8]], 1.4, ink, dash);
            x -= 34.0;
        }
        self.flags(page, &axes, area, span)
    }

    /// Flags below the axis. From right to left each takes the highest row in which no word stands on another and no pole
    /// crosses a word.
    fn flags(&self, page: &mut Drawing, axes: &Axes, area: Area, span: [f64; 2]) -> f64 {
        const ROWS: usize = 6;
        struct Placed {
            row: usize,
            pole: f64,
            from: f64,
            to: f64,
        }
        let base = area.y + area.h;
        let size = 7.5;
        let mut placed: Vec<Placed> = Vec::new();
        for event in self.sheet.path.events.iter().rev() {
            let t_s = self.since(event.t_s);
            if t_s < span[0] || t_s > span[1] {
                continue;
            }
            let [x, _] = axes.point([t_s, 0.0]);
            let name = self.sheet.path.flight.body(event.body);
            // A landing, or a chute without a name of its own, says whose it is.
            let words = if event.body == 0 || event.label.contains(name) {
                event.label.clone()
            } else {
                format!("{name} {}", event.label)
            };
            let words = super::face::fitted(&words, size, false, 110.0);
            let width = weight(false).width(&words, size) + 7.0;
            let left = x + width > area.x + area.w + 6.0;
            let (from, to) = if left { (x - width, x + 2.0) } else { (x - 2.0, x + width) };
            let fits = |row: usize| {
                placed.iter().all(|other| {
                    let words_apart = other.row != row || to < other.from || from > other.to;
                    let pole_clear = other.row >= row || x < other.from || x > other.to;
                    let other_clear = other.row <= row || other.pole < from || other.pole > to;
                    words_apart && pole_clear && other_clear
                })
            };
            let Some(row) = (0..ROWS).find(|row| fits(*row)) else { continue };
            placed.push(Placed { row, pole: x, from, to });
            let y = base + 22.0 + 10.0 * row as f64;
            page.line(&[[x, base], [x, y - 4.6]], 0.5, Ink::Rule, &[]);
            page.dot([x, y - 3.0], 1.6, Ink::Full, false);
            let (at, anchor) = if left { (x - 4.0, Anchor::Right) } else { (x + 4.0, Anchor::Left) };
            page.text([at, y], size, false, Ink::Full, anchor, &words);
        }
        let lowest = placed.iter().map(|one| one.row).max().unwrap_or(0);
        base + 26.0 + 10.0 * lowest as f64
    }

    fn speeds(&self, page: &mut Drawing, area: Area) {
        let span = self.span();
        let points = self.body(0);
        let speed = |mps: f64| Unit::MetrePerSecond.convert(mps, self.units);
        let high = points.iter().map(|point| point.airspeed_mps.max(point.climb_mps)).fold(5.0, f64::max);
        let low = points.iter().map(|point| point.climb_mps).fold(-5.0, f64::min);
        let axes = Axes::draw(
            page,
            area,
            span,
            [speed(low), speed(high)],
            ["s", Unit::MetrePerSecond.symbol(self.units)],
        );
        let line = |of: fn(&Point) -> f64| -> Vec<[f64; 2]> {
            thin(points).map(|point| [self.since(point.t_s), speed(of(point))]).collect()
        };
        axes.line(page, &line(|point| point.airspeed_mps), 1.3, Ink::Green, &[7.0, 2.0]);
        axes.line(page, &line(|point| point.climb_mps), 1.5, Ink::Blue, &[]);
        let mut x = area.x + area.w;
        for (name, ink, dash) in
            [("airspeed, through the air", Ink::Green, &[7.0, 2.0][..]), ("vertical speed", Ink::Blue, &[])]
        {
            page.text([x, area.y - 8.0], 8.0, false, Ink::Full, Anchor::Right, name);
            x -= weight(false).width(name, 8.0) + 4.0;
            page.line(&[[x - 22.0, area.y - 10.8], [x, area.y - 10.8]], 1.4, ink, dash);
            x -= 34.0;
        }
    }

    fn plan(&self, page: &mut Drawing, area: Area) {
        let places = || {
            self.sheet.path.bodies.iter().flat_map(|(_, points)| points.iter().filter_map(|p| p.east_north_m))
        };
        let metre = |m: f64| Unit::Metre.convert(m, self.units);
        if places().next().is_none() {
            page.paragraph(
                [area.x, area.y + 14.0],
                9.5,
                false,
                Ink::Soft,
                area.w,
                3,
                "Nothing horizontal is known: no radio told a place.",
            );
            return;
        }
        let (mut low, mut high) = ([-20.0, -20.0], [20.0, 20.0]);
        for place in places() {
            for axis in 0..2 {
                low[axis] = f64::min(low[axis], place[axis]);
                high[axis] = f64::max(high[axis], place[axis]);
            }
        }
        let scale = 0.8 * (area.w / (high[0] - low[0])).min(area.h / (high[1] - low[1]));
        let middle = [f64::midpoint(low[0], high[0]), f64::midpoint(low[1], high[1])];
        let at = |[east, north]: [f64; 2]| {
            [
                area.x + area.w / 2.0 + scale * (east - middle[0]),
                area.y + area.h / 2.0 - scale * (north - middle[1]),
            ]
        };
        let inside =
            |[x, y]: [f64; 2]| x >= area.x && x <= area.x + area.w && y >= area.y && y <= area.y + area.h;
        let reach = metre(libm::hypot(high[0] - low[0], high[1] - low[1]));
        let ring = step(reach, 5.0);
        let mut radius = ring;
        while radius < 1.5 * reach {
            let m = radius / metre(1.0);
            let circle: Vec<[f64; 2]> = (0..=180)
                .map(|corner| {
                    let angle = std::f64::consts::TAU * f64::from(corner) / 180.0;
                    let point = at([m * libm::sin(angle), m * libm::cos(angle)]);
                    if inside(point) { point } else { [f64::NAN; 2] }
                })
                .collect();
            page.line(&circle, 0.4, Ink::Grid, &[]);
            // The label stands where the ring crosses a bearing that nothing flew along.
            let along = |bearing: f64| at([m * libm::sin(bearing), m * libm::cos(bearing)]);
            let free = |[x, y]: [f64; 2]| {
                x > area.x + 16.0
                    && x < area.x + area.w - 16.0
                    && y > area.y + 8.0
                    && y < area.y + area.h - 4.0
                    && places().map(at).all(|[px, py]| libm::hypot(px - x, py - y) > 22.0)
                    && libm::hypot(x - at([0.0; 2])[0], y - at([0.0; 2])[1]) > 26.0
            };
            let label = (0..24)
                .map(|turn| along(5.5 + std::f64::consts::TAU * f64::from(turn) / 24.0))
                .find(|p| free(*p));
            if let Some(label) = label {
                let words = format!("{radius:.0} {}", Unit::Metre.symbol(self.units));
                page.text(label, 7.5, false, Ink::Soft, Anchor::Middle, &words);
            }
            radius += ring;
        }
        for (body, points) in &self.sheet.path.bodies {
            let (ink, dash) = SERIES[body % SERIES.len()];
            let line: Vec<[f64; 2]> =
                thin(points).map(|point| point.east_north_m.map_or([f64::NAN; 2], at)).collect();
            page.line(&line, if *body == 0 { 1.5 } else { 1.1 }, ink, dash);
        }
        let pad = at([0.0, 0.0]);
        let square = [[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]];
        page.shape(square.iter().map(|[dx, dy]| [pad[0] + dx, pad[1] + dy]).collect(), Ink::Full);
        page.text([pad[0] + 6.0, pad[1] + 9.0], 8.0, true, Ink::Full, Anchor::Left, "pad");
        // A name stands beside its dot, where neither another dot nor another name is.
        let landed = self.sheet.path.landed();
        let dots: Vec<[f64; 2]> = landed.iter().filter_map(|one| one.point.east_north_m.map(at)).collect();
        let mut taken: Vec<[f64; 4]> =
            dots.iter().map(|[x, y]| [x - 3.0, y - 3.0, x + 3.0, y + 3.0]).collect();
        let apart = |a: &[f64; 4], b: &[f64; 4]| a[2] < b[0] || b[2] < a[0] || a[3] < b[1] || b[3] < a[1];
        for one in &landed {
            let Some(point) = one.point.east_north_m.map(at) else { continue };
            page.dot(point, 2.6, SERIES[one.body % SERIES.len()].0, !one.down);
            let name = self.sheet.path.flight.body(one.body);
            let width = weight(false).width(name, 8.0);
            let [x, y] = point;
            let beside = [
                [x + 6.0, y + 2.8],
                [x - 6.0 - width, y + 2.8],
                [x - width / 2.0, y - 6.0],
                [x - width / 2.0, y + 12.0],
                [x + 5.0, y - 6.0],
                [x + 5.0, y + 12.0],
                [x - 5.0 - width, y - 6.0],
                [x - 5.0 - width, y + 12.0],
            ];
            let rect = |[x, y]: [f64; 2]| [x - 1.0, y - 7.0, x + width + 1.0, y + 2.0];
            let free = beside.into_iter().find(|place| {
                let rect = rect(*place);
                rect[2] < area.x + area.w && taken.iter().all(|other| apart(&rect, other))
            });
            let place = free.unwrap_or(beside[0]);
            taken.push(rect(place));
            page.text(place, 8.0, false, Ink::Full, Anchor::Left, name);
        }
        let north = [area.x + area.w - 8.0, area.y + 12.0];
        page.line(&[[north[0], north[1] + 14.0], north], 1.0, Ink::Full, &[]);
        page.shape(
            vec![
                [north[0], north[1] - 5.0],
                [north[0] - 3.0, north[1] + 2.0],
                [north[0] + 3.0, north[1] + 2.0],
            ],
            Ink::Full,
        );
        page.text([north[0], north[1] + 23.0], 8.0, true, Ink::Full, Anchor::Middle, "N");
    }

    fn recovery(&self, page: &mut Drawing, x: f64, top: f64, width: f64, bottom: f64) {
        let mut y = heading(page, x, top, width, "Where the pieces lie, from the pad") + 5.0;
        let note = format!(
            "{} A last position is not a landing. Nobody goes downrange before the range's officer has opened it.",
            self.sheet.compass
        );
        let note_size = 7.5;
        let rows = super::face::lines(&note, note_size, false, width).len().min(4);
        let room = bottom - 1.32 * note_size * rows as f64;
        // Eight pieces are the most: with more than four each takes less.
        let size = if self.sheet.pieces.len() > 4 { 7.5 } else { 8.5 };
        for (index, piece) in self.sheet.pieces.iter().enumerate() {
            let lines = 2.0 + if piece.live.is_empty() { 0.0 } else { 1.0 };
            if y + lines * 1.3 * size > room {
                let words = format!("and {} more in track.kml", self.sheet.pieces.len() - index);
                page.text([x, y], size, false, Ink::Soft, Anchor::Left, &words);
                break;
            }
            let name = if piece.down {
                piece.body.clone()
            } else {
                format!("{} (not known to be down)", piece.body)
            };
            page.words([x, y], size + 0.5, true, Ink::Full, width, &name);
            if let Some([latitude, longitude]) = piece.place {
                let geo = format!("geo:{latitude:.6},{longitude:.6}");
                page.text([x + width, y], size - 0.5, false, Ink::Soft, Anchor::Right, &geo);
            }
            y += 1.28 * size;
            page.words([x, y], size, false, Ink::Full, width, &piece.way);
            y += 1.28 * size;
            if !piece.live.is_empty() {
                let words = format!("Treat as live: {}.", piece.live.join(", "));
                y += page.paragraph([x, y], size - 0.5, true, Ink::Act, width, 2, &words);
            }
            y += 4.5;
        }
        let at = bottom - 1.32 * note_size * (rows as f64 - 1.0);
        page.paragraph([x, at], note_size, false, Ink::Soft, width, 4, &note);
    }

    fn second(&self) -> Drawing {
        let page = &mut Drawing::default();
        let mut y = MARGIN + 8.0;
        page.words(
            [MARGIN, y],
            11.0,
            true,
            Ink::Full,
            self.width,
            &format!("{}: audits, events and setup", self.sheet.title()),
        );
        y = self.cues(page, y + 10.0);
        y = self.predictions(page, y + 8.0);
        let bottom = self.height - 46.0;
        let third = self.width * 0.31;
        let top = y + 6.0;
        let written = self.written(third - 14.0, 0.45 * (bottom - top));
        // What the crew wrote keeps its room at the bottom; events have the rest.
        let room = if written.is_empty() { 0.0 } else { 30.0 + WRITTEN_LEADING * written.len() as f64 };
        let below = self.events(page, MARGIN, top, third - 14.0, bottom - room);
        if !written.is_empty() {
            let mut y = heading(page, MARGIN, below + 8.0, third - 14.0, "What the crew wrote") + 4.0;
            for (bold, line) in &written {
                page.words([MARGIN, y], WRITTEN, *bold, Ink::Full, third - 14.0, line);
                y += WRITTEN_LEADING;
            }
        }
        self.setup(page, MARGIN + third, top, self.width - third, bottom);
        self.foot(page, 2);
        std::mem::take(page)
    }

    fn cues(&self, page: &mut Drawing, y: f64) -> f64 {
        let mut y = heading(page, MARGIN, y, self.width, "Cues: wanted, came, and what the air did then");
        let columns: [(&str, f64); 8] = [
            ("Cue", 0.0),
            ("Wanted", 0.31),
            ("Came", 0.45),
            ("To apogee", 0.545),
            ("Height", 0.63),
            ("Climb", 0.73),
            ("Airspeed", 0.83),
            ("Limit", 1.0),
        ];
        let right = |share: f64| MARGIN + self.width * share;
        for (name, share) in columns {
            if share == 0.0 {
                page.text([MARGIN, y + 3.0], 8.0, false, Ink::Soft, Anchor::Left, name);
            } else {
                page.text([right(share), y + 3.0], 8.0, false, Ink::Soft, Anchor::Right, name);
            }
        }
        y += 8.0;
        let cues = &self.sheet.audits.cues;
        // Sixteen cues are the most; from nine on they stand closer.
        let row = if cues.len() > 8 { 19.0 } else { 24.0 };
        for cue in cues {
            page.line(&[[MARGIN, y], [MARGIN + self.width, y]], 0.4, Ink::Grid, &[]);
            page.words([MARGIN, y + 10.0], 9.0, true, Ink::Full, self.width * 0.235, &cue.cue);
            let told = match &cue.threshold {
                Some(words) if cue.late_s.is_some_and(|late_s| late_s.abs() >= 0.05) => {
                    format!("{}; {words} would have put it there", cue.when)
                }
                _ => cue.when.clone(),
            };
            page.words([MARGIN, y + 19.0], 7.5, false, Ink::Soft, self.width * 0.74, &told);
            let mut cell = |share: f64, text: String, bold: bool| {
                page.text([right(share), y + 10.0], 8.5, bold, Ink::Full, Anchor::Right, &text);
            };
            let time = |t_s: Option<f64>| t_s.map_or_else(|| "–".to_owned(), |t_s| format!("{t_s:.2} s"));
            cell(0.31, time(cue.wanted_s), false);
            let came = match (cue.came_s, cue.came_sd_s) {
                (Some(t_s), Some(sd_s)) => format!("{t_s:.2} ± {:.2} s", 1.645 * sd_s),
                _ => "not seen".to_owned(),
            };
            cell(0.45, came, true);
            cell(0.545, time(cue.to_apogee_s), false);
            let value = |figure: Option<Figure>, unit: Unit| {
                figure.map_or_else(|| "–".to_owned(), |figure| self.figure(figure.value, unit, 0))
            };
            cell(0.63, value(cue.height_m, Unit::Metre), false);
            cell(0.73, value(cue.climb_mps, Unit::MetrePerSecond), false);
            cell(0.83, value(cue.airspeed_mps, Unit::MetrePerSecond), false);
            self.verdict(page, cue, right(1.0), y);
            y += row;
        }
        y
    }

    fn verdict(&self, page: &mut Drawing, cue: &CueAudit, x: f64, y: f64) {
        let (unit, figure) = match cue.limit_of.as_deref() {
            Some("airspeed") => (Unit::MetrePerSecond, cue.airspeed_mps),
            Some("dynamic_pressure") => (Unit::Pascal, cue.dynamic_pressure_pa),
            Some("opening_load") => (Unit::Newton, cue.opening_load_n),
            _ => (Unit::One, None),
        };
        let (words, ink) = match cue.verdict {
            Verdict::Within => ("within", Ink::Full),
            Verdict::Over => ("OVER", Ink::Act),
            Verdict::NotTold => ("perhaps over", Ink::Full),
            Verdict::None if cue.limit.is_some() => ("no figure", Ink::Soft),
            Verdict::None => ("no limit", Ink::Soft),
        };
        let Some(limit) = cue.limit else {
            page.text([x, y + 10.0], 8.5, false, ink, Anchor::Right, words);
            return;
        };
        let decimals = usize::from(self.units == Units::Imperial && unit == Unit::Pascal) * 2;
        let held = format!("{words} {}", self.figure(limit, unit, decimals));
        page.text([x, y + 10.0], 8.5, cue.verdict == Verdict::Over, ink, Anchor::Right, &held);
        if let Some(figure) = figure {
            let was = format!("was {} {}", self.interval(&figure, unit, decimals), unit.symbol(self.units));
            page.text([x, y + 19.0], 7.5, false, Ink::Soft, Anchor::Right, &was);
        }
    }

    fn predictions(&self, page: &mut Drawing, y: f64) -> f64 {
        let y = heading(page, MARGIN, y, self.width, "Predictions of apogee, against what it was");
        let Some(audit) = &self.sheet.audits.prediction else {
            let words = self.sheet.audits.remarks.join(" ");
            return y + page.paragraph([MARGIN, y + 6.0], 9.5, false, Ink::Soft, self.width, 2, &words);
        };
        let (fan, truth) = (&audit.fan, audit.apogee.height_m.value);
        let metre = |m: f64| Unit::Metre.convert(m, self.units);
        let w = self.width * 0.52;
        let area = Area { x: MARGIN + 34.0, y: y + 4.0, w: w - 44.0, h: 128.0 };
        // The scale is that of the coast; what was said under power may lie beyond it.
        let from_s = audit.checked.first().map_or(0.0, |checked| checked.t_s);
        let coast = fan.t_s.partition_point(|t_s| *t_s < from_s);
        let reach = fan.p05[coast..]
            .iter()
            .chain(&fan.p95[coast..])
            .map(|height| (height - truth).abs())
            .fold(0.0, f64::max)
            .clamp(0.06 * truth, 0.6 * truth);
        let (low, high) = (metre(truth - 1.1 * reach), metre(truth + 1.1 * reach));
        let end = audit.apogee.t_s;
        if fan.t_s.len() >= 2 {
            let axes = Axes::draw(page, area, [0.0, end], [low, high], ["s", Unit::Metre.symbol(self.units)]);
            let convert = |column: &[f64]| column.iter().map(|m| metre(*m)).collect::<Vec<f64>>();
            axes.band(page, &fan.t_s, &convert(&fan.p05), &convert(&fan.p95), Ink::Band90);
            axes.band(page, &fan.t_s, &convert(&fan.p25), &convert(&fan.p75), Ink::Band50);
            let line = |column: &[f64]| -> Vec<[f64; 2]> {
                fan.t_s.iter().zip(column).map(|(t_s, m)| [*t_s, metre(*m)]).collect()
            };
            axes.line(page, &line(&fan.hand), 0.9, Ink::Purple, &[2.0, 2.0]);
            axes.line(page, &line(&fan.p50), 1.6, Ink::Full, &[]);
            axes.line(page, &[[0.0, metre(truth)], [end, metre(truth)]], 1.1, Ink::Blue, &[6.0, 3.0]);
            let mut x = area.x;
            for (name, ink, dash) in [
                ("median, 50 and 90 % bands", Ink::Full, &[][..]),
                ("as it was", Ink::Blue, &[6.0, 3.0]),
                ("sum by hand", Ink::Purple, &[2.0, 2.0]),
            ] {
                let below = area.y + area.h + 21.0;
                page.line(&[[x, below - 2.6], [x + 14.0, below - 2.6]], 1.4, ink, dash);
                page.text([x + 17.0, below], 7.0, false, Ink::Full, Anchor::Left, name);
                x += 26.0 + weight(false).width(name, 7.0);
            }
        }
        let x = MARGIN + w + 12.0;
        let width = self.width - w - 12.0;
        let mut at = y + 5.0;
        for (name, share) in [("predicted", 0.60), ("error", 0.78), ("by hand", 0.96)] {
            page.text([x + width * share, at], 8.0, false, Ink::Soft, Anchor::Right, name);
        }
        at += 12.0;
        for checked in &audit.checked {
            page.words([x, at], 8.5, false, Ink::Full, width * 0.42, &checked.instant);
            let predicted = self.figure(checked.height_m.value, Unit::Metre, 0);
            page.text([x + width * 0.60, at], 8.5, false, Ink::Full, Anchor::Right, &predicted);
            let error =
                |m: f64| unsigned_zero(format!("{:+.0} {}", metre(m), Unit::Metre.symbol(self.units)));
            page.text([x + width * 0.78, at], 8.5, true, Ink::Full, Anchor::Right, &error(checked.error_m));
            page.text(
                [x + width * 0.96, at],
                8.5,
                false,
                Ink::Soft,
                Anchor::Right,
                &error(checked.hand_error_m),
            );
            at += 12.0;
            let held = if checked.held_50 {
                "in the 50 % interval"
            } else if checked.held_90 {
                "in the 90 % interval"
            } else {
                "outside the 90 % interval"
            };
            let words = format!(
                "{} to be in; {held}; time {:+.2} s",
                self.interval(&checked.height_m, Unit::Metre, 0),
                checked.time_error_s
            );
            page.words([x, at - 2.0], 7.5, false, Ink::Soft, width, &words);
            at += 11.0;
        }
        if let Some(held) = audit.held_90 {
            let words = format!(
                "From burnout to apogee the 90 % interval held {:.0} % of the time, the 50 % one {:.0} %. One flight says little about either.",
                100.0 * held,
                100.0 * audit.held_50.unwrap_or(0.0)
            );
            at += page.paragraph([x, at + 2.0], 8.0, false, Ink::Full, width, 3, &words) + 3.0;
        }
        if let Some(drag) = &audit.drag {
            let words = format!(
                "Drag coefficient: told {:.2}, learned {:.2} ({:.2} to {:.2}): the one to tell next time. {}",
                drag.told_cd, drag.cd.value, drag.cd.low, drag.cd.high, drag.words
            );
            at += page.paragraph([x, at + 2.0], 8.0, false, Ink::Full, width, 4, &words) + 3.0;
        }
        let words =
            audit.impulse.as_ref().map_or_else(|| audit.remarks.join(" "), |impulse| impulse.words.clone());
        at += page.paragraph([x, at + 2.0], 8.0, false, Ink::Full, width, 5, &words);
        at.max(area.y + area.h + 28.0)
    }

    /// Notes and acceptances as lines, each bold or not, as many as there is room for; marks stand among the events.
    fn written(&self, width: f64, room: f64) -> Vec<(bool, String)> {
        let mut all = Vec::new();
        let mut put = |bold, text: &str| {
            let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
            all.extend(super::face::lines(&text, WRITTEN, bold, width).into_iter().map(|line| (bold, line)));
        };
        for one in &self.sheet.path.flight.written {
            if let Some(notes) = one.notes() {
                put(true, &format!("Notes{}", one.by()));
                notes.lines().for_each(|line| put(false, line));
            }
            if let Some(words) = one.acceptance() {
                put(false, &words);
            }
        }
        let most = (((room - 30.0) / WRITTEN_LEADING) as usize).max(2);
        if all.len() > most {
            all.truncate(most - 1);
            all.push((false, "… and more in remarks.csv".to_owned()));
        }
        all
    }

    /// Gives the height below them.
    fn events(&self, page: &mut Drawing, x: f64, y: f64, width: f64, bottom: f64) -> f64 {
        let mut y = heading(page, x, y, width, "What happened, as seen live");
        let all = &self.sheet.path.events;
        for (index, event) in all.iter().enumerate() {
            if y > bottom - 22.0 && index + 1 < all.len() {
                let words = format!("and {} more in events.csv", all.len() - index);
                page.text([x, y + 4.0], 8.0, false, Ink::Soft, Anchor::Left, &words);
                y += 10.8;
                break;
            }
            let time = unsigned_zero(format!("{:.2} s", self.since(event.t_s)));
            page.text([x + 44.0, y + 4.0], 8.0, false, Ink::Full, Anchor::Right, &time);
            let name = self.sheet.path.flight.body(event.body);
            let whose = if event.body == 0 || event.label.contains(name) {
                String::new()
            } else {
                format!("{name} ")
            };
            let origin = crate::flight::word(&event.origin);
            let who = event.who.as_ref().map_or_else(String::new, |who| format!(" by {who}"));
            let words = format!("{whose}{}, {origin}{who}", event.label);
            page.words([x + 50.0, y + 4.0], 8.0, false, Ink::Full, width - 50.0, &words);
            y += 10.8;
        }
        y
    }

    fn setup(&self, page: &mut Drawing, x: f64, y: f64, width: f64, bottom: f64) {
        let mut y = heading(page, x, y, width, "Setup, as told");
        let cautions = "Advice, not range safety: the range's own officers, the local code and licensed practice decide. Heights are above the \
                        pad; intervals are 90 %. Charges that are not confirmed fired are to be treated as live until they are made safe by \
                        whoever is responsible.";
        let room = bottom - 44.0;
        for (index, (about, words)) in self.sheet.setup.iter().enumerate() {
            let lines = super::face::lines(words, 7.0, false, width - 40.0).len().min(2);
            if y + 9.3 * lines as f64 > room {
                let words = format!("and {} more lines in setup.json", self.sheet.setup.len() - index);
                page.text([x, y + 4.0], 7.5, false, Ink::Soft, Anchor::Left, &words);
                break;
            }
            page.words([x, y + 4.0], 7.0, false, Ink::Soft, 38.0, about);
            y += page.paragraph([x + 40.0, y + 4.0], 7.0, false, Ink::Full, width - 40.0, 2, words);
        }
        page.line(&[[x, bottom - 36.0], [x + width, bottom - 36.0]], 0.6, Ink::Rule, &[]);
        page.paragraph([x, bottom - 26.0], 8.0, true, Ink::Full, width, 4, cautions);
    }
}

#[cfg(test)]
mod tests {
    use super::unsigned_zero;

    #[test]
    fn nothing_has_no_sign() {
        for (figure, said) in
            [("-0.00 s", "0.00 s"), ("+0 m", "0 m"), ("-0.01 s", "-0.01 s"), ("+2 m", "+2 m")]
        {
            assert_eq!(unsigned_zero(figure.to_owned()), said);
        }
    }
}
