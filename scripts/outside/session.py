"""A session file from a hand, a device, a host and perhaps a fault."""

import json

import numpy as np

import device as dev
import hand as hands

DESCRIPTOR_HEAD = "05010902a1010901a100"
BUTTONS = "0509190129031500250195037501810295017505" + "8101"


def descriptor(bits, report_id):
    low, high = {8: ("1581", "257f"), 12: ("1601f8", "26ff07"), 16: ("160180", "26ff7f")}[bits]
    axes = "050109300931" + low + high + f"75{bits:02x}" + "95028106"
    wheel = "0938" + "1581257f" + "750895018106"
    return DESCRIPTOR_HEAD + ("8501" if report_id else "") + BUTTONS + axes + wheel + "c0c0"


def pack(c, bits, report_id):
    """Reports as hex, one a row of counts."""
    n = len(c)
    x, y = c[:, 0] & ((1 << bits) - 1), c[:, 1] & ((1 << bits) - 1)
    if bits == 8:
        cols = [x, y]
    elif bits == 12:
        both = x | (y << 12)
        cols = [both & 255, (both >> 8) & 255, both >> 16]
    else:
        cols = [x & 255, x >> 8, y & 255, y >> 8]
    zero = np.zeros(n, np.int64)
    cols = ([np.ones(n, np.int64)] if report_id else []) + [zero] + cols + [zero]
    raw = np.stack(cols, 1).astype(np.uint8)
    text, width = raw.tobytes().hex(), raw.shape[1] * 2
    return [text[i * width : (i + 1) * width] for i in range(n)]


def make(rng, hand_trait, device_trait, host_trait, fault=None, fast=60, slow=10, medium=0, steps=1, edge=None, still=10.0, travel=300.0):
    """Text of a session and its truth."""
    style = hands.style(hand_trait, rng)
    d = dev.device(device_trait, rng)
    h = dev.host(host_trait, rng)
    if fault:
        fault.prepare(d, style, h)
    edge = (not style["free"]) if edge is None else edge
    true_travel = travel + rng.normal(0, 0.5)
    hand = hands.Hand(rng, true_travel, style, edge)
    path = hand.path
    events, still_spans, phase_of_swipes = [], [], []
    nominal = [d["cpi"] * k for k in (1, 2, 0.5)][:steps]
    first_of_step = []
    path.rest(0.3)
    for step in range(1, steps + 1):
        first_of_step.append(path.now)
        if step > 1:
            # The step is changed by its button while the device rests at the stop.
            path.rest(1.5)
        plan = [("still", None, 0), ("swipes", "slow", slow), ("swipes", "medium", medium), ("swipes", "fast", fast)]
        for task, pace, n in plan:
            if task == "swipes" and not n:
                continue
            begin = path.now
            if task == "still":
                events.append((begin, {"phase": {"step": step, "task": "still"}}))
                path.rest(still)
                still_spans.append((begin, path.now))
                events.append((path.now - 0.001, {"phase": None}))
                path.rest(0.8)
            else:
                events.append((begin, {"phase": {"step": step, "task": "swipes", "pace": pace, "swipes": n, "axis": "x"}}))
                path.rest(0.6)
                for _ in range(n):
                    hand.swipe(pace)
                    hand.pause()
                path.rest(0.5)
                events.append((path.now - 0.001, {"phase": None}))
                path.rest(0.5)
    pose = path.arrays()
    # One sensor for all steps: the resolution of each from its first moment on.
    cpi = np.full(len(pose[0]), nominal[0])
    for at, res in zip(first_of_step, nominal):
        cpi[int((at + 0.7 if at > 1 else at) / hands.STEP) :] = res
    frames = dev.Frames(d, pose, cpi, rng)
    peak = max([0.0] + [float(frames.speed[(frames.t > a) & (frames.t < b)].max()) for a, b, _, p in hand.swipes])
    d["cpi"] = max(nominal)
    truth = dict(hand=hand_trait, device=device_trait, host=host_trait, travel=true_travel, edge=edge, peak=peak, rate=d["rate"], bits=d["bits"], cpi=nominal, angle=float(np.degrees(d["angle"])),
                 error=d["error"], swipes=len(hand.swipes), hits=None)
    while not dev.fits(d, peak):
        d["bits"] = {8: 12, 12: 16}[d["bits"]]
    truth["bits"] = d["bits"]
    info = dict(swipes=hand.swipes, still=still_spans, peak=peak)
    if fault:
        fault.at_sensor(frames, d, info, rng)
    moved = dev.smooth(d["smooth"], frames.d, frames.rate)
    counts = dev.quantise(d["quantise"], moved, rng)
    slots = dev.Slots(frames, counts, d, rng)
    if fault:
        fault.at_reports(slots, d, info, rng)
    top = dev.field(d["bits"])
    c = np.clip(slots.c, -top, top)
    busy = (c != 0).any(axis=1) | slots.forced
    sent = busy.copy()
    if d["zeros"] > 0 and busy.any():
        last = np.maximum.accumulate(np.where(busy, np.arange(len(busy)), -1))
        age = (np.arange(len(busy)) - last) * slots.step
        sent |= (last >= 0) & (age < d["zeros"])
        if d["zeros"] > 1e6:
            sent[:] = True
    sent &= ~slots.silent | busy
    ns, places, stalls = dev.stamps(slots.t[sent], slots.step, h, rng)
    text = pack(c[sent], d["bits"], d["report_id"])
    if fault:
        truth.update(fault=fault.name, size=fault.size, hits=fault.hits)
    header = {
        "slipgauge": 1, "tool": "outside hands", "started": "2026-11-25T10:00:00Z",
        "clock": {"id": "monotonic", "resolution_ns": int(h["coarse"] * 1e9) if h["coarse"] else 1},
        "devices": [{"role": "test", "name": "invented", "vendor": 4660, "product": 22136, "link": d["link"],
                     "nodes": [{"interface": 0, "interval_ns": int(1e9 / d.get("declared", d["rate"])), "descriptor": descriptor(d["bits"], d["report_id"])}]}],
        "plan": {"travel_um": int(travel * 1000), "travel_u_um": 500, "travel_from": "ruler", "axis": "x", "straight_edge": edge,
                 "steps": [{"id": i + 1, "nominal_counts_per_inch": n * d.get("nominal_factor", 1.0)} for i, n in enumerate(nominal)]},
        "host": {"os": "linux 6.1"},
    }
    lines = [(int(t * 1e9), 0, json.dumps({"t": int(t * 1e9), **e}, separators=(",", ":"))) for t, e in events]
    lines += [(end, 0, f'{{"t":{end},"stall":{length}}}') for end, length in stalls]
    lines += [(t, 1, f'{{"t":{t},"r":"{r}","q":{q}}}' if q else f'{{"t":{t},"r":"{r}"}}') for t, r, q in zip(ns.tolist(), text, places.tolist())]
    lines.sort(key=lambda x: x[:2])
    end = max(lines[-1][0], int(path.now * 1e9)) + 1000
    body = [json.dumps(header, separators=(",", ":"))] + [x[2] for x in lines] + [f'{{"t":{end},"end":true}}']
    return "\n".join(body) + "\n", truth
