"""Filters of several designs for any motion and any measurement, compact rather than quick.

Each keeps a belief over n states and has the same two verbs: `carry(flow, noise)` moves it and `correct(z, see, r)` takes
measurements. `flow` and `see` are functions of columns (n, K); `noise` gives the covariances (M, n, n) to be added, at means
(M, n); `r` holds the variances of the measurements, which are independent. `correct` answers the innovations and the
variances that the state itself accounts for, (M, channels).

`heavy` are the degrees of freedom of a Student likelihood: a surprise counts as if its noise were larger (West 1981, from
memory), and one beyond five and a half deviations in every part of the belief is put aside. Infinite: plain Gaussians.
"""
import math

import numpy as np

ASIDE = 30.0
PUT_ASIDE = 1e18


def root(p):
    """A matrix whose square is p (..., n, n), also where p is only semidefinite."""
    values, vectors = np.linalg.eigh(p)
    return vectors * np.sqrt(np.maximum(values, 0.0))[..., None, :]


def slopes(f, x, step, cols=None):
    """Values (M, m) and slopes (M, m, n) of f at each row of x by forward differences; states not in `cols` move nothing but themselves."""
    m, n = x.shape
    cols = np.arange(n) if cols is None else np.asarray(cols)
    at = np.repeat(x.T[:, :, None], len(cols) + 1, axis=2)
    at[cols, :, np.arange(1, len(cols) + 1)] += step[cols, None]
    y = f(at.reshape(n, -1)).reshape(-1, m, len(cols) + 1)
    slope = np.tile(np.eye(len(y), n), (m, 1, 1))
    slope[:, :, cols] = ((y[:, :, 1:] - y[:, :, :1]) / step[cols]).transpose(1, 0, 2)
    return y[:, :, 0].T, slope


def softened(y, known, r, heavy):
    """Variances (M, channels) of what was measured, larger where it surprises."""
    r = np.broadcast_to(r, y.shape)
    if math.isinf(heavy):
        return r
    d2 = y * y / (known + r)
    aside = d2.min(axis=0) > ASIDE
    return np.where(aside, PUT_ASIDE, r * np.maximum((heavy + d2) / (heavy + 1.0), 1.0))


class Bank:
    """Extended Kalman filters side by side, one unless made more; `iterations` of Gauss-Newton make it an iterated one
    (Bell and Cathey 1993: the update's optimum is the mode of the posterior)."""

    def __init__(self, x, p, step, iterations=1, heavy=math.inf):
        self.x, self.p, self.step = x[None, :].copy(), p[None, :, :].copy(), step
        self.w = np.ones(1)
        self.iterations, self.heavy = iterations, heavy

    def mean(self):
        return self.w @ self.x

    def cov(self):
        d = self.x - self.mean()
        return np.einsum("m,mij->ij", self.w, self.p) + np.einsum("m,mi,mj->ij", self.w, d, d)

    def draw(self, rng, count):
        """(n, count) draws, in pairs opposite about their parts' means."""
        half = (count + 1) // 2
        part = np.searchsorted(np.cumsum(self.w) / self.w.sum(), (np.arange(half) + 0.5) / half).clip(max=len(self.w) - 1)
        d = (root(self.p)[part] @ rng.standard_normal((half, self.x.shape[1], 1)))[:, :, 0]
        return np.concatenate([self.x[part] + d, self.x[part] - d]).T[:, :count]

    def open(self, p):
        """Adds a covariance (n, n): the belief gives way."""
        self.p = self.p + p

    def carry(self, flow, noise, cols=None):
        self.x, f = slopes(flow, self.x, self.step, cols)
        self.p = f @ self.p @ f.mT + noise(self.x)

    def correct(self, z, see, r):
        x0 = self.x
        x = x0
        for i in range(self.iterations):
            value, h = slopes(see, x, self.step)
            ph = self.p @ h.mT
            hph = h @ ph
            if i == 0:
                first, known = z - value, np.diagonal(hph, axis1=1, axis2=2)
                r = softened(first, known, r, self.heavy)
            s = hph + np.eye(len(z)) * r[:, None, :]
            gain = np.linalg.solve(s, ph.mT).mT
            y = z - value - (h @ (x0 - x)[:, :, None])[:, :, 0]
            x = x0 + (gain @ y[:, :, None])[:, :, 0]
            if i == 0:
                at_first = s
        self.x = x
        self.p = self.p - gain @ s @ gain.mT
        self.p = 0.5 * (self.p + self.p.mT)
        self.weigh(first, at_first)
        return first, known

    def weigh(self, y, s):
        """Weights of the parts by the likelihood of what was measured."""
        if len(self.w) > 1:
            ln_w = np.log(self.w + 1e-300) - 0.5 * (np.linalg.slogdet(s)[1] + (y[:, None, :] @ np.linalg.solve(s, y[:, :, None]))[:, 0, 0])
            w = np.exp(ln_w - ln_w.max())
            self.w = w / w.sum()


class Sum(Bank):
    """Gaussian sum (Sorenson and Alspach 1971) laid over two combinations (2, n) of the states: on rings about their mean, each part
    with `share` of the spread along them and the states that go with them moved along."""

    def __init__(self, x, p, step, over, rings, share, heavy=math.inf):
        super().__init__(x, p, step, 1, heavy)
        own = over @ p @ over.T
        along = np.linalg.solve(own, over @ p).T
        at = [(w / k, r * math.cos(t), r * math.sin(t)) for r, k, w in rings for t in (np.arange(k) + 0.5) / k * math.tau]
        w, *z = np.array(at).T
        self.w = w / w.sum()
        self.x = x + (np.linalg.cholesky(own) @ np.array(z)).T @ along.T
        self.p = np.repeat((p - (1.0 - share ** 2) * along @ own @ along.T)[None], len(w), axis=0)


class Particles(Bank):
    """Rao-Blackwellised particles: the states `sampled` are drawn, the rest are a Kalman filter a particle, told by each draw
    what the drawn states did (Schon, Gustafsson and Nordlund 2005, algorithm 1; from memory). Resampled systematically
    when fewer than half of the particles count."""

    def __init__(self, x, p, step, sampled, count, rng, heavy=math.inf):
        super().__init__(x, p, step, 1, heavy)
        self.sampled, self.rng = np.asarray(sampled), rng
        self.x, self.p = np.repeat(self.x, count, axis=0), np.repeat(self.p, count, axis=0)
        self.w = np.full(count, 1.0 / count)
        self.settle()

    def settle(self):
        """Draws the sampled states and conditions the rest on the draw."""
        a = self.sampled
        cross = self.p[:, :, a]
        own = cross[:, a, :] + 1e-18 * np.eye(len(a))
        d = np.linalg.cholesky(own) @ self.rng.standard_normal((len(self.w), len(a), 1))
        gain = np.linalg.solve(own, cross.mT).mT
        self.x = self.x + (gain @ d)[:, :, 0]
        self.p = self.p - gain @ cross.mT
        self.p[:, a, :] = 0.0
        self.p[:, :, a] = 0.0

    def carry(self, flow, noise, cols=None):
        super().carry(flow, noise, cols)
        self.settle()

    def weigh(self, y, s):
        super().weigh(y, s)
        count = len(self.w)
        if 1.0 / (self.w ** 2).sum() < 0.5 * count:
            pick = np.searchsorted(np.cumsum(self.w), (np.arange(count) + self.rng.random()) / count).clip(max=count - 1)
            self.x, self.p, self.w = self.x[pick], self.p[pick], np.full(count, 1.0 / count)


def rank_one(low, v, sign):
    """Lower triangular root of low low' + sign v v' (Golub and Van Loan, ch. 6.5)."""
    low, v = low.copy(), v.copy()
    for k in range(len(v)):
        r2 = low[k, k] ** 2 + sign * v[k] ** 2
        if r2 <= 0.0:
            raise np.linalg.LinAlgError("not positive definite")
        r = math.sqrt(r2)
        c, s = r / low[k, k], v[k] / low[k, k]
        low[k, k] = r
        low[k + 1:, k] = (low[k + 1:, k] + sign * s * v[k + 1:]) / c
        v[k + 1:] = c * v[k + 1:] - s * low[k + 1:, k]
    return low


class Unscented:
    """Square-root unscented filter (van der Merwe 2004, algorithm 3.2, from memory): 2n + 1 points, at alpha sqrt(n) deviations."""

    w = np.ones(1)

    def __init__(self, x, p, alpha=0.5, beta=2.0, heavy=math.inf):
        n = len(x)
        self.m, self.low, self.heavy = x.copy(), np.linalg.cholesky(p + 1e-18 * np.eye(n)), heavy
        self.reach = alpha * math.sqrt(n)
        self.wm = np.full(2 * n + 1, 0.5 / self.reach ** 2)
        self.wc = self.wm.copy()
        self.wm[0] = 1.0 - n / self.reach ** 2
        self.wc[0] = self.wm[0] + 1.0 - alpha ** 2 + beta

    def mean(self):
        return self.m

    def cov(self):
        return self.low @ self.low.T

    def draw(self, rng, count):
        d = self.low @ rng.standard_normal((len(self.m), (count + 1) // 2))
        return np.concatenate([self.m[:, None] + d, self.m[:, None] - d], axis=1)[:, :count]

    def open(self, p):
        self.low = np.linalg.cholesky(self.cov() + p)

    def points(self):
        d = self.reach * self.low
        return np.concatenate([self.m[:, None], self.m[:, None] + d, self.m[:, None] - d], axis=1)

    def spread(self, y, mean, more):
        """Triangular root of the points' covariance with the root `more` of some noise."""
        d = y - mean[:, None]
        low = np.linalg.qr(np.concatenate([math.sqrt(self.wc[1]) * d[:, 1:], more], axis=1).T, mode="r").T
        low = low * np.where(np.diag(low) < 0.0, -1.0, 1.0)
        return rank_one(low, math.sqrt(abs(self.wc[0])) * d[:, 0], math.copysign(1.0, self.wc[0]))

    def carry(self, flow, noise, cols=None):
        y = flow(self.points())
        self.m = y @ self.wm
        self.low = self.spread(y, self.m, root(noise(self.m[None, :])[0]))

    def correct(self, z, see, r):
        x = self.points()
        seen = see(x)
        value = seen @ self.wm
        d = seen - value[:, None]
        first, known = (z - value)[None, :], np.maximum((d * d) @ self.wc, 0.0)[None, :]
        r = softened(first, known, r, self.heavy)[0]
        s = self.spread(seen, value, np.diag(np.sqrt(r)))
        cross = ((x - self.m[:, None]) * self.wc) @ d.T
        gain = np.linalg.solve(s.T, np.linalg.solve(s, cross.T)).T
        self.m = self.m + gain @ first[0]
        low = self.low
        for v in (gain @ s).T:
            low = rank_one(low, v, -1.0)
        self.low = low
        return first, known
