//! The drawing as PDF. No date of making stands in it: the same flight gives the same bytes.

use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Data, Document};

use super::draw::{Drawing, Ink, Mark};
use super::face::{BOLD, REGULAR, weight};
use crate::ExportError;

pub(super) fn write(pages: &[Drawing], size: [f64; 2], title: &str) -> Result<Vec<u8>, ExportError> {
    let wrong = |why: &str| ExportError::Pdf(why.to_owned());
    let font =
        |data: &'static [u8]| Font::new(Data::from(data), 0).ok_or_else(|| wrong("a font is not readable"));
    let fonts = [font(REGULAR)?, font(BOLD)?];
    let mut document = Document::new();
    document.set_metadata(
        Metadata::new()
            .title(title.to_owned())
            .language("en".to_owned())
            .creator(format!("Loftwatch {}", env!("CARGO_PKG_VERSION"))),
    );
    for drawing in pages {
        let settings = PageSettings::from_wh(size[0] as f32, size[1] as f32)
            .ok_or_else(|| wrong("a page has no size"))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for mark in &drawing.marks {
            put(&mut surface, mark, &fonts);
        }
        surface.finish();
        page.finish();
    }
    document.finish().map_err(|error| ExportError::Pdf(format!("{error:?}")))
}

fn colour(ink: Ink) -> rgb::Color {
    let [red, green, blue] = ink.rgb();
    rgb::Color::new(red, green, blue)
}

fn fill(ink: Ink) -> Fill {
    Fill { paint: colour(ink).into(), opacity: NormalizedF32::ONE, rule: krilla::paint::FillRule::default() }
}

fn path(points: &[[f64; 2]], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for (index, [x, y]) in points.iter().enumerate() {
        if index == 0 {
            builder.move_to(*x as f32, *y as f32);
        } else {
            builder.line_to(*x as f32, *y as f32);
        }
    }
    if closed {
        builder.close();
    }
    builder.finish()
}

/// A circle as a polygon of 24 corners: dots are two points wide.
fn circle([x, y]: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
    (0..24)
        .map(|corner| {
            let angle = std::f64::consts::TAU * f64::from(corner) / 24.0;
            [x + radius * libm::cos(angle), y + radius * libm::sin(angle)]
        })
        .collect()
}

fn put(surface: &mut Surface<'_>, mark: &Mark, fonts: &[Font; 2]) {
    match mark {
        Mark::Line { points, width, ink, dash } => {
            let dash = (!dash.is_empty()).then(|| StrokeDash {
                array: dash.iter().map(|length| *length as f32).collect(),
                offset: 0.0,
            });
            stroke(surface, path(points, false), *width, *ink, dash);
        }
        Mark::Shape { points, ink } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*ink)));
            if let Some(path) = path(points, true) {
                surface.draw_path(&path);
            }
        }
        Mark::Dot { at, radius, ink, hollow } => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(if *hollow { Ink::Paper } else { *ink })));
            let path = path(&circle(*at, *radius), true);
            if let Some(path) = &path {
                surface.draw_path(path);
            }
            stroke(surface, path, 1.1, *ink, None);
        }
        Mark::Text { at, size, bold, ink, text } => {
            let weight = weight(*bold);
            let glyphs: Vec<KrillaGlyph> = text
                .char_indices()
                .map(|(start, c)| {
                    let (glyph, advance) = weight.glyph(c);
                    KrillaGlyph {
                        glyph_id: GlyphId::new(glyph),
                        text_range: start..start + c.len_utf8(),
                        x_advance: advance,
                        x_offset: 0.0,
                        y_offset: 0.0,
                        y_advance: 0.0,
                        location: None,
                    }
                })
                .collect();
            surface.set_stroke(None);
            surface.set_fill(Some(fill(*ink)));
            let font = fonts[usize::from(*bold)].clone();
            surface.draw_glyphs(
                Point::from_xy(at[0] as f32, at[1] as f32),
                &glyphs,
                font,
                text,
                *size as f32,
                false,
            );
        }
    }
}

fn stroke(surface: &mut Surface<'_>, path: Option<Path>, width: f64, ink: Ink, dash: Option<StrokeDash>) {
    surface.set_fill(None);
    surface.set_stroke(Some(Stroke {
        paint: colour(ink).into(),
        width: width as f32,
        line_join: krilla::paint::LineJoin::Round,
        dash,
        ..Stroke::default()
    }));
    if let Some(path) = path {
        surface.draw_path(&path);
    }
}
