//! What must hold for any bytes that are guessed at: a guess is a framing that a setup would take, and it cuts frames out of
//! those very bytes.

use loftwatch_radio::{Splitter, guess};

/// Panics if something does not hold.
pub(crate) fn guesses(data: &[u8]) {
    let all = guess(data);
    for found in &all {
        assert!(found.framing.check().is_empty(), "{found:?}: {:?}", found.framing.check());
        assert!(found.fit > 0 && found.fit <= found.frames, "{found:?}");
        let mut good = 0;
        let mut splitter = Splitter::new(&found.framing);
        let mut count = |frame: loftwatch_radio::Frame<'_>| good += usize::from(frame.payload.is_ok());
        splitter.push(data, 0, &mut count);
        splitter.reset(&mut count);
        assert!(good > 0, "{found:?}");
    }
    assert_eq!(all, guess(data));
}
