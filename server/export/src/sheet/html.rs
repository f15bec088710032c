//! The drawing as one HTML page with its font inside: it works from a file, with no server, and prints on the same paper.

use std::fmt::Write as _;

use super::draw::{Drawing, Ink, Mark};
use super::face::{BOLD, REGULAR};
use crate::html::escaped;

pub(super) fn write(pages: &[Drawing], size: [f64; 2], title: &str) -> String {
    let [width, height] = size;
    let mut page = format!(
        "<!doctype html>\n<html lang=\"en\">\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n<title>{}</title>\n<style>\n",
        escaped(title)
    );
    for (weight, data) in [(400, REGULAR), (700, BOLD)] {
        let _ = writeln!(
            page,
            "@font-face{{font-family:Sheet;font-weight:{weight};src:url(data:font/ttf;base64,{})}}",
            base64(data)
        );
    }
    let _ = writeln!(
        page,
        "@page{{size:{width}pt {height}pt;margin:0}}\nbody{{margin:0;background:#8b8474}}\nsvg{{display:block;width:100%;max-width:{width}pt;\
         margin:0 auto 12px;background:#fff;font-family:Sheet,sans-serif}}\n\
         @media print{{body{{background:none}}svg{{margin:0;max-width:none;break-after:page}}}}\n</style>"
    );
    for (index, drawing) in pages.iter().enumerate() {
        let _ = writeln!(
            page,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\" aria-label=\"{}, page {}\">",
            escaped(title),
            index + 1
        );
        drawing.marks.iter().for_each(|mark| put(&mut page, mark));
        page.push_str("</svg>\n");
    }
    page.push_str("</html>\n");
    page
}

fn colour(ink: Ink) -> String {
    let [red, green, blue] = ink.rgb();
    format!("#{red:02x}{green:02x}{blue:02x}")
}

fn points(points: &[[f64; 2]]) -> String {
    points.iter().map(|[x, y]| format!("{x:.2},{y:.2}")).collect::<Vec<_>>().join(" ")
}

fn put(page: &mut String, mark: &Mark) {
    let _ = match mark {
        Mark::Line { points: at, width, ink, dash } => {
            let dash = if dash.is_empty() {
                String::new()
            } else {
                let lengths: Vec<String> = dash.iter().map(f64::to_string).collect();
                format!(" stroke-dasharray=\"{}\"", lengths.join(" "))
            };
            writeln!(
                page,
                "<polyline fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\" stroke-linejoin=\"round\"{dash} points=\"{}\"/>",
                colour(*ink),
                points(at)
            )
        }
        Mark::Shape { points: at, ink } => {
            writeln!(page, "<polygon fill=\"{}\" points=\"{}\"/>", colour(*ink), points(at))
        }
        Mark::Dot { at: [x, y], radius, ink, hollow } => writeln!(
            page,
            "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{radius}\" fill=\"{}\" stroke=\"{}\" stroke-width=\"1.1\"/>",
            colour(if *hollow { Ink::Paper } else { *ink }),
            colour(*ink)
        ),
        Mark::Text { at: [x, y], size, bold, ink, text } => writeln!(
            page,
            "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"{size}\" font-weight=\"{}\" fill=\"{}\" xml:space=\"preserve\">{}</text>",
            if *bold { 700 } else { 400 },
            colour(*ink),
            escaped(text)
        ),
    };
}

/// RFC 4648, section 4.
fn base64(data: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(data.len().div_ceil(3) * 4);
    for three in data.chunks(3) {
        let word =
            three.iter().fold(0_u32, |word, byte| word << 8 | u32::from(*byte)) << (8 * (3 - three.len()));
        for digit in 0..4 {
            let six = (word >> (18 - 6 * digit)) & 63;
            text.push(if digit <= three.len() as u32 { DIGITS[six as usize] as char } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::base64;

    #[test]
    fn base64_is_that_of_the_standard() {
        // RFC 4648, section 10.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }
}
