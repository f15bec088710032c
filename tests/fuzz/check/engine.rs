//! What must hold for any story that an engine is told: bytes of hostile radios, links that come and go, presses of the
//! crew, changes of the setup, relays with odd clocks, silence. It ends without a panic, and an engine that is woken
//! before each input puts out the same as one that is woken late, and as one that is frozen and thawed on the way.
//!
//! A story is a row of orders: a byte that says which, then what it needs.

use loftwatch_engine::{Engine, Input, Output, RelayNews, RelayStamp, Setup, What};

/// Station time at which stories begin, ns.
const START_NS: i64 = 1_700_000_000_000_000_000;
/// Longest pause between two inputs, ns: a silence is said long before. (Hours of silence are other tests.)
const LONGEST_NS: f64 = 3e9;
/// Longest stories, inputs: an input may cost a millisecond.
const MOST: usize = 300;

struct Story<'a> {
    rest: &'a [u8],
    t_ns: i64,
    utc_step_ns: i64,
    setups: &'a [Setup],
}

impl Story<'_> {
    fn byte(&mut self) -> u8 {
        let Some((byte, rest)) = self.rest.split_first() else { return 0 };
        self.rest = rest;
        *byte
    }

    fn number(&mut self) -> i64 {
        let mut bytes = [0; 8];
        bytes.fill_with(|| self.byte());
        i64::from_le_bytes(bytes)
    }

    fn piece(&mut self) -> Vec<u8> {
        let length = usize::from(self.byte()).min(self.rest.len());
        let (piece, rest) = self.rest.split_at(length);
        self.rest = rest;
        piece.to_vec()
    }

    fn text(&mut self) -> String {
        String::from_utf8_lossy(&self.piece()).into_owned()
    }

    fn link(&mut self) -> String {
        let links = &self.setups[0].links;
        // One more than there are: a link that the setup does not have.
        let at = usize::from(self.byte()) % (links.len() + 1);
        links.get(at).map_or_else(|| "nobody".to_owned(), |link| link.name.clone())
    }

    fn pause(&mut self) {
        let exponent = f64::from(self.byte()) / 12.0;
        self.t_ns = self.t_ns.saturating_add((1e3 * exponent.exp2()).min(LONGEST_NS) as i64);
    }

    fn news(&mut self) -> RelayNews {
        match self.byte() % 4 {
            0 => RelayNews::LinkState { up: self.byte().is_multiple_of(2), reason: self.text() },
            1 => RelayNews::Started,
            2 => RelayNews::Lost { bytes: self.number() as u64 >> 8, reason: self.text() },
            _ => RelayNews::Bytes(self.piece()),
        }
    }

    fn what(&mut self, order: u8) -> What {
        let who = || "crew".to_owned();
        match order {
            0 => {
                What::LinkState { link: self.link(), up: self.byte().is_multiple_of(2), reason: self.text() }
            }
            1 => What::Started,
            2 => What::Lost { link: self.link(), bytes: self.number() as u64 >> 8, reason: self.text() },
            3 => {
                let stamp = RelayStamp {
                    store: i64::from(self.byte()),
                    number: self.number() as u64 >> 1,
                    far_ns: self.number(),
                    heard_ns: self.number(),
                };
                What::Relayed { link: self.link(), stamp, news: self.news() }
            }
            4 => What::Mark { label: self.text(), at_ns: self.number(), who: who() },
            5 => What::CorrectMark {
                flight: u32::from(self.byte() % 3),
                id: u32::from(self.byte()),
                label: self.text(),
                at_ns: self.number(),
                who: who(),
            },
            6 => What::WithdrawMark {
                flight: u32::from(self.byte() % 3),
                id: u32::from(self.byte()),
                who: who(),
            },
            7 => What::NameFlight { name: self.text(), who: who() },
            8 => What::EndFlight { who: who() },
            9 => {
                let setup = self.setups[usize::from(self.byte()) % self.setups.len()].clone();
                What::SetupChange(Box::new(setup))
            }
            _ => What::Bytes { link: self.link(), bytes: self.piece() },
        }
    }

    fn inputs(mut self) -> Vec<Input> {
        let mut all = Vec::new();
        while !self.rest.is_empty() && all.len() < MOST {
            match self.byte() % 32 {
                10 => self.utc_step_ns = self.number() >> 12,
                11 | 12 => self.pause(),
                order => {
                    let what = self.what(order);
                    self.t_ns += 1;
                    let utc_ns = self.t_ns.saturating_add(self.utc_step_ns);
                    all.push(Input { number: all.len() as u64 + 1, t_ns: self.t_ns, utc_ns, what });
                }
            }
        }
        all
    }
}

/// Panics if something does not hold. `thaw` freezes an engine and thaws it, as a restart does.
pub(crate) fn engine(data: &[u8], setups: &[Setup], thaw: fn(&Engine) -> Engine) {
    let story = Story { rest: data, t_ns: START_NS, utc_step_ns: 0, setups };
    let inputs = story.inputs();
    let end_ns = inputs.last().map_or(START_NS, |input| input.t_ns).saturating_add(3_000_000_000);
    let begin = || Engine::new(setups[0].clone(), START_NS);
    let (mut late, mut early) = (begin(), begin());
    let (mut told, mut again): (Vec<Output>, Vec<Output>) = (Vec::new(), Vec::new());
    for input in &inputs {
        late.step(input, &mut told);
        early.advance(input.t_ns - 1, &mut again);
        early.step(input, &mut again);
        if input.number == inputs.len() as u64 / 2 {
            early = thaw(&early);
        }
    }
    for (engine, out) in [(&mut late, &mut told), (&mut early, &mut again)] {
        engine.advance(end_ns, out);
        engine.finish(out);
    }
    assert_eq!(told.len(), again.len(), "woken late, or frozen, it says more or less");
    for (one, other) in told.iter().zip(&again) {
        assert_eq!(one, other, "woken late, or frozen, it says something else");
    }
    assert!(told.windows(2).all(|pair| pair[0].t_ns <= pair[1].t_ns), "outputs go back in time");
}
