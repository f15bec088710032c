//! How a replay moves on in real time, and which of its messages are due: the same for one page alone and for a show.

use std::time::Duration;

use tokio::time::{Instant, Interval, MissedTickBehavior, interval};

use super::Playback;
use crate::hub::Pace;

/// How often a replay moves on.
const STEP: Duration = Duration::from_millis(50);
/// A step never covers more real time than this, so that a reader that was stuck does not jump through the flight.
const LONGEST_STEP: Duration = Duration::from_millis(500);

/// The moments at which a replay moves on.
pub(crate) fn steps() -> Interval {
    let mut steps = interval(STEP);
    steps.set_missed_tick_behavior(MissedTickBehavior::Delay);
    steps
}

/// Since when it has not moved on, and when each message is due.
#[derive(Debug)]
pub(crate) struct Stepper {
    last: Instant,
    pub(crate) now: Pace,
    pub(crate) picture: Pace,
    pub(crate) story: Pace,
}

impl Stepper {
    /// Another place or rate: everything is due at once. The steps set the pace of `now`: it is a little shorter than a step,
    /// so that one that comes a millisecond early does not leave the message to the next.
    pub(crate) fn fresh() -> Self {
        Self {
            last: Instant::now(),
            now: Pace::new(STEP * 4 / 5, Some(Duration::from_secs(1))),
            picture: Pace::of_picture(),
            story: Pace::of_story(),
        }
    }

    /// Lets the real time since the last step pass.
    pub(crate) async fn pass(&mut self, playback: &mut Playback) -> Result<(), sqlx::Error> {
        let real = self.last.elapsed().min(LONGEST_STEP);
        self.last = Instant::now();
        let touched = playback.pass(real).await?;
        self.now.touch(touched.now);
        self.picture.touch(touched.picture);
        self.story.touch(touched.story);
        Ok(())
    }
}
