//! What must hold for any bytes as a flight file: it is refused in words, or it is whole and says the same when it is written
//! again. The digests would keep a fuzzer out, so the bytes are also put behind a front and sections that fit.

use std::io::Cursor;

use loftwatch_parcel::{Head, MOST_SECTION_BYTES, Part, Reader, Told, Writer, Wrong};

/// Reads the bytes as a file; and, cut in three, as the contents of its sections.
pub(crate) fn parcel(data: &[u8]) {
    read(data);
    let third = data.len() / 3;
    read(&dressed(&[(b"HEAD", &data[..third]), (b"SETP", &data[third..])]));
    if let Some((head, setup)) = good() {
        read(&dressed(&[(b"HEAD", &head), (b"SETP", data)]));
        read(&dressed(&[(b"HEAD", &head), (b"SETP", &setup), (b"INPT", data), (b"TOLD", b"{}")]));
        read(&dressed(&[(b"HEAD", &head), (b"SETP", &setup), (b"TOLD", data)]));
    }
}

fn read(data: &[u8]) {
    match all(data) {
        Ok((head, setup, inputs, told)) => {
            let mut writer = Writer::begin(Vec::new(), &head, &setup).expect("it was read");
            for input in &inputs {
                writer.input(input).expect("it was read");
            }
            let again = writer.end(&told).expect("it was read");
            assert_eq!(all(&again).expect("it was written"), (head, setup, inputs, told));
        }
        Err(wrong) => {
            let words = wrong.to_string();
            assert!(!words.is_empty() && words.len() < 2_000, "{words}");
        }
    }
}

type All = (Head, loftwatch_engine::Setup, Vec<loftwatch_engine::Input>, Told);

fn all(data: &[u8]) -> Result<All, Wrong> {
    let mut reader = Reader::open(Cursor::new(data))?;
    let mut inputs = Vec::new();
    loop {
        match reader.next_part()? {
            Some(Part::Inputs(some)) => inputs.extend(some),
            Some(Part::Told(told)) => {
                assert!(reader.next_part()?.is_none());
                return Ok((reader.head().clone(), reader.setup().clone(), inputs, told));
            }
            None => unreachable!("a file ends with what was told"),
        }
    }
}

/// A front and sections with the right lengths and digests around any contents.
fn dressed(sections: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
    use sha2::{Digest as _, Sha256};
    let mut file = loftwatch_parcel::MAGIC.to_vec();
    file.extend([1, 0, 0, 0, 0, 0, 0, 0]);
    let put = |file: &mut Vec<u8>, name: &[u8; 4], contents: &[u8]| {
        let contents = &contents[..contents.len().min(MOST_SECTION_BYTES as usize)];
        file.extend(name);
        file.extend([0, 0, 0, 0]);
        file.extend((contents.len() as u64).to_le_bytes());
        file.extend((contents.len() as u64).to_le_bytes());
        file.extend(Sha256::digest(contents));
        file.extend(contents);
    };
    for (name, contents) in sections {
        put(&mut file, name, contents);
    }
    let whole = Sha256::digest(&file);
    put(&mut file, b"ENDS", &whole);
    file
}

/// A head and a setup that are taken.
fn good() -> Option<(Vec<u8>, Vec<u8>)> {
    let text = "[vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n[[link]]\nname = \"radio\"\nkind = \"stdin\"\n";
    let setup = loftwatch_setup::read(text, "setup.toml", &mut |_: &str| Err("none".to_owned())).ok()?;
    let head = Head {
        program: "0".to_owned(),
        engine: 1,
        number: 1,
        label: "Kite 1".to_owned(),
        vehicle: "Kite".to_owned(),
        site: "pad".to_owned(),
        opened_ns: 1_795_600_000_000_000_000,
        inputs: 2,
        until_ns: 1_795_600_100_000_000_000,
        outputs: 0,
        digest: "0000000000000000".to_owned(),
    };
    Some((serde_json::to_vec(&head).ok()?, serde_json::to_vec(&setup).ok()?))
}
