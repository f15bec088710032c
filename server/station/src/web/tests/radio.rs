//! Frames as they came: bytes with their fields, wrong ones with the reason, and a layout that is tried before it holds.

use loftwatch_engine::Input;

use super::*;
use crate::store::inputs;

const SETUP: &str = "[vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n\
    [[link]]\nname = \"mast\"\nkind = \"stdin\"\n[link.framing]\nkind = \"slip\"\ncrc = \"CRC-16/KERMIT\"\n\
    [[layout]]\nname = \"flight\"\nkind = \"binary\"\nlength = 9\n\
    [[layout.field]]\nname = \"text\"\ntype = \"text\"\nbytes = 7\n\
    [[layout.field]]\nname = \"p\"\ntype = \"u16\"\nunit = \"hPa\"\nmeans = \"pressure\"\n";

const JSON: &str = "Content-Type: application/json\r\n";

/// A station whose store holds pieces of the link `mast`, one a millisecond.
async fn heard(file: &std::path::Path, pieces: &[&[u8]]) -> Station {
    std::fs::write(file, SETUP).unwrap();
    let station = station_of(Some(file)).await;
    let all: Vec<Input> = (1..)
        .zip(pieces)
        .map(|(number, bytes)| {
            let t_ns = EPOCH_NS + number as i64 * 1_000_000;
            let what = What::Bytes { link: "mast".to_owned(), bytes: bytes.to_vec() };
            Input { number, t_ns, utc_ns: t_ns, what }
        })
        .collect();
    let mut recorder = inputs::open(&station.stored.folder.inputs()).await.unwrap();
    inputs::write(&mut recorder, &all).await.unwrap();
    station
}

/// The end of a frame, two good ones (the catalogue's check value of "123456789" is 2189), one with a bit turned.
const PIECES: [&[u8]; 4] =
    [b"89\x89\x21\xc0123456789\x89", b"\x21\xc0123", b"456789\x89\x21\xc0", b"123456788\x89\x21\xc0"];

#[tokio::test]
async fn frames_are_shown_with_their_fields_and_wrong_ones_with_the_reason() {
    let folder = tempfile::tempdir().unwrap();
    let station = heard(&folder.path().join("setup.toml"), &PIECES).await;
    let (head, body) = get(&station, "/api/radio/frames").await;
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
    let got: Json = serde_json::from_str(&body).unwrap();
    let frames = got["frames"].as_array().unwrap();
    assert_eq!(frames.len(), 3, "{body}");
    assert!(frames[0]["wrong"].as_str().unwrap().starts_with("checksum 2189 where the bytes give"), "{body}");
    assert_eq!(frames[0]["hex"], "3132333435363738388921");
    let good = &frames[1];
    assert_eq!((&good["layout"], &good["wrong"]), (&"flight".into(), &Json::Null));
    assert_eq!(good["hex"], "313233343536373839");
    let fields = good["fields"].as_array().unwrap();
    assert_eq!((&fields[0]["name"], &fields[0]["value"]), (&"text".into(), &"1234567".into()));
    // 0x3938 hPa in the unit that is kept.
    assert_eq!(
        (&fields[1]["value"], &fields[1]["from"], &fields[1]["to"]),
        (&"1464800 Pa".into(), &7.into(), &9.into())
    );
}

#[tokio::test]
async fn a_text_is_tried_on_the_frames_and_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("setup.toml");
    let station = heard(&file, &PIECES).await;
    let attempt = |text: String| serde_json::json!({ "text": text }).to_string();
    let text = SETUP.replace("name = \"flight\"", "name = \"other\"").replace("bytes = 7", "bytes = 6");
    let (head, body) = ask(&station, "POST", "/api/radio/try", JSON, &attempt(text.clone())).await;
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
    let got: Json = serde_json::from_str(&body).unwrap();
    assert_eq!(
        (&got["mistakes"], &got["frames"][1]["layout"]),
        (&serde_json::json!([]), &"other".into()),
        "{body}"
    );
    assert_eq!(got["frames"][1]["fields"][0]["value"], "123456");
    let wrong = text.replace("means = \"pressure\"", "means = \"presure\"");
    let (_, body) = ask(&station, "POST", "/api/radio/try", JSON, &attempt(wrong)).await;
    let got: Json = serde_json::from_str(&body).unwrap();
    assert_eq!(got["frames"], serde_json::json!([]));
    let line = SETUP.lines().count();
    assert_eq!(got["mistakes"][0]["line"], line, "{body}");
    assert_eq!(std::fs::read_to_string(&file).unwrap(), SETUP);
    let pressed = station.shared.ring.drain().inputs;
    assert!(pressed.iter().all(|input| matches!(input.what, What::LinkState { .. })), "{pressed:?}");
}
