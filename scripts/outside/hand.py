"""A hand that moves a device between two stops: where it is and how it is turned, at every tenth of a millisecond.

Other than a minimum-jerk hand on a straight course: skewed bells, plateaus, second movements, gentle arrivals, strikes
with rebound, arcs about an elbow, yaw, tremor, restless pauses. Lengths in mm, times in s, angles in radians.

Sources: lognormal and delta-lognormal speed (Plamondon, Biol Cybern 72:295, 1995), skew that goes with speed (Nagasaki,
Exp Brain Res 74:319, 1989), tremor 8-12 Hz of some 10-50 um (Lakie, J Physiol 2015; Arch Neurol 39:358, 1982). Figures
of strikes and pauses: common practice, no source.
"""

import numpy as np

STEP = 1e-4  # s between points of the path
FASTEST = 4.5  # m/s, what a hand does at the most here
HARDEST = 70.0  # m/s^2, the same for the arm's own acceleration

U = np.linspace(0.0, 1.0, 2001)


def speed_shape(kind, rng):
    """Speed against time, both relative; and what is left of the speed when the stop is struck."""
    r = rng.uniform
    if kind == "min-jerk":
        v = U**2 * (1 - U) ** 2
    elif kind == "lognormal":
        s, mode = r(0.25, 0.5), r(0.3, 0.5)
        mu = np.log(mode) + s * s
        v = np.exp(-((np.log(np.maximum(U, 1e-6)) - mu) ** 2) / (2 * s * s)) / np.maximum(U, 1e-6)
        v = taper(np.maximum(v - U * v[-1], 0.0), 0.04)
    elif kind == "delta-lognormal":
        s1, s2, m1 = r(0.3, 0.45), r(0.25, 0.4), r(0.34, 0.48)
        part = r(0.03, 0.12)
        one = lognormal(m1, s1)
        two = lognormal(m1 * r(1.5, 1.8), s2)
        v = np.maximum(one - part * two, 0.0)
        v = taper(v, 0.06)
    elif kind == "beta":
        v = U ** r(2, 4.5) * (1 - U) ** r(2, 4.5)
    elif kind == "plateau":
        up, down = r(0.15, 0.4), r(0.15, 0.4)
        v = np.ones_like(U)
        v = np.where(U < up, 0.5 - 0.5 * np.cos(np.pi * U / up), v)
        v = np.where(U > 1 - down, 0.5 - 0.5 * np.cos(np.pi * (1 - U) / down), v)
        v *= 1 + r(-0.15, 0.15) * (U - 0.5) + r(0, 0.06) * np.sin(2 * np.pi * r(2, 4) * U)
    elif kind == "submovements":
        reach, first = r(0.85, 0.97), r(0.5, 0.75)
        v = reach * bell(0.0, first, rng)
        rest, start = 1 - reach, first * r(0.7, 1.05)
        if rng.random() < 0.4:
            share = r(0.5, 0.8)
            v = v + rest * share * bell(start, min(start + 0.25, 0.85), rng)
            v = v + rest * (1 - share) * bell(r(0.65, 0.75), 1.0, rng)
        else:
            v = v + rest * bell(start, 1.0, rng)
    elif kind == "gentle":
        peak, tail = r(0.15, 0.3), r(0.12, 0.25)
        v = np.where(U < peak, np.sin(0.5 * np.pi * np.minimum(U / peak, 1)) ** 2, np.exp(-(np.maximum(U - peak, 0) ** 1.2) / tail))
        v = taper(np.convolve(np.pad(v, 40, mode="edge"), np.hanning(81) / 40, "valid")[: U.size] * 1.0, 0.05)
    elif kind == "strike":
        v = U ** r(2, 3) * (1 - U) ** r(1.6, 2.6)
        cut = U[np.argmax(v)] + (1 - U[np.argmax(v)]) * r(0.25, 0.7)
        v = np.interp(U * cut, U, v)
        return v, v[-1]
    else:
        raise ValueError(kind)
    return v, 0.0


def taper(v, width):
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.minimum(np.minimum(U, 1 - U) / width, 1))
    return v * ramp


def lognormal(mode, s):
    mu = np.log(mode) + s * s
    u = np.maximum(U, 1e-6)
    v = np.exp(-((np.log(u) - mu) ** 2) / (2 * s * s)) / u
    return v / (v.sum() * (U[1] - U[0]))


def bell(start, end, rng):
    w = np.clip((U - start) / (end - start), 0, 1)
    v = w ** rng.uniform(1.8, 3) * (1 - w) ** rng.uniform(1.8, 3)
    return v / (v.sum() * (U[1] - U[0]))


class Path:
    """Pieces of place along, place across and heading, put end to end on one grid of time."""

    def __init__(self):
        self.along, self.across, self.heading, self.n = [], [], [], 0
        self.at, self.side, self.turned = 0.0, 0.0, 0.0

    @property
    def now(self):
        return self.n * STEP

    def add(self, along, across=None, heading=None):
        n = len(along)
        if n == 0:
            return
        across = np.full(n, self.side) if across is None else across
        heading = np.full(n, self.turned) if heading is None else heading
        self.along.append(along), self.across.append(across), self.heading.append(heading)
        self.at, self.side, self.turned = along[-1], across[-1], heading[-1]
        self.n += n

    def rest(self, seconds):
        self.add(np.full(int(round(seconds / STEP)), self.at))

    def arrays(self):
        return np.concatenate(self.along), np.concatenate(self.across), np.concatenate(self.heading)


def smooth_noise(n, hz, rng):
    """Slow noise of unit spread that begins and ends at nothing."""
    knots = max(int(n * STEP * hz * 2) + 2, 4)
    w = rng.normal(size=knots)
    w[0] = w[-1] = 0.0
    u = np.linspace(0, knots - 1, n)
    i = np.minimum(u.astype(int), knots - 2)
    f = u - i
    f = f * f * (3 - 2 * f)
    return w[i] * (1 - f) + w[i + 1] * f


def tremor(n, rng):
    """8-12 Hz with its strength wandering, unit peak about, nothing at both ends."""
    t = np.arange(n) * STEP
    phase = 2 * np.pi * (rng.uniform(8, 12) * t + 0.15 * smooth_noise(n, 1.5, rng)) + rng.uniform(0, 6.28)
    edge = np.minimum(1, np.minimum(t, t[::-1]) / 0.05)
    return np.sin(phase) * (0.7 + 0.3 * smooth_noise(n, 1.0, rng)) * edge


class Hand:
    """Habits of one person over one session; `style` is a dict of them, see `style`."""

    def __init__(self, rng, travel, style, edge):
        self.rng, self.travel, self.style, self.edge = rng, travel, style, edge
        self.path = Path()
        self.swipes = []  # (from, to, out?, pace)
        self.where = 0  # stop at which it rests
        if style["arc"]:
            self.path.turned = (style["follow"] + style["follow_by_pace"]["slow"]) * np.arcsin(travel / 2 / style["arc"])

    def duration(self, pace):
        s = self.style
        centre, spread = {"slow": (s["slow"], 0.15), "medium": (s["medium"], 0.12), "fast": (s["fast"], s["uneven"])}[pace]
        return centre * np.exp(self.rng.normal(0, spread))

    def swipe(self, pace):
        rng, s, p = self.rng, self.style, self.path
        kind = s["shapes"][rng.integers(len(s["shapes"]))]
        if pace == "slow" and kind == "strike" and rng.random() < 0.7:
            kind = "beta"
        v, left = speed_shape(kind, rng)
        area = v.sum() * (U[1] - U[0])
        v = v / area
        target = rng.normal(0, s["placing"]) + (0 if self.where else self.travel)
        start = p.at
        dist = target - start
        t = self.duration(pace)
        # A hand has limits: slower, if the shape asked for more.
        peak = v.max() * abs(dist) / 1000
        acc = np.abs(np.diff(v)[:-1]).max() / (U[1] - U[0]) * abs(dist) / 1000
        t = max(t, peak / FASTEST, np.sqrt(acc / HARDEST))
        n = max(int(round(t / STEP)), 20)
        x = np.concatenate([[0], np.cumsum((v[1:] + v[:-1]) / 2)])
        x /= x[-1]
        place = np.interp(np.arange(1, n + 1) / n, U, x)
        begin = p.now
        along = start + dist * place
        side, turn = self.course(along, pace, begin)
        tremble = s["tremor"] * tremor(n, rng)
        along = along + tremble
        side = side + s["tremor"] * tremor(n, rng) * (0.2 if self.edge else 1)
        p.add(along, side, turn)
        speed = left / area * abs(dist) / t
        if speed > 20:
            self.strike(target, np.sign(dist), min(speed, 2500))
        self.swipes.append((begin, p.now, self.where == 0, pace))
        self.where = 1 - self.where

    def course(self, along, pace, begin):
        """Across and heading of a swipe, from where it stands now."""
        rng, s, n = self.rng, self.style, len(along)
        side, turn = np.full(n, self.path.side), np.full(n, self.path.turned)
        if self.edge:
            return side + 0.03 * smooth_noise(n, 4, rng), turn + np.radians(0.1) * smooth_noise(n, 3, rng)
        if s["arc"]:
            r, half = s["arc"], self.travel / 2
            off = np.clip(along - half, -0.98 * r, 0.98 * r)
            now = np.sqrt(r * r - off * off) - np.sqrt(r * r - half * half)
            tangent = -np.arcsin(off / r)
            follow = s["follow"] + s["follow_by_pace"][pace]
            # From the pose it has to the pose of the arc, within the swipe.
            u = np.linspace(0, 1, n)
            u = u * u * (3 - 2 * u)
            side = now + (self.path.side - now[0]) * (1 - u)
            turn = follow * tangent + (self.path.turned - follow * tangent[0]) * (1 - u)
        if s["yaw"]:
            end = np.radians(rng.normal(0, s["yaw"] / 2))
            u = np.linspace(0, 1, n)
            u = u * u * (3 - 2 * u)
            turn = turn + (end - self.path.turned) * u if not s["arc"] else turn
        return side + s["wander"] * smooth_noise(n, 2.5, rng), turn

    def strike(self, target, sign, speed):
        """Against the stop at `speed` mm/s: pressed in, thrown back, pushed home, until it rests."""
        rng, p = self.rng, self.path
        give, push = rng.uniform(0.001, 0.003), rng.uniform(15, 50) * 1000
        # A hand holds it: thrown back by some millimetres at the most.
        back = min(rng.uniform(0.1, 0.4), np.sqrt(2 * push * rng.uniform(0.5, 6)) / speed)
        for _ in range(6):
            if speed < 15:
                break
            n = max(int(give / STEP), 2)
            deep = speed * 2 * give / np.pi
            out = max(int(give / back / STEP), 2)
            press = np.sin(0.5 * np.pi * np.arange(1, n + 1) / n)
            loose = np.cos(0.5 * np.pi * np.arange(1, out + 1) / out)
            p.add(target + sign * deep * np.concatenate([press, loose]))
            speed *= back
            m = int(2 * speed / push / STEP)
            tau = np.arange(1, m + 1) * STEP
            p.add(target - sign * np.maximum(speed * tau - 0.5 * push * tau * tau, 0))
            give *= 0.9
        p.add(np.linspace(p.at, target, 20))

    def pause(self):
        rng, s, p = self.rng, self.style, self.path
        low, high = s["pause"]
        t = np.exp(rng.uniform(np.log(low), np.log(high)))
        n = int(t / STEP)
        away = 1 if self.where == 0 else -1
        along = np.full(n, p.at)
        side, turn = np.full(n, p.side), np.full(n, p.turned)
        if s["wiggle"] and t > 0.2:
            along = along + away * s["wiggle"] * np.abs(smooth_noise(n, 1.5, rng))
            side = side + s["wiggle"] * smooth_noise(n, 1.5, rng) * (0.3 if self.edge else 1)
            turn = turn + np.radians(0.2) * smooth_noise(n, 1.0, rng) * (0.3 if self.edge else 1)
        if s["taps"] and t > 0.5 and rng.random() < s["taps"]:
            m, far = int(rng.uniform(0.15, 0.3) / STEP), rng.uniform(0.8, 5)
            i = int(rng.uniform(0.05, 0.3) * n)
            if i + m < n:
                along[i : i + m] += away * far * np.sin(np.pi * np.linspace(0, 1, m)) ** 2
        if n > 100:
            along = along + 0.3 * s["tremor"] * tremor(n, rng)
        p.add(along, side, turn)


def style(trait, rng):
    """Habits with one trait that stands out."""
    r = rng.uniform
    s = dict(
        shapes=["beta", "lognormal", "submovements", "plateau", "gentle"], slow=r(0.9, 1.6), medium=r(0.45, 0.6),
        fast=r(0.18, 0.34), uneven=0.12, placing=r(0.08, 0.25), tremor=r(0.003, 0.02), arc=None, follow=0.0,
        follow_by_pace=dict(slow=0, medium=0, fast=0), yaw=0.0, wander=0.0, wiggle=0.0, taps=0.0, pause=(0.2, 0.8), free=False,
    )
    if trait in ("min-jerk", "lognormal", "delta-lognormal", "beta", "plateau", "submovements", "gentle", "strike"):
        s["shapes"] = [trait]
    elif trait == "mixed":
        s["shapes"] += ["strike", "delta-lognormal"]
    elif trait == "arc":
        s.update(free=True, arc=r(350, 700), follow=r(0, 0.5), wander=0.8)
        s["follow_by_pace"] = {k: rng.normal(0, 0.04) for k in ("slow", "medium", "fast")}
    elif trait == "yaw":
        s.update(free=True, yaw=r(2, 6), wander=1.0)
    elif trait == "free":
        s.update(free=True, wander=2.0, yaw=1.0)
    elif trait == "tremor":
        s.update(tremor=r(0.03, 0.06))
    elif trait == "restless":
        s.update(wiggle=r(0.05, 0.4), taps=0.4, pause=(0.4, 2.5))
    elif trait == "short-pauses":
        s.update(pause=(0.05, 0.2))
    elif trait == "long-pauses":
        s.update(pause=(1.0, 4.0))
    elif trait == "uneven":
        s.update(uneven=0.4)
    elif trait == "placing":
        s.update(placing=r(0.4, 0.8))
    else:
        raise ValueError(trait)
    return s


TRAITS = ["min-jerk", "lognormal", "delta-lognormal", "beta", "plateau", "submovements", "gentle", "strike", "mixed", "arc", "yaw",
          "free", "tremor", "restless", "short-pauses", "long-pauses", "uneven", "placing"]
