//! Joining Gaussians that have become alike.
//!
//! Two are joined, keeping mean and covariance of the pair (Salmond 1990), when their velocities and drag differ by
//! less than what either of them leaves open.

use crate::filter::BLOBS;
use crate::shelf::Shelf;
use crate::state::{Blob, LNK, N, NEVER_S, VE, VU};

/// Squared distance, in the spread of the wider one, below which two are joined.
const ALIKE: f64 = 0.35;

/// Joins pairs until none are alike.
pub(crate) fn join_alike(blobs: &mut Shelf<Blob, BLOBS>) {
    let mut gone = [false; BLOBS];
    for i in 0..blobs.len() {
        if gone[i] {
            continue;
        }
        for j in i + 1..blobs.len() {
            if !gone[j] && alike(&blobs[i], &blobs[j]) {
                let other = blobs[j];
                join(&mut blobs[i], &other);
                gone[j] = true;
            }
        }
    }
    let mut at = 0;
    blobs.retain(|_| {
        at += 1;
        !gone[at - 1]
    });
}

/// Joins all into one.
pub(crate) fn join_all(blobs: &mut Shelf<Blob, BLOBS>) {
    let Some(mut sum) = blobs.first().copied() else { return };
    for b in &blobs[1..] {
        join(&mut sum, b);
    }
    blobs.clear();
    blobs.push(sum);
}

fn alike(a: &Blob, b: &Blob) -> bool {
    let mut sum = 0.0;
    for i in (VE..=VU).chain([LNK]) {
        let d = a.x[i] - b.x[i];
        sum += d * d / a.p[i][i].max(b.p[i][i]).max(1e-9);
    }
    // Places must overlap too.
    for i in 0..3 {
        let d = a.x[i] - b.x[i];
        sum += 0.5 * d * d / a.p[i][i].max(b.p[i][i]).max(1.0);
    }
    sum < ALIKE
}

/// Takes `b` into `a`.
fn join(a: &mut Blob, b: &Blob) {
    let top = a.ln_w.max(b.ln_w);
    let (wa, wb) = (libm::exp(a.ln_w - top), libm::exp(b.ln_w - top));
    let sum = wa + wb;
    let (wa, wb) = (wa / sum, wb / sum);
    let mut d = [0.0; N];
    for i in 0..N {
        d[i] = b.x[i] - a.x[i];
    }
    for i in 0..N {
        for j in 0..N {
            a.p[i][j] = wa * a.p[i][j] + wb * b.p[i][j] + wa * wb * d[i] * d[j];
        }
        a.x[i] += wb * d[i];
    }
    a.stretch = wa * a.stretch + wb * b.stretch;
    a.trail_m = wa * a.trail_m + wb * b.trail_m;
    a.port_trail_m = wa * a.port_trail_m + wb * b.port_trail_m;
    a.gained_mps = wa * a.gained_mps + wb * b.gained_mps;
    a.pushed_mps = wa * a.pushed_mps + wb * b.pushed_mps;
    // A filling canopy's course has no mean with another's: the likelier one's stands.
    if wb > wa {
        (a.fill_s, a.shut_k) = (b.fill_s, b.shut_k);
    }
    // With an opening on one side only there is nothing to take the mean of either.
    a.opened_s = match (a.opened_s > NEVER_S, b.opened_s > NEVER_S) {
        (true, true) => wa * a.opened_s + wb * b.opened_s,
        _ if wb > wa => b.opened_s,
        _ => a.opened_s,
    };
    a.ln_w = top + libm::log(sum);
}
