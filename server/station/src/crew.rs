//! Who is crew: a code that is shown at the station, and the browsers that have joined with it.
//!
//! The code is made anew for each store and kept in its folder (`crew.json`, readable by the station's user alone).
//! Whoever knows it gets a random token of 256 bits, of which only the SHA-256 is kept; it holds for three days, across
//! restarts, until its browser leaves or a new code ends all of them. Wrong codes are slowed down ([`Limiter`]).
//! Limit: the network is plain HTTP, so whoever can listen on it can read code and token.

mod code;
mod kept;
mod limiter;

use std::net::IpAddr;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use sha2::{Digest as _, Sha256};

use crate::store::StoreError;
pub(crate) use code::Code;
use kept::{Kept, Session};
use limiter::Limiter;

/// How long a browser stays crew. Longer: a lost phone may act for longer. Shorter: people type the code again in the
/// middle of a range weekend.
pub(crate) const SESSION: Duration = Duration::from_hours(72);
/// Most browsers that are crew at once; one more, and the one that joined first has to join again.
const MOST_SESSIONS: usize = 64;

/// The crew of one station.
#[derive(Debug)]
pub(crate) struct Crew {
    inner: Mutex<Inner>,
    /// Its own lock, as a disk may be slow: the newest state is written, never an older one over it.
    file: Mutex<kept::File>,
}

#[derive(Debug)]
struct Inner {
    kept: Kept,
    /// Counts changes of `kept`.
    edition: u64,
    limiter: Limiter,
}

/// Why somebody has not joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NotJoined {
    /// The code is another one.
    Wrong,
    /// Too many wrong codes: not looked at.
    Wait(Duration),
    /// The system gives no random numbers.
    NoChance,
}

impl Crew {
    /// Reads the crew of a store, or makes a new code for a new one.
    pub(crate) fn open(folder: &Path) -> Result<Self, StoreError> {
        let file = kept::File::of(folder);
        let (kept, made) = file.read_or_make()?;
        let crew = Self {
            inner: Mutex::new(Inner { kept, edition: 1, limiter: Limiter::default() }),
            file: Mutex::new(file),
        };
        if made {
            crew.save().map_err(|source| StoreError::File { file: kept::path(folder), source })?;
        }
        Ok(crew)
    }

    /// The code that lets join.
    pub(crate) fn code(&self) -> Code {
        self.lock().kept.code.clone()
    }

    /// Those who are crew: names and when they joined, station time ns.
    pub(crate) fn names(&self, now_ns: i64) -> Vec<(String, i64)> {
        let inner = self.lock();
        let holding = inner.kept.sessions.iter().filter(|session| session.holds(now_ns));
        holding.map(|session| (session.who.clone(), session.joined_ns)).collect()
    }

    /// Somebody types a code; gives the token of the new session. To be followed by [`Crew::save`].
    pub(crate) fn join(&self, from: IpAddr, code: &str, who: &str, now_ns: i64) -> Result<String, NotJoined> {
        let mut inner = self.lock();
        inner.limiter.check(from, now_ns).map_err(NotJoined::Wait)?;
        // By their hashes: how long it takes tells nothing of the code.
        if hash(Code::typed(code).as_bytes()) != hash(inner.kept.code.letters().as_bytes()) {
            inner.limiter.wrong(from, now_ns);
            return Err(NotJoined::Wrong);
        }
        inner.limiter.right(from);
        inner.admit(who, now_ns)
    }

    /// Somebody on the station's own machine says who they are; no code is asked.
    pub(crate) fn join_here(&self, who: &str, now_ns: i64) -> Result<String, NotJoined> {
        self.lock().admit(who, now_ns)
    }

    /// Who holds this token, if anybody.
    pub(crate) fn who(&self, token: &str, now_ns: i64) -> Option<String> {
        let hash = hash(token.as_bytes());
        let inner = self.lock();
        let mut holding = inner.kept.sessions.iter().filter(|session| session.holds(now_ns));
        holding.find(|session| session.hash == hash).map(|session| session.who.clone())
    }

    /// The holder of this token leaves. To be followed by [`Crew::save`].
    pub(crate) fn leave(&self, token: &str) {
        let hash = hash(token.as_bytes());
        let mut inner = self.lock();
        inner.kept.sessions.retain(|session| session.hash != hash);
        inner.edition += 1;
    }

    /// A new code; all sessions end. `None`: the system gives no random numbers, nothing was changed. To be followed by
    /// [`Crew::save`].
    pub(crate) fn new_code(&self) -> Option<Code> {
        let code = Code::new()?;
        let mut inner = self.lock();
        inner.kept = Kept { code: code.clone(), sessions: Vec::new() };
        inner.edition += 1;
        Some(code)
    }

    /// Writes down what is not yet written. May wait for the disk.
    pub(crate) fn save(&self) -> std::io::Result<()> {
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        let (kept, edition) = {
            let inner = self.lock();
            (inner.kept.clone(), inner.edition)
        };
        file.write(&kept, edition)
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        // A panic inside the short critical sections above cannot leave them half done.
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Inner {
    fn admit(&mut self, who: &str, now_ns: i64) -> Result<String, NotJoined> {
        let mut token = [0; 32];
        getrandom::fill(&mut token).map_err(|_| NotJoined::NoChance)?;
        let token = hex(&token);
        self.kept.sessions.retain(|session| session.holds(now_ns));
        if self.kept.sessions.len() >= MOST_SESSIONS {
            self.kept.sessions.remove(0);
        }
        let session = Session { hash: hash(token.as_bytes()), who: who.to_owned(), joined_ns: now_ns };
        self.kept.sessions.push(session);
        self.edition += 1;
        Ok(token)
    }
}

impl Session {
    fn holds(&self, now_ns: i64) -> bool {
        now_ns.saturating_sub(self.joined_ns) < SESSION.as_nanos() as i64
    }
}

fn hash(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write as _;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        // Writing to a string does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const PHONE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 168, 4, 7));
    const NOW_NS: i64 = 1_795_600_000_000_000_000;

    #[test]
    fn who_knows_the_code_is_crew_across_a_restart_until_they_leave() {
        let folder = tempfile::tempdir().unwrap();
        let crew = Crew::open(folder.path()).unwrap();
        let code = crew.code();
        let token = crew.join(PHONE, &code.to_string().to_lowercase(), "Mo", NOW_NS).unwrap();
        let other = crew.join(PHONE, code.letters(), "Ada", NOW_NS).unwrap();
        crew.save().unwrap();
        let text = std::fs::read_to_string(kept::path(folder.path())).unwrap();
        assert!(!text.contains(&token), "only the hash of a token is kept");
        let crew = Crew::open(folder.path()).unwrap();
        assert_eq!(crew.code(), code);
        assert_eq!(crew.who(&token, NOW_NS + 1), Some("Mo".to_owned()));
        assert_eq!(crew.who(&token, NOW_NS + SESSION.as_nanos() as i64), None, "it ends by itself");
        crew.leave(&token);
        assert_eq!(crew.who(&token, NOW_NS + 1), None);
        assert_eq!(crew.who(&other, NOW_NS + 1), Some("Ada".to_owned()));
        for forged in ["", "0", &"0".repeat(64), &hash(other.as_bytes()), &other[1..]] {
            assert_eq!(crew.who(forged, NOW_NS + 1), None, "{forged}");
        }
    }

    #[test]
    fn a_new_code_ends_all_sessions_and_the_old_code() {
        let folder = tempfile::tempdir().unwrap();
        let crew = Crew::open(folder.path()).unwrap();
        let old = crew.code();
        let token = crew.join(PHONE, old.letters(), "Mo", NOW_NS).unwrap();
        let new = crew.new_code().unwrap();
        crew.save().unwrap();
        assert_ne!(old, new);
        assert_eq!(crew.who(&token, NOW_NS), None);
        assert_eq!(crew.join(PHONE, old.letters(), "Mo", NOW_NS), Err(NotJoined::Wrong));
        assert_eq!(Crew::open(folder.path()).unwrap().code(), new);
    }

    #[test]
    fn guessing_is_slowed_down_and_the_right_code_does_not_help_while_one_must_wait() {
        let folder = tempfile::tempdir().unwrap();
        let crew = Crew::open(folder.path()).unwrap();
        let code = crew.code();
        let mut looked_at = 0;
        let wait = loop {
            match crew.join(PHONE, "nonsense", "Mo", NOW_NS) {
                Err(NotJoined::Wrong) => looked_at += 1,
                Err(NotJoined::Wait(wait)) => break wait,
                other => panic!("{other:?}"),
            }
            assert!(looked_at < 10);
        };
        assert_eq!(crew.join(PHONE, code.letters(), "Mo", NOW_NS), Err(NotJoined::Wait(wait)));
        assert!(crew.join(PHONE, code.letters(), "Mo", NOW_NS + wait.as_nanos() as i64).is_ok());
    }

    #[test]
    fn there_are_never_more_sessions_than_there_is_room_for() {
        let folder = tempfile::tempdir().unwrap();
        let crew = Crew::open(folder.path()).unwrap();
        let first = crew.join_here("first", NOW_NS).unwrap();
        for n in 0..MOST_SESSIONS {
            crew.join_here(&n.to_string(), NOW_NS).unwrap();
        }
        assert_eq!(crew.names(NOW_NS).len(), MOST_SESSIONS);
        assert_eq!(crew.who(&first, NOW_NS), None);
    }
}
