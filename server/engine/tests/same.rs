//! The same inputs give the same outputs, however calls are grouped, however late the wake-ups, and from any snapshot.

#![expect(clippy::unwrap_used, reason = "a test that cannot go on fails")]

mod fake;

use fake::{Noise, START_NS, Story, after, inputs, numbered, run, setup};
use loftwatch_engine::{Engine, Input, Output, What};
use proptest::prelude::*;

fn bits(value: &impl serde::Serialize) -> Vec<u8> {
    postcard::to_stdvec(value).unwrap()
}

/// A flight with everything in it that an engine may meet.
fn eventful() -> Vec<Input> {
    let mut noise = Noise(7);
    let story = Story { pad_s: 3.0, silent_from_s: 18.0, ..Story::default() };
    let mut all: Vec<(i64, What)> = inputs(story).into_iter().map(|i| (i.t_ns, i.what)).collect();
    for n in 0..60 {
        let at = noise.below(all.len() - 1);
        let t_ns = all[at].0;
        let what = match n % 8 {
            0 => {
                What::Bytes { link: "mast".into(), bytes: (0..40).map(|_| noise.below(256) as u8).collect() }
            }
            1 => What::Bytes { link: "nowhere".into(), bytes: vec![1, 2, 3] },
            2 => What::LinkState { link: "table".into(), up: n % 4 == 0, reason: "moved".into() },
            3 => all[noise.below(all.len())].1.clone(),
            4 => What::Mark { label: "seen".into(), at_ns: t_ns, who: "crew".into() },
            5 => {
                let (id, label) = (1_000_000 + noise.below(8) as u32, "better".into());
                What::CorrectMark { flight: 1, id, label, at_ns: t_ns, who: "crew".into() }
            }
            6 => What::WithdrawMark { flight: 1, id: 1_000_000 + noise.below(8) as u32, who: "crew".into() },
            _ => What::Started,
        };
        all.insert(at, (t_ns, what));
    }
    let mut changed = setup();
    changed.plan.vehicle.drag_coefficient.value = 0.7;
    changed.plan.cues[2].limit.as_mut().unwrap().value = 20.0;
    let at = all.len() / 2;
    all.insert(at, (all[at].0, What::SetupChange(Box::new(changed))));
    numbered(all)
}

fn whole() -> &'static (Vec<Input>, Vec<Output>, Vec<u8>) {
    static WHOLE: std::sync::OnceLock<(Vec<Input>, Vec<Output>, Vec<u8>)> = std::sync::OnceLock::new();
    WHOLE.get_or_init(|| {
        let all = eventful();
        let (engine, out) = run(setup(), &all, after(&all, 4.0));
        let bits = bits(&engine);
        (all, out, bits)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4))]

    #[test]
    fn late_wake_ups_and_idle_calls_change_nothing(seed in 1_u64..0x7fff_fffe, share in 0.0..1.0_f64) {
        let (all, expected, end) = whole();
        let mut noise = Noise(seed);
        let mut engine = Engine::new(setup(), START_NS);
        let mut out = Vec::new();
        for (i, input) in all.iter().enumerate() {
            engine.step(input, &mut out);
            // Sometimes somebody looks at the clock before the next input, a few times, at any moment.
            if (noise.below(1000) as f64) < 1000.0 * share && let Some(next) = all.get(i + 1) {
                for _ in 0..noise.below(4) {
                    let room = (next.t_ns - input.t_ns).max(1) as usize;
                    let to = input.t_ns + noise.below(room) as i64;
                    if to < next.t_ns {
                        engine.advance(to, &mut out);
                    }
                }
                if let Some(wanted) = engine.wants() && wanted < next.t_ns {
                    engine.advance(wanted, &mut out);
                }
            }
        }
        engine.advance(after(all, 4.0), &mut out);
        prop_assert_eq!(out.len(), expected.len());
        for (got, told) in out.iter().zip(expected) {
            prop_assert_eq!(got, told);
        }
        prop_assert!(&bits(&engine) == end);
    }

    #[test]
    fn a_snapshot_and_the_tail_are_the_whole(seed in 1_u64..0x7fff_fffe) {
      std::thread::Builder::new().stack_size(64 << 20).spawn(move || {
        let (all, expected, end) = whole();
        let mut noise = Noise(seed);
        let mut engine = Engine::new(setup(), START_NS);
        let mut out = Vec::new();
        let cuts: Vec<usize> = (0..3).map(|_| noise.below(all.len())).collect();
        for (i, input) in all.iter().enumerate() {
            if cuts.contains(&i) {
                let kept = bits(&engine);
                engine = postcard::from_bytes(&kept).unwrap();
                assert!(bits(&engine) == kept);
            }
            engine.step(input, &mut out);
        }
        engine.advance(after(all, 4.0), &mut out);
        assert_eq!(out.len(), expected.len());
        for (got, told) in out.iter().zip(expected) {
            assert_eq!(got, told);
        }
        assert!(&bits(&engine) == end);
      }).unwrap().join().unwrap();
    }

    #[test]
    fn no_bytes_panic(pieces in prop::collection::vec((prop::collection::vec(any::<u8>(), 0..60), 0_i64..2_000_000_000), 0..40)) {
        let mut t = START_NS;
        let all = pieces.into_iter().map(|(bytes, dt)| {
            t += dt;
            (t, What::Bytes { link: "mast".into(), bytes })
        });
        let all = numbered(all.collect::<Vec<_>>());
        run(setup(), &all, after(&all, 3.0));
    }
}

#[test]
fn deadlines_come_at_their_own_times_and_in_order() {
    let (_, out, _) = whole();
    assert!(out.len() > 1000);
    assert!(out.windows(2).all(|w| w[0].t_ns <= w[1].t_ns && w[0].input <= w[1].input));
    assert!(out.iter().all(|o| o.t_receive_ns <= o.t_ns), "nothing later than now is used");
    assert!(out.windows(2).all(|w| w[0].input != w[1].input || w[0].t_receive_ns <= w[1].t_receive_ns));
}
