//! What the fuzz target holds to, over its kept inputs.

#![expect(clippy::disallowed_methods, reason = "the corpus is in files")]

#[path = "../../../tests/fuzz/check/parcel.rs"]
mod check;

#[test]
fn every_kept_input_holds() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/fuzz/corpus/parcel");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        check::parcel(&std::fs::read(entry.unwrap().path()).unwrap());
        seen += 1;
    }
    assert!(seen >= 3);
}
