"""A device: sensor frames, smoothing, counts, report slots, fields; and a host that stamps what arrives.

Every place where a fault can sit is a hook that `faults.py` may fill. Rates in Hz, lengths in mm, times in s of true time,
which is the host's own clock; a device's rate may be off it.
"""

import numpy as np
from scipy.signal import lfilter

from hand import STEP


def device(trait, rng):
    """A sound device with one trait that stands out."""
    r = rng.uniform
    d = dict(rate=1000, bits=16, cpi=float(rng.choice([800, 1600, 2400])), frames=r(5200, 8000), smooth=None, quantise="floor", angle=np.radians(r(-1.5, 1.5)),
             error=rng.normal(0, 0.006), square=rng.normal(0, 0.002), noise=0.006, ppm=rng.normal(0, 30), zeros=0.0, report_id=bool(rng.random() < 0.4), link="cable",
             lever=(r(-5, 5), r(-20, 20)))
    if trait.endswith("Hz"):
        d["rate"] = int(trait[:-2])
        if d["rate"] > 1000:
            d["frames"] = r(1.3, 2.1) * d["rate"] if d["rate"] >= 8000 else r(9000, 12000)
            d["cpi"] = float(rng.choice([1600, 3200, 6400]))
        elif d["rate"] <= 250:
            d["frames"] = r(2000, 6600)
    elif trait == "8-bit":
        # Its own limit must lie above what the hand does: see `fits`.
        d.update(bits=8, rate=int(rng.choice([500, 1000])), cpi=float(rng.choice([400, 600, 800])))
    elif trait == "12-bit":
        d.update(bits=12, rate=int(rng.choice([125, 500, 1000])))
    elif trait == "truncates":
        d.update(quantise="toward-zero")
    elif trait == "rounds":
        d.update(quantise="round")
    elif trait == "beat":
        d.update(frames=d["rate"] * r(1.05, 1.95))
    elif trait == "fir":
        d.update(smooth=("fir", int(r(4, 24))))
    elif trait == "iir":
        d.update(smooth=("iir", r(0.0005, 0.002)))
    elif trait == "angle":
        d.update(angle=np.radians(r(4, 10) * rng.choice([-1, 1])))
    elif trait == "scale":
        d.update(error=rng.choice([-1, 1]) * r(0.01, 0.025))
    elif trait == "noisy":
        d.update(noise=r(0.01, 0.03))
    elif trait == "zeros-a-while":
        d.update(zeros=float(np.exp(r(np.log(0.02), np.log(1.0)))))
    elif trait == "zeros-always":
        d.update(zeros=1e9, rate=int(rng.choice([125, 500, 1000])))
    elif trait == "radio":
        d.update(link="radio", ppm=rng.normal(0, 40))
    elif trait == "500ppm":
        d.update(ppm=rng.choice([-1, 1]) * 500.0)
    elif trait == "low-res":
        d.update(cpi=float(rng.choice([400, 500])))
    elif trait == "high-res":
        d.update(cpi=float(rng.choice([6400, 12000])))
    elif trait != "plain":
        raise ValueError(trait)
    return d


TRAITS = ["plain", "125Hz", "250Hz", "500Hz", "2000Hz", "4000Hz", "8000Hz", "8-bit", "12-bit", "truncates", "rounds", "beat", "fir", "iir", "angle", "scale", "noisy",
          "zeros-a-while", "zeros-always", "radio", "500ppm", "low-res", "high-res"]


def field(bits):
    """The largest count that a report holds either way."""
    return {8: 127, 12: 2047, 16: 32767}[bits]


def fits(d, fastest):
    """True if no count of the fastest swipe, in m/s, comes near the field's end."""
    return fastest * 1000 * d["cpi"] / 25.4 / d["rate"] * 1.25 + 8 < field(d["bits"])


class Frames:
    """What the sensor sees: per frame its time, the displacement in its own axes (counts, not yet whole) and the speed (m/s)."""

    def __init__(self, d, pose, cpi, rng):
        """`cpi` is the nominal resolution at each point of the path: steps change it."""
        along, across, heading = pose
        total = len(along) * STEP
        self.rate = d["frames"]
        self.dt = 1 / self.rate
        self.t = np.arange(rng.uniform(0, 1) * self.dt, total - STEP, self.dt)
        grid = np.arange(len(along)) * STEP
        lx, ly = d["lever"]
        c, s = np.cos(heading), np.sin(heading)
        x = np.interp(self.t, grid, along + c * lx - s * ly)
        y = np.interp(self.t, grid, across + s * lx + c * ly)
        h = np.interp(self.t, grid, heading)
        dx, dy = np.diff(x, prepend=x[0]), np.diff(y, prepend=y[0])
        turn = h + d["angle"]
        c, s = np.cos(turn), np.sin(turn)
        u, v = c * dx + s * dy, -s * dx + c * dy
        self.speed = np.hypot(u, v) / self.dt / 1000
        self.mm = np.stack([u, v], 1)
        self.per_mm = cpi[np.minimum((self.t / STEP).astype(int), len(cpi) - 1)] / 25.4
        gain = self.per_mm * (1 + d["error"])
        self.d = np.stack([u * gain, v * gain * (1 + d["square"])], 1)
        moving = self.speed > 0
        # Noise of the sensor: in proportion to what it saw, and of the place, which does not add up.
        k = int(moving.sum())
        self.d[moving] *= 1 + rng.normal(0, d["noise"], (k, 2))
        place = np.zeros_like(self.d)
        place[moving] = rng.normal(0, 0.05, (k, 2))
        shown = self.speed > 0.002
        place[~shown] = 0
        self.d += np.diff(place, axis=0, prepend=place[:1])


def smooth(how, d, rate):
    if how is None:
        return d
    if how[0] == "fir":
        n = max(how[1], 1)
        return lfilter(np.ones(n) / n, [1.0], d, axis=0)
    a = np.exp(-1 / (how[1] * rate))
    return lfilter([1 - a], [1.0, -a], d, axis=0)


def quantise(how, d, rng):
    total = np.cumsum(d, axis=0)
    if how == "floor":
        whole = np.floor(total + rng.uniform(0, 1, 2))
    elif how == "round":
        whole = np.rint(total)
    else:
        # Truncated toward zero, the rest carried: a play of one count where the direction turns.
        whole = np.zeros_like(total)
        for axis in range(2):
            col, out, n = total[:, axis].tolist(), [], 0
            for x in col:
                if x >= n + 1:
                    n = int(np.floor(x))
                elif x <= n - 1:
                    n = int(np.ceil(x))
                out.append(n)
            whole[:, axis] = out
    return np.diff(whole, axis=0, prepend=np.zeros((1, 2))).astype(np.int64)


class Slots:
    """Counts per report slot, which slots are sent, and when they reach the host."""

    def __init__(self, frames, counts, d, rng):
        step = 1 / d["rate"] * (1 + d["ppm"] * 1e-6)
        self.step = step
        self.t = np.arange(rng.uniform(0, 1) * step, frames.t[-1], step)
        total = np.concatenate([[[0, 0]], np.cumsum(counts, axis=0)])
        seen = np.searchsorted(frames.t, self.t, side="right")
        self.c = np.diff(total[seen], axis=0, prepend=[[0, 0]])
        self.v = np.concatenate([frames.speed, [0]])[np.minimum(seen, len(frames.speed) - 1)]
        self.silent = np.zeros(len(self.t), bool)  # the fault's doing
        self.forced = np.zeros(len(self.t), bool)

    def hold(self, i, j):
        """Slots i to j send nothing; slot j brings their counts."""
        j = min(j, len(self.t) - 1)
        self.c[j] += self.c[i:j].sum(axis=0)
        self.c[i:j] = 0
        self.silent[i:j] = True

    def lose(self, i, j):
        self.c[i:j] = 0
        self.silent[i:j] = True


def host(trait, rng):
    """How the host stamps: scale of its delay in s, and what else it does."""
    h = dict(jitter=10e-6, tail=0.0, pairs=0.0, stalls=0, coarse=0.0)
    if trait == "100us":
        h["jitter"] = 100e-6
    elif trait == "500us":
        h["jitter"] = 500e-6
    elif trait == "heavy-tails":
        h.update(jitter=30e-6, tail=0.004)
    elif trait == "pairs":
        h.update(jitter=20e-6, pairs=0.03)
    elif trait == "stalls":
        h.update(jitter=30e-6, stalls=int(rng.integers(2, 12)))
    elif trait == "coarse":
        h.update(coarse=0.015625)
    elif trait != "quiet":
        raise ValueError(trait)
    return h


HOSTS = ["quiet", "100us", "500us", "heavy-tails", "pairs", "stalls", "coarse"]


def stamps(sent, step, h, rng):
    """Receive times (ns), places in the batch that was drained at once, and recorded stalls [(end ns, length ns)]."""
    n = len(sent)
    t = sent + 30e-6 + rng.exponential(h["jitter"], n)
    if h["tail"]:
        late = rng.random(n) < h["tail"]
        t = t + late * np.minimum(np.exp(rng.normal(np.log(0.6e-3), 0.8, n)), 1.9e-3)
    if h["pairs"]:
        # One waits for the next in the controller: two come at once.
        first = np.flatnonzero(rng.random(n) < h["pairs"])
        first = first[first + 1 < n]
        near = sent[first + 1] - sent[first] < 1.5 * step
        t[first[near]] = np.maximum(t[first[near]], t[first[near] + 1] - 8e-6)
    stalls = []
    if h["stalls"] and n:
        for _ in range(h["stalls"]):
            end = rng.uniform(sent[0], sent[-1])
            length = np.exp(rng.uniform(np.log(2e-3), np.log(25e-3)))
            held = (t > end - length) & (t < end)
            t[held] = end + 20e-6
            stalls.append((int((end + 10e-6) * 1e9), int(length * 1e9)))
    ns = np.round(t * 1e9).astype(np.int64)
    if h["coarse"]:
        tick = int(h["coarse"] * 1e9)
        ns = ns // tick * tick
        ns = np.maximum.accumulate(ns) if n else ns
        return ns, np.zeros(n, int), stalls
    if n:
        # First in, first out: each at least 2 us after the one before. What waits for another is read with it.
        i = np.arange(n) * 2000
        ns = np.maximum.accumulate(ns - i) + i
    with_last = np.diff(ns, prepend=-(10**9)) <= 10_000
    first = np.maximum.accumulate(np.where(with_last, 0, np.arange(n)))
    return ns, np.arange(n) - first, stalls
