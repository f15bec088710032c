//! What must hold for any text that a page sends, over its socket or as the body of a request: it is understood or not, and
//! what is understood means the same when it is written again.

use std::fmt::Debug;

use serde::Serialize;
use serde::de::DeserializeOwned;

use super::{Act, Ask, Join};

fn same_again<T: Debug + DeserializeOwned + PartialEq + Serialize>(text: &str) {
    let Ok(said) = serde_json::from_str::<T>(text) else { return };
    let again = serde_json::to_string(&said).expect("what was read can be written");
    assert_eq!(serde_json::from_str::<T>(&again).expect("and read again"), said);
}

/// Panics if something does not hold.
pub(crate) fn messages(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    same_again::<Act>(&text);
    same_again::<Join>(&text);
    if let Ok(ask) = serde_json::from_str::<Ask>(&text) {
        // What the socket goes on with: a float that JSON had is finite.
        let finite = match ask {
            Ask::Ping { sent_ms, .. } => sent_ms.is_finite(),
            Ask::Play { speed } => speed.is_finite(),
            Ask::Seek { t_s } => t_s.is_finite(),
        };
        assert!(finite, "{ask:?}");
    }
}
