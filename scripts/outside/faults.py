"""Faults of devices, each with a size that is drawn between `low` and `high`; from `gross` on a verdict of pass is a failure.

`families` and `causes` are those a reader of the measurement model would accept for what the fault does.
"""

import numpy as np


class Fault:
    name, low, high, gross = "", 0.0, 1.0, 1.0
    families, causes = (), ()
    log = True
    # The least that a device must be for the fault to make sense: report rates that it may have.
    rates = (500, 1000, 2000)
    hits = 0

    def __init__(self, rng):
        u = rng.uniform()
        self.size = float(self.low * (self.high / self.low) ** u if self.log else self.low + (self.high - self.low) * u)

    @property
    def is_gross(self):
        return self.gross is not None and self.size >= self.gross

    def prepare(self, d, style, h):
        """Sets device, hand and host as the fault needs them."""

    def at_sensor(self, frames, d, info, rng):
        """Changes what the sensor counts."""

    def at_reports(self, slots, d, info, rng):
        """Changes what is reported."""


def swipe_spans(frames_t, swipes):
    for a, b, out, pace in swipes:
        i, j = np.searchsorted(frames_t, [a, b])
        yield i, j, out, pace


class LimitFault(Fault):
    """Limits are a share of the fastest speed of the session, so that some swipes reach them: smaller is worse."""

    low, high, gross = 0.45, 0.85, 0.7
    families, causes = ("tracking-loss",), ("sensor", "surface", "unknown")

    @property
    def is_gross(self):
        return self.size <= self.gross


class Hysteresis(LimitFault):
    name = "limit-hysteresis"
    families = ("tracking-loss", "dropout")

    def at_sensor(self, frames, d, info, rng):
        limit = self.size * info["peak"]
        low = limit * rng.uniform(0.3, 0.7)
        blind = hysteresis(frames.speed, limit, low)
        self.hits = int((np.diff(blind.astype(int)) > 0).sum())
        frames.d[blind] = 0


def hysteresis(speed, limit, low):
    """True from where speed passes `limit` until it is below `low`."""
    state = np.where(speed > limit, 1, np.where(speed < low, 0, -1))
    last = np.maximum.accumulate(np.where(state >= 0, np.arange(len(state)), 0))
    return state[last] == 1


class Sag(LimitFault):
    name = "limit-saturates"
    families = ("tracking-loss", "report-ceiling", "gain-change")
    causes = ("sensor", "firmware", "surface", "unknown")

    def at_sensor(self, frames, d, info, rng):
        limit = self.size * info["peak"]
        over = frames.speed > limit
        self.hits = int((np.diff(over.astype(int)) > 0).sum())
        frames.d[over] *= (limit / frames.speed[over])[:, None]


class RandomFrames(LimitFault):
    name = "limit-random-frames"
    families = ("tracking-loss", "gain-change")

    def at_sensor(self, frames, d, info, rng):
        limit = self.size * info["peak"]
        over = frames.speed > limit
        self.hits = int((np.diff(over.astype(int)) > 0).sum())
        frames.d[over & (rng.random(len(over)) < 0.4)] = 0


class SpinOut(LimitFault):
    name = "limit-garbage"
    families = ("spin-out", "tracking-loss")

    def at_sensor(self, frames, d, info, rng):
        limit = self.size * info["peak"]
        for i, j, _, _ in swipe_spans(frames.t, info["swipes"]):
            over = np.flatnonzero(frames.speed[i:j] > limit)
            if len(over):
                a = i + over[0]
                b = min(a + int(rng.uniform(0.02, 0.06) * frames.rate), len(frames.t))
                size = np.hypot(*frames.d[a])
                turn = rng.uniform(0, 2 * np.pi, b - a)
                frames.d[a:b] = (size * rng.uniform(0.2, 1, b - a))[:, None] * np.stack([np.cos(turn), np.sin(turn)], 1)
                self.hits += 1


class Frozen(LimitFault):
    name = "limit-frozen"
    families = ("spin-out", "carry-on", "tracking-loss")

    def at_sensor(self, frames, d, info, rng):
        limit = self.size * info["peak"]
        for i, j, _, _ in swipe_spans(frames.t, info["swipes"]):
            over = np.flatnonzero(frames.speed[i:j] > limit)
            if len(over):
                a = i + over[0]
                b = min(a + int(rng.uniform(0.05, 0.2) * frames.rate), len(frames.t))
                frames.d[a:b] = frames.d[a]
                self.hits += 1


class FullScale(Fault):
    name = "jump-full-scale"
    low, high, gross = 1, 8, 3
    families, causes = ("spin-out",), ("sensor", "firmware", "unknown", "surface")

    def at_reports(self, slots, d, info, rng):
        from device import field

        spans = [(a, b) for a, b, _, p in info["swipes"] if p == "fast"]
        for k in rng.choice(len(spans), min(int(round(self.size)), len(spans)), replace=False):
            a, b = spans[k]
            i = np.searchsorted(slots.t, rng.uniform(a + 0.2 * (b - a), b - 0.2 * (b - a)))
            slots.c[i] = [rng.choice([-1, 1]) * field(d["bits"]), rng.choice([-1, 0, 1]) * field(d["bits"])]
            self.hits += 1


class SensorOff(Fault):
    """Sensor blind for 50 ms at random times of motion; size is how often in the session."""

    name = "sensor-off-50ms"
    low, high, gross = 2, 12, 4
    families, causes = ("dropout", "tracking-loss"), ("sensor", "unknown", "surface", "power-saving", "link")

    def at_sensor(self, frames, d, info, rng):
        spans = [(a, b) for a, b, _, p in info["swipes"]]
        for _ in range(int(round(self.size))):
            a, b = spans[rng.integers(len(spans))]
            t = rng.uniform(a + 0.2 * (b - a), b - 0.35 * (b - a))
            i, j = np.searchsorted(frames.t, [t, t + 0.05])
            frames.d[i:j] = 0
            self.hits += 1


class RadioLost(Fault):
    """Bursts of lost reports, per second of motion."""

    name = "radio-lost"
    low, high, gross = 0.3, 4, 1.0
    families, causes = ("dropout",), ("link", "unknown")
    late = False
    rates = (125, 500, 1000)

    def prepare(self, d, style, h):
        d["link"] = "radio"

    def at_reports(self, slots, d, info, rng):
        for a, b, _, _ in info["swipes"]:
            for _ in range(rng.poisson(self.size * (b - a))):
                i = np.searchsorted(slots.t, rng.uniform(a, b))
                n = max(int(round(np.exp(rng.uniform(np.log(0.006), np.log(0.03))) / slots.step)), 2)
                (slots.hold if self.late else slots.lose)(i, i + n)
                self.hits += 1


class RadioHeld(RadioLost):
    name = "radio-held"
    late = True


class PeriodicStall(Fault):
    """Every 125 or 250 ms the device says nothing for `size` ms; its counts come afterwards or not at all."""

    name = "periodic-stall-held"
    low, high, gross = 6, 25, 10
    families, causes = ("dropout", "report-interval"), ("link", "firmware", "power-saving", "unknown")
    late = True

    def at_reports(self, slots, d, info, rng):
        period = rng.choice([0.125, 0.25])
        n = max(int(round(self.size / 1000 / slots.step)), 2)
        for t in np.arange(rng.uniform(0, period), slots.t[-1] - 0.1, period):
            i = np.searchsorted(slots.t, t)
            (slots.hold if self.late else slots.lose)(i, i + n)
            self.hits += 1


class PeriodicLoss(PeriodicStall):
    name = "periodic-stall-lost"
    late = False
    causes = ("link", "firmware", "power-saving", "sensor", "unknown")


class SwipeGain(Fault):
    """The resolution changes from swipe to swipe, by `size` percent either way."""

    name = "resolution-wanders"
    low, high, gross = 2, 10, 6
    families = ("gain-change", "resolution", "tracking-loss")
    causes = ("sensor", "firmware", "unknown", "surface", "step-change", "operator")

    def at_sensor(self, frames, d, info, rng):
        for i, j, _, _ in swipe_spans(frames.t, info["swipes"]):
            frames.d[i:j] *= 1 + self.size / 100 * rng.uniform(-1, 1)
            self.hits += 1


class StepJump(Fault):
    """The resolution of another step from one swipe on, and back later."""

    name = "step-jumps"
    low, high, gross = 1.5, 2.0, 1.5
    families, causes = ("gain-change", "resolution", "tracking-loss"), ("step-change", "firmware", "operator", "sensor", "unknown")

    def at_sensor(self, frames, d, info, rng):
        fast = [s for s in info["swipes"] if s[3] == "fast"]
        k = rng.integers(5, len(fast) - 12)
        i = np.searchsorted(frames.t, fast[k][0] - 0.03)
        j = np.searchsorted(frames.t, fast[k + int(rng.integers(3, 10))][0] - 0.03)
        frames.d[i:j] *= self.size
        self.hits = 1


class GainRises(Fault):
    name = "gain-rises"
    low, high, gross = 3, 10, 6
    families, causes = ("gain-change",), ("firmware", "sensor", "unknown", "surface")

    def at_sensor(self, frames, d, info, rng):
        u = np.clip(frames.speed / info["peak"], 0, 1)
        frames.d *= (1 + self.size / 100 * u * u * (3 - 2 * u))[:, None]
        self.hits = 1


class GainFalls(GainRises):
    name = "gain-falls"

    def at_sensor(self, frames, d, info, rng):
        self.size = -self.size
        super().at_sensor(frames, d, info, rng)
        self.size = -self.size


class Clip(Fault):
    """Firmware holds counts at 63 or 127 in a wider field; the rest is gone, or is handed on (`late`)."""

    name = "firmware-clip"
    low, high, gross = 0.4, 0.85, 0.7
    families, causes = ("report-ceiling",), ("firmware", "report-format")
    late = False
    rates = (125, 250, 500)

    @property
    def is_gross(self):
        return self.size <= self.gross

    def at_reports(self, slots, d, info, rng):
        # The resolution is such that the clip lies at `size` of the fastest counts of the session.
        top = np.abs(slots.c).max()
        clip = 63 if top * self.size < 90 else 127
        if clip > self.size * top:
            clip = int(self.size * top)
        rest = np.zeros(2, np.int64)
        for i in np.flatnonzero((np.abs(slots.c) > clip).any(axis=1)):
            self.hits += 1
            if self.late:
                k = i
                rest = slots.c[k] - np.clip(slots.c[k], -clip, clip)
                slots.c[k] -= rest
                if k + 1 < len(slots.c):
                    slots.c[k + 1] += rest
                    # The next slot may now lie above the clip itself: carried on until it fits.
                    while (np.abs(slots.c[k + 1]) > clip).any() and k + 2 < len(slots.c):
                        k += 1
                        rest = slots.c[k] - np.clip(slots.c[k], -clip, clip)
                        slots.c[k] -= rest
                        slots.c[k + 1] += rest
            else:
                slots.c[i] = np.clip(slots.c[i], -clip, clip)


class ClipLate(Clip):
    name = "firmware-clip-late"


ClipLate.late = True


class Creep(Fault):
    name = "creep"
    low, high, gross = 0.2, 5, 1.0
    families, causes = ("drift",), ("sensor", "surface", "unknown", "firmware")

    def at_sensor(self, frames, d, info, rng):
        turn = rng.uniform(0, 2 * np.pi)
        still = frames.speed < 1e-4
        v = self.size * frames.dt * frames.per_mm[still]
        frames.d[still] += np.stack([v * np.cos(turn), v * np.sin(turn)], 1)
        self.hits = 1


class JitterRest(Fault):
    """One count to and fro at rest, per second."""

    name = "jitter-rest"
    low, high, gross = 5, 100, None  # a count to and fro is told; no tolerance is asked of it
    families, causes = ("drift",), ("sensor", "surface", "unknown", "firmware")

    def at_reports(self, slots, d, info, rng):
        for a, b in info["still"]:
            i, j = np.searchsorted(slots.t, [a, b])
            n = rng.poisson(self.size / 2 * (b - a))
            at = rng.integers(i, j - 30, n)
            axis = rng.integers(0, 2, n)
            sign = rng.choice([-1, 1], n)
            np.add.at(slots.c, (at, axis), sign)
            np.add.at(slots.c, (at + rng.integers(1, 30, n), axis), -sign)
            self.hits += n


class JumpsRest(Fault):
    """Jumps of 5 to 60 counts in one report, so many in a minute of rest."""

    name = "jumps-rest"
    low, high, gross = 10, 60, 30
    families, causes = ("drift",), ("sensor", "surface", "unknown", "firmware")

    def at_reports(self, slots, d, info, rng):
        for a, b in info["still"]:
            n = max(1, rng.poisson(self.size / 60 * (b - a)))
            i, j = np.searchsorted(slots.t, [a, b])
            for k in rng.integers(i, j, n):
                slots.c[k] += (np.exp(rng.uniform(np.log(5), np.log(60))) * rng.choice([-1, 1], 2)).astype(int)
                self.hits += 1


class LateWake(Fault):
    """After rest of more than 0.4 s the first `size` mm of motion are not counted."""

    name = "late-wake"
    low, high, gross = 3, 25, 8
    families, causes = ("wake-up", "tracking-loss"), ("power-saving", "firmware", "sensor", "unknown")

    def prepare(self, d, style, h):
        style["pause"] = (0.15, 1.6)

    def at_sensor(self, frames, d, info, rng):
        last = 0.0
        for a, b, _, _ in info["swipes"]:
            if a - last > 0.4:
                i, j = np.searchsorted(frames.t, [a, b])
                gone = np.cumsum(np.hypot(frames.mm[i:j, 0], frames.mm[i:j, 1])) < self.size
                frames.d[i:j][gone] = 0
                self.hits += 1
            last = b


class Snap(Fault):
    """Motion within `size` degrees of an axis is laid on it."""

    name = "snaps-to-axis"
    low, high, gross = 3, 10, 5
    families, causes = ("straightening",), ("firmware",)

    def prepare(self, d, style, h):
        # Seen where the direction turns through the axis: by free hand, in an arc.
        style.update(free=True, arc=450.0, follow=0.1, wander=1.0)
        d["angle"] = 0.0

    def at_reports(self, slots, d, info, rng):
        c = slots.c
        near = np.abs(c[:, 1]) < np.tan(np.radians(self.size)) * np.abs(c[:, 0])
        self.hits = int((near & (c[:, 1] != 0)).sum())
        c[near, 1] = 0


class RaggedRate(Fault):
    """Makes a report every `size` polls, so that some polls bring none, in turn."""

    name = "rate-ragged"
    low, high, gross = 1.2, 1.8, None  # no maker says that it is not so
    families, causes = ("report-interval",), ("firmware", "link", "report-format", "unknown", "host", "sensor")

    def at_reports(self, slots, d, info, rng):
        due = np.floor(np.arange(len(slots.t)) / self.size)
        fresh = np.diff(due, prepend=-1) > 0
        # What is counted meanwhile waits for the next slot with a report.
        first = np.flatnonzero(fresh)
        total = np.concatenate([[[0, 0]], np.cumsum(slots.c, axis=0)])[first + 1]
        slots.c[:] = 0
        slots.c[first] = np.diff(total, axis=0, prepend=[[0, 0]])
        slots.silent = ~fresh
        self.hits = 1


class WrongScale(Fault):
    """Another resolution than the step says, by `size` percent."""

    name = "resolution-off"
    low, high, gross = 8, 40, 15
    families, causes = ("resolution",), ("sensor", "firmware", "unknown", "surface", "step-change")

    def prepare(self, d, style, h):
        d["error"] = self.size / 100 * (1 if int(self.size * 1e6) % 2 else -0.8)
        self.hits = 1


class CarryOn(Fault):
    """After the stop it goes on: `size` mm more, decaying."""

    name = "carries-on"
    low, high, gross = 4, 30, 8
    # Counts that fade right after the stop look like a gentle arrival: only the length tells, as it does a gain.
    families, causes = ("carry-on", "spin-out", "gain-change"), ("firmware", "sensor", "unknown")

    def at_sensor(self, frames, d, info, rng):
        for (a, b, out, pace), after in zip(info["swipes"], info["swipes"][1:] + [(1e9,)]):
            if pace != "fast":
                continue
            i, j = np.searchsorted(frames.t, [b, min(b + 0.12, after[0] - 0.01)])
            if j - i < 50:
                continue
            w = np.exp(-np.arange(j - i) / (j - i) * 4)
            way = frames.d[np.searchsorted(frames.t, a) : i].sum(axis=0)
            per = np.hypot(*way) / 300
            frames.d[i:j] += (w / w.sum() * self.size * per)[:, None] * way / np.hypot(*way)
            self.hits += 1


class OutBack(Fault):
    """One direction counts `size` percent more than the other."""

    name = "out-and-back-differ"
    low, high, gross = 2, 10, 6
    families, causes = ("resolution", "gain-change"), ("sensor", "firmware", "surface", "unknown")

    def at_sensor(self, frames, d, info, rng):
        for i, j, out, _ in swipe_spans(frames.t, info["swipes"]):
            frames.d[i:j] *= 1 + (0.5 if out else -0.5) * self.size / 100
        self.hits = 1


ALL = [Hysteresis, Sag, RandomFrames, SpinOut, Frozen, FullScale, SensorOff, RadioLost, RadioHeld, PeriodicStall, PeriodicLoss, SwipeGain, StepJump, GainRises, GainFalls,
       Clip, ClipLate, Creep, JitterRest, JumpsRest, LateWake, Snap, RaggedRate, WrongScale, CarryOn, OutBack]
