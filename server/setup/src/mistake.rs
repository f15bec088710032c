//! What is wrong with a setup file: for eyes as text with the line drawn, for a page as data.

use std::fmt;
use std::ops::Range;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet, renderer::DecorStyle};
use serde::{Deserialize, Serialize};

/// The most mistakes that are drawn: more than there are keys; a file with more of them has one cause, not hundreds.
const DRAWN: usize = 200;

/// One mistake.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mistake {
    /// Line in the file, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Dotted key, for example `vehicle.diameter_m` or `body[Cam A].mass_kg`.
    pub key: String,
    /// What was expected.
    pub expected: String,
    /// What was found.
    pub found: String,
    /// What it probably is, or what to do.
    pub hint: Option<String>,
    /// Bytes of the file that the mistake is about.
    #[serde(skip)]
    pub(crate) span: Range<usize>,
    /// Whether something is missing (which a broken line elsewhere may explain).
    #[serde(skip)]
    pub(crate) missing: bool,
}

impl Mistake {
    /// The mistake in one line.
    pub fn sentence(&self) -> String {
        if self.key.is_empty() {
            format!("expected {}, found {}", self.expected, self.found)
        } else {
            format!("`{}`: expected {}, found {}", self.key, self.expected, self.found)
        }
    }
}

/// All mistakes of one file, in the order of its lines. Its `Display` draws each with its line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Report {
    /// Name of the file as it was asked for.
    pub file_name: String,
    /// The mistakes, at least one.
    pub mistakes: Vec<Mistake>,
    #[serde(skip)]
    text: String,
}

impl Report {
    /// Puts the mistakes in order of their lines and works lines and columns out.
    pub(crate) fn new(file_name: &str, text: &str, mut mistakes: Vec<Mistake>) -> Self {
        mistakes.sort_by(|a, b| (a.span.start, a.span.end, &a.key).cmp(&(b.span.start, b.span.end, &b.key)));
        mistakes.dedup();
        let starts: Vec<usize> =
            std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect();
        for mistake in &mut mistakes {
            mistake.span = sound(text, &mistake.span);
            let at = mistake.span.start;
            mistake.line = starts.partition_point(|&start| start <= at);
            mistake.column = text[starts[mistake.line - 1]..at].chars().count() + 1;
        }
        Self { file_name: clean(file_name, 200), mistakes, text: text.to_owned() }
    }
}

impl fmt::Display for Report {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let renderer = Renderer::plain().decor_style(DecorStyle::Ascii).term_width(140);
        for mistake in self.mistakes.iter().take(DRAWN) {
            let title = mistake.sentence();
            let (line, span) = line_of(&self.text, &mistake.span);
            let mut group = Level::ERROR.primary_title(&title).element(
                Snippet::source(line)
                    .line_start(mistake.line)
                    .path(&self.file_name)
                    .annotation(AnnotationKind::Primary.span(span)),
            );
            if let Some(hint) = &mistake.hint {
                group = group.element(Level::HELP.with_name("hint").message(hint));
            }
            writeln!(out, "{}\n", renderer.render(&[group]))?;
        }
        if self.mistakes.len() > DRAWN {
            writeln!(out, "... and {} more\n", self.mistakes.len() - DRAWN)?;
        }
        let (count, s) = (self.mistakes.len(), if self.mistakes.len() == 1 { "" } else { "s" });
        write!(out, "{count} mistake{s} in {}: nothing of it was taken", self.file_name)
    }
}

impl std::error::Error for Report {}

/// The span on character boundaries, on one line and inside the text.
fn sound(text: &str, span: &Range<usize>) -> Range<usize> {
    let floor = |at: usize| (0..=at.min(text.len())).rev().find(|&i| text.is_char_boundary(i)).unwrap_or(0);
    let start = floor(span.start);
    let line_end = text[start..].find(['\n', '\r']).map_or(text.len(), |n| start + n);
    start..floor(span.end).clamp(start, line_end)
}

/// The line that a span begins in, without its end, and the span within it.
fn line_of(text: &str, span: &Range<usize>) -> (String, Range<usize>) {
    let start = text[..span.start].rfind('\n').map_or(0, |n| n + 1);
    let end = text[span.end..].find(['\n', '\r']).map_or(text.len(), |n| span.end + n);
    (text[start..end].to_owned(), span.start - start..span.end - start)
}

/// Words from a file, fit to be shown: one line, no control characters, not endless.
pub(crate) fn clean(words: &str, most: usize) -> String {
    let mut shown: String =
        words.chars().take(most).map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if words.chars().nth(most).is_some() {
        shown.push_str("...");
    }
    shown
}
