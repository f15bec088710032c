use proptest::prelude::*;
use serde_json::Value;

use super::*;

/// RFC 8259, section 13, the first example.
const IMAGE: &str = r#"{
        "Image": {
            "Width":  800,
            "Height": 600,
            "Title":  "View from 15th Floor",
            "Thumbnail": {
                "Url":    "http://www.example.com/image/481989943",
                "Height": 125,
                "Width":  100
            },
            "Animated" : false,
            "IDs": [116, 943, 234, 38793]
          }
      }"#;

fn at<'a>(text: &'a str, path: &str) -> Option<Scalar<'a>> {
    find(text.as_bytes(), path, None)
}

#[test]
fn the_example_of_the_rfc() {
    assert!(is_well_formed(IMAGE.as_bytes()));
    assert_eq!(at(IMAGE, "Image.Width"), Some(Scalar::Number(800.0)));
    assert_eq!(at(IMAGE, "Image.Thumbnail.Height"), Some(Scalar::Number(125.0)));
    assert_eq!(at(IMAGE, "Image.Animated"), Some(Scalar::Flag(false)));
    assert_eq!(at(IMAGE, "Image.IDs.3"), Some(Scalar::Number(38793.0)));
    assert_eq!(find(IMAGE.as_bytes(), "Image.IDs", Some(1)), Some(Scalar::Number(943.0)));
    assert_eq!(find(IMAGE.as_bytes(), "Image.IDs", Some(4)), None);
    assert_eq!(at(IMAGE, "Image.IDs"), Some(Scalar::Other("an array")));
    assert_eq!(at(IMAGE, "Image.Depth"), None);
    assert_eq!(at(IMAGE, "Width"), None);
}

#[test]
fn strings_with_escapes() {
    // U+1D11E is the RFC's own example of a pair (section 7).
    let text = r#"{"a\u002eb":"\ud834\udd1e\n\"","half":"\ud834x","k":null}"#;
    assert_eq!(at(text, "half"), Some(Scalar::Text("\u{fffd}x".into())));
    assert_eq!(at(text, "k"), Some(Scalar::Null));
    assert_eq!(at(r#"{"x":"\ud834\udd1e\n\""}"#, "x"), Some(Scalar::Text("\u{1d11e}\n\"".into())));
}

#[test]
fn of_a_key_that_is_there_twice_the_first_counts() {
    assert_eq!(at(r#"{"a":1,"a":2}"#, "a"), Some(Scalar::Number(1.0)));
}

#[test]
fn what_is_not_well_formed() {
    for text in [
        "",
        "{",
        "}",
        "[1]",
        "1",
        "{}x",
        "{,}",
        "{\"a\"}",
        "{\"a\":}",
        "{\"a\":1,}",
        "{a:1}",
        "{'a':1}",
        "{\"a\":01}",
        "{\"a\":+1}",
        "{\"a\":.5}",
        "{\"a\":1.}",
        "{\"a\":1e}",
        "{\"a\":NaN}",
        "{\"a\":tru}",
        "{\"a\":\"\\x\"}",
        "{\"a\":\"\\u12g4\"}",
        "{\"a\":\"\t\"}",
        "{\"a\":[1 2]}",
        "{\"a\":[1,]}",
        "{\"a\":1]",
    ] {
        assert!(!is_well_formed(text.as_bytes()), "{text}");
    }
    let nested = |depth: usize| format!("{{\"a\":{}{}}}", "[".repeat(depth), "]".repeat(depth));
    assert!(is_well_formed(nested(20).as_bytes()) && !is_well_formed(nested(10_000).as_bytes()));
}

fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        any::<f64>().prop_filter("JSON has no infinity", |n| n.is_finite()).prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<bool>().prop_map(Value::from),
        ".{0,6}".prop_map(Value::from),
        Just(Value::Null),
    ];
    let tree = leaf.prop_recursive(4, 30, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::from),
            prop::collection::btree_map("[a-z\"\\\\é]{1,4}", inner, 0..5)
                .prop_map(|map| Value::from(map.into_iter().collect::<serde_json::Map<_, _>>())),
        ]
    });
    prop::collection::btree_map("[a-z]{1,3}", tree, 0..5)
        .prop_map(|map| Value::from(map.into_iter().collect::<serde_json::Map<_, _>>()))
}

/// Every leaf must be found at its path.
fn compare(text: &str, path: &str, value: &Value) -> Result<(), TestCaseError> {
    let below = |key: &str| if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
    match value {
        Value::Object(map) => map.iter().try_for_each(|(key, value)| compare(text, &below(key), value)),
        Value::Array(all) => {
            all.iter().enumerate().try_for_each(|(at, value)| compare(text, &below(&at.to_string()), value))
        }
        leaf => {
            let expected = match leaf {
                Value::Number(number) => Scalar::Number(number.as_f64().unwrap()),
                Value::Bool(flag) => Scalar::Flag(*flag),
                Value::String(string) => Scalar::Text(string.as_str().into()),
                _ => Scalar::Null,
            };
            prop_assert_eq!(at(text, path), Some(expected));
            Ok(())
        }
    }
}

proptest! {
    #[test]
    fn what_another_library_writes_is_found(value in any_json(), pretty: bool) {
        let text = if pretty { serde_json::to_string_pretty(&value) } else { serde_json::to_string(&value) }.unwrap();
        prop_assert!(is_well_formed(text.as_bytes()));
        compare(&text, "", &value)?;
        for end in (0..text.len()).filter(|end| text.is_char_boundary(*end)) {
            prop_assert!(!is_well_formed(&text.as_bytes()[..end]));
        }
    }

    #[test]
    fn it_takes_what_another_library_takes(text in "[\\[\\]{}:, \"a1.e+-\\\\]{0,24}") {
        let object = serde_json::from_str::<Value>(&text).is_ok_and(|value| value.is_object());
        // The other library refuses numbers too large for it: none of these are.
        prop_assert_eq!(is_well_formed(text.as_bytes()), object, "{}", text);
    }

    #[test]
    fn no_bytes_panic(bytes: Vec<u8>, path in "[a-z0-9.]{0,8}") {
        let _ = is_well_formed(&bytes);
        let _ = find(&bytes, &path, Some(1));
        let _ = find(&[b"{\"a\":", &bytes[..]].concat(), &path, None);
    }
}
