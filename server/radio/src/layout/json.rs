//! JSON text (RFC 8259), read in place: is it well formed, and what stands at a path.
//!
//! Of a key that is there twice the first counts (the RFC leaves it open). Limits: an object at the top, at most
//! [`DEEPEST`] deep.

use std::borrow::Cow;

use super::keyed::{DEEPEST, Scalar};
use super::number;

/// Whether the text is one object and nothing else.
pub(super) fn is_well_formed(text: &[u8]) -> bool {
    ends_badly(text).is_none()
}

/// Where the text ceases to be one object and nothing else, if it does.
pub(super) fn ends_badly(text: &[u8]) -> Option<usize> {
    let no_text = std::str::from_utf8(text).err().map(|error| error.valid_up_to());
    let at = space(text, 0);
    let object = if text.get(at) == Some(&b'{') { skip(text, at, 0) } else { Err(at) };
    let bad = match object.map(|end| space(text, end)) {
        Ok(end) => (end < text.len()).then_some(end),
        Err(bad) => Some(bad),
    };
    // What is no text comes first where it stands first.
    [no_text, bad].into_iter().flatten().min()
}

/// The value at a path of keys and indices; then, if so wanted, an element of the array that stands there.
pub(super) fn find<'a>(text: &'a [u8], path: &str, item: Option<u16>) -> Option<Scalar<'a>> {
    let mut at = space(text, 0);
    for step in path.split('.') {
        at = enter(text, at, step)?;
    }
    if let Some(item) = item {
        at = element(text, at, usize::from(item))?;
    }
    scalar(text, at)
}

/// Where the value of a key, or of an index, begins.
fn enter(text: &[u8], at: usize, step: &str) -> Option<usize> {
    match text.get(at)? {
        b'{' => {
            let mut at = space(text, at + 1);
            while text.get(at) == Some(&b'"') {
                let end = string_end(text, at).ok()?;
                let here = unescaped(&text[at + 1..end - 1])? == step;
                at = space(text, end);
                (text.get(at) == Some(&b':')).then_some(())?;
                at = space(text, at + 1);
                if here {
                    return Some(at);
                }
                at = space(text, skip(text, at, 1).ok()?);
                if text.get(at) != Some(&b',') {
                    return None;
                }
                at = space(text, at + 1);
            }
            None
        }
        b'[' => element(text, at, step.parse().ok()?),
        _ => None,
    }
}

fn element(text: &[u8], at: usize, index: usize) -> Option<usize> {
    if text.get(at) != Some(&b'[') {
        return None;
    }
    let mut at = space(text, at + 1);
    if text.get(at) == Some(&b']') {
        return None;
    }
    for _ in 0..index {
        at = space(text, skip(text, at, 1).ok()?);
        if text.get(at) != Some(&b',') {
            return None;
        }
        at = space(text, at + 1);
    }
    Some(at)
}

fn scalar(text: &[u8], at: usize) -> Option<Scalar<'_>> {
    let end = skip(text, at, 0).ok()?;
    Some(match text[at] {
        b'{' => Scalar::Other("an object"),
        b'[' => Scalar::Other("an array"),
        b'"' => Scalar::Text(unescaped(&text[at + 1..end - 1])?),
        b't' => Scalar::Flag(true),
        b'f' => Scalar::Flag(false),
        b'n' => Scalar::Null,
        _ => Scalar::Number(number::parse(std::str::from_utf8(&text[at..end]).ok()?)?),
    })
}

fn space(text: &[u8], at: usize) -> usize {
    at + text[at.min(text.len())..]
        .iter()
        .take_while(|byte| matches!(byte, b' ' | b'\t' | b'\n' | b'\r'))
        .count()
}

/// One past the value that begins here, or where it ceases to be one.
fn skip(text: &[u8], at: usize, depth: usize) -> Result<usize, usize> {
    if depth > DEEPEST {
        return Err(at);
    }
    let word = |word: &[u8]| if text[at..].starts_with(word) { Ok(at + word.len()) } else { Err(at) };
    match text.get(at).ok_or(at)? {
        b'"' => string_end(text, at),
        b't' => word(b"true"),
        b'f' => word(b"false"),
        b'n' => word(b"null"),
        open @ (b'{' | b'[') => {
            let object = *open == b'{';
            let close = if object { b'}' } else { b']' };
            let mut at = space(text, at + 1);
            if text.get(at) == Some(&close) {
                return Ok(at + 1);
            }
            loop {
                if object {
                    at = space(text, string_end(text, at)?);
                    if text.get(at) != Some(&b':') {
                        return Err(at);
                    }
                    at = space(text, at + 1);
                }
                at = space(text, skip(text, at, depth + 1)?);
                match text.get(at) {
                    Some(b',') => at = space(text, at + 1),
                    Some(byte) if *byte == close => return Ok(at + 1),
                    _ => return Err(at),
                }
            }
        }
        _ => number_end(text, at).ok_or(at),
    }
}

/// `-`, no zero before other digits, a fraction, an exponent.
fn number_end(text: &[u8], at: usize) -> Option<usize> {
    let digits = |at: usize| text[at..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    let start = at + usize::from(text.get(at) == Some(&b'-'));
    let whole = digits(start);
    if whole == 0 || (whole > 1 && text[start] == b'0') {
        return None;
    }
    let mut end = start + whole;
    if text.get(end) == Some(&b'.') {
        let fraction = digits(end + 1);
        if fraction == 0 {
            return None;
        }
        end += 1 + fraction;
    }
    if matches!(text.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(text.get(end + 1), Some(b'+' | b'-')));
        let power = digits(end + 1 + sign);
        if power == 0 {
            return None;
        }
        end += 1 + sign + power;
    }
    Some(end)
}

/// One past the closing quote of the string that begins here, or where it ceases to be one.
fn string_end(text: &[u8], at: usize) -> Result<usize, usize> {
    if text.get(at) != Some(&b'"') {
        return Err(at);
    }
    let mut at = at + 1;
    loop {
        match text.get(at).ok_or(at)? {
            b'"' => return Ok(at + 1),
            b'\\' => match text.get(at + 1).ok_or(at)? {
                b'"' | b'\\' | b'/' | b'b' | b'f' | b'n' | b'r' | b't' => at += 2,
                b'u' => {
                    let digits = text.get(at + 2..at + 6).ok_or(at)?;
                    if !digits.iter().all(u8::is_ascii_hexdigit) {
                        return Err(at);
                    }
                    at += 6;
                }
                _ => return Err(at),
            },
            0..=0x1f => return Err(at),
            _ => at += 1,
        }
    }
}

/// A string without its escapes. Half a surrogate pair becomes U+FFFD.
fn unescaped(inside: &[u8]) -> Option<Cow<'_, str>> {
    let text = std::str::from_utf8(inside).ok()?;
    if !text.contains('\\') {
        return Some(Cow::Borrowed(text));
    }
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find('\\') {
        out.push_str(&rest[..at]);
        let escape = rest.as_bytes().get(at + 1)?;
        rest = &rest[at + 2..];
        match escape {
            b'b' => out.push('\u{8}'),
            b'f' => out.push('\u{c}'),
            b'n' => out.push('\n'),
            b'r' => out.push('\r'),
            b't' => out.push('\t'),
            b'u' => {
                let unit = |text: &str| u16::from_str_radix(text.get(..4)?, 16).ok();
                let first = unit(rest)?;
                rest = &rest[4..];
                let second =
                    rest.strip_prefix("\\u").and_then(unit).filter(|_| (0xd800..0xdc00).contains(&first));
                let pair: Vec<u16> = [Some(first), second].into_iter().flatten().collect();
                let whole = char::decode_utf16(pair.iter().copied()).next().and_then(Result::ok);
                if whole.is_some() && second.is_some() {
                    rest = &rest[6..];
                }
                out.push(whole.unwrap_or(char::REPLACEMENT_CHARACTER));
            }
            other => out.push(char::from(*other)),
        }
    }
    out.push_str(rest);
    Some(Cow::Owned(out))
}

#[cfg(test)]
#[path = "json/tests.rs"]
mod tests;
