//! One input as bytes, and back.

use loftwatch_engine::{Input, RelayNews, RelayStamp, What};

use crate::error::Wrong;
use crate::limits::{LATEST_NS, MOST_INPUT_BYTES, MOST_NAME_BYTES};

const BYTES: u8 = 0;
const RELAYED: u8 = 1;
const OTHER: u8 = 2;

/// Appends an input.
pub(crate) fn put(input: &Input, out: &mut Vec<u8>) -> Result<(), Wrong> {
    let place = || format!("input {}", input.number);
    let (kind, link, stamp, data) = match &input.what {
        What::Bytes { link, bytes } => (BYTES, link.as_str(), None, bytes.clone()),
        What::Relayed { link, stamp, news: RelayNews::Bytes(bytes) } => {
            (RELAYED, link.as_str(), Some(*stamp), bytes.clone())
        }
        what => {
            let json =
                serde_json::to_vec(what).map_err(|error| Wrong::meaning(place(), error.to_string()))?;
            (OTHER, "", None, json)
        }
    };
    if link.len() > MOST_NAME_BYTES || data.len() > MOST_INPUT_BYTES {
        return Err(Wrong::meaning(place(), "it is too large for a flight file"));
    }
    for number in [input.number.to_le_bytes(), input.t_ns.to_le_bytes(), input.utc_ns.to_le_bytes()] {
        out.extend(number);
    }
    out.push(kind);
    out.extend((link.len() as u16).to_le_bytes());
    out.extend(link.as_bytes());
    if let Some(stamp) = stamp {
        for number in [
            stamp.store.to_le_bytes(),
            stamp.number.to_le_bytes(),
            stamp.far_ns.to_le_bytes(),
            stamp.heard_ns.to_le_bytes(),
        ] {
            out.extend(number);
        }
    }
    out.extend((data.len() as u32).to_le_bytes());
    out.extend(data);
    Ok(())
}

/// Takes the next input off the front; `None` where there is nothing more.
pub(crate) fn take(bytes: &mut &[u8]) -> Result<Option<Input>, Wrong> {
    if bytes.is_empty() {
        return Ok(None);
    }
    let number = u64::from_le_bytes(fixed(bytes)?);
    let t_ns = i64::from_le_bytes(fixed(bytes)?);
    let utc_ns = i64::from_le_bytes(fixed(bytes)?);
    let place = || format!("input {number}");
    let [kind] = fixed(bytes)?;
    let length = usize::from(u16::from_le_bytes(fixed(bytes)?));
    if length > MOST_NAME_BYTES {
        return Err(Wrong::meaning(place(), "the name of its link is too long"));
    }
    let link = std::str::from_utf8(some(bytes, length)?)
        .map_err(|_| Wrong::meaning(place(), "the name of its link is no text"))?
        .to_owned();
    let stamp = if kind == RELAYED {
        Some(RelayStamp {
            store: i64::from_le_bytes(fixed(bytes)?),
            number: u64::from_le_bytes(fixed(bytes)?),
            far_ns: i64::from_le_bytes(fixed(bytes)?),
            heard_ns: i64::from_le_bytes(fixed(bytes)?),
        })
    } else {
        None
    };
    let length = u32::from_le_bytes(fixed(bytes)?) as usize;
    if length > MOST_INPUT_BYTES {
        return Err(Wrong::meaning(place(), "it is larger than any input"));
    }
    let data = some(bytes, length)?;
    let what = match (kind, stamp) {
        (BYTES, _) => What::Bytes { link, bytes: data.to_vec() },
        (RELAYED, Some(stamp)) => What::Relayed { link, stamp, news: RelayNews::Bytes(data.to_vec()) },
        (OTHER, _) => serde_json::from_slice(data)
            .map_err(|error| Wrong::meaning(place(), format!("it cannot be understood: {error}")))?,
        _ => return Err(Wrong::meaning(place(), format!("kind {kind} is unknown"))),
    };
    let input = Input { number, t_ns, utc_ns, what };
    check(&input)?;
    Ok(Some(input))
}

/// Holds an input to what a station can have recorded.
fn check(input: &Input) -> Result<(), Wrong> {
    let wrong = |why: &str| Err(Wrong::meaning(format!("input {}", input.number), why));
    let instant = |ns: i64| (0..=LATEST_NS).contains(&ns);
    if !instant(input.t_ns) || !instant(input.utc_ns) || input.number > i64::MAX as u64 {
        return wrong("its time or number is out of range");
    }
    match &input.what {
        What::Mark { at_ns, .. } | What::CorrectMark { at_ns, .. } if !instant(*at_ns) => {
            wrong("the time of a mark is out of range")
        }
        What::Relayed { stamp, .. }
            if ![stamp.store, stamp.far_ns, stamp.heard_ns].iter().all(|ns| instant(*ns))
                || stamp.number > i64::MAX as u64 =>
        {
            wrong("what the remote receiver says of it is out of range")
        }
        What::Lost { bytes, .. } | What::Relayed { news: RelayNews::Lost { bytes, .. }, .. }
            if *bytes > 1 << 40 =>
        {
            wrong("more bytes were lost than a link carries")
        }
        What::Remark { .. } | What::MendSetup { .. } => {
            wrong("it is of a kind that does not travel among inputs")
        }
        what => match what.setup() {
            Some(setup) => crate::setup::check(setup)
                .map_err(|why| Wrong::meaning(format!("the setup of input {}", input.number), why)),
            None => Ok(()),
        },
    }
}

fn some<'a>(bytes: &mut &'a [u8], length: usize) -> Result<&'a [u8], Wrong> {
    let (first, rest) = bytes
        .split_at_checked(length)
        .ok_or_else(|| Wrong::meaning("an input", "it goes on beyond its section"))?;
    *bytes = rest;
    Ok(first)
}

fn fixed<const N: usize>(bytes: &mut &[u8]) -> Result<[u8; N], Wrong> {
    let mut taken = [0; N];
    taken.copy_from_slice(some(bytes, N)?);
    Ok(taken)
}
