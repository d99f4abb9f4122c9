"""Makes sessions, has them judged, prints the table. See `../outside-hands`."""

import argparse
import collections
import concurrent.futures
import json
import os
import pathlib
import subprocess
import sys
import time

import numpy as np

import device as dev
import faults
import hand
import session


def plan_of(seed, fault_class):
    """Traits of session `seed`: each hand with each device and host in turn, none tied to another."""
    rng = np.random.default_rng([seed, 1])
    hand_trait = hand.TRAITS[seed % len(hand.TRAITS)]
    device_trait = dev.TRAITS[rng.integers(len(dev.TRAITS))]
    host_trait = dev.HOSTS[rng.integers(len(dev.HOSTS))]
    fault = None
    extra = dict(fast=60, slow=10, travel=float(rng.choice([300, 300, 300, 250, 400])))
    if fault_class:
        fault = fault_class(rng)
        hand_trait = rng.choice(["beta", "lognormal", "submovements", "plateau", "strike", "mixed", "gentle"])
        device_trait = rng.choice(["plain"] + [f"{r}Hz" for r in fault.rates if r != 1000])
        host_trait = rng.choice(["quiet", "100us"])
        extra.update(fast=30, travel=300.0)
    else:
        extra["medium"] = int(rng.choice([0, 10]))
        if rng.random() < 0.1:
            extra.update(steps=int(rng.choice([2, 3])), fast=30)
    return rng, hand_trait, device_trait, host_trait, fault, extra


def one(job):
    seed, fault_name, tool, folder, keep = job
    fault_class = next((f for f in faults.ALL if f.name == fault_name), None)
    rng, *traits, fault, extra = plan_of(seed, fault_class)
    text, truth = session.make(rng, *traits, fault=fault, **extra)
    name = folder / f"{fault_name or 'sound'}-{seed}.swipes.ndjson"
    name.write_text(text)
    began = time.time()
    done = subprocess.run([tool, "judge", str(name), "--format", "json"], capture_output=True, text=True)
    took = time.time() - began
    row = dict(seed=seed, fault=fault_name, truth=truth, extra=extra, code=done.returncode, took=took, file=str(name), gross=bool(fault and fault.is_gross and fault.hits))
    if done.returncode in (0, 1, 3):
        v = json.loads(done.stdout)
        row["verdict"] = v["verdict"]
        row["families"] = [dict(step=s["step"], family=f["family"], verdict=f["verdict"], cause=f.get("cause"), because=f.get("because"), settle=f.get("to_settle"), estimate=f.get("estimate"))
                           for s in v["steps"] for f in s["families"]]
        row["swipes"] = [s["swipes"] for s in v["steps"]]
        row["findings"] = [{k: f.get(k) for k in ("family", "kind", "phase", "swipe", "size", "unit", "cause", "p_false", "begin_ns", "end_ns")} for f in v["findings"]]
    else:
        row.update(verdict="error", error=done.stderr[-400:], families=[], findings=[], swipes=[])
    if not keep:
        name.unlink()
    return row


def share(k, n):
    return f"{k}/{n}" if n else "-"


def sound_table(rows):
    out = ["| trait | sessions | pass | inconclusive | fail | error | not failing, with findings |", "|---|---|---|---|---|---|---|"]
    groups = collections.defaultdict(list)
    for r in rows:
        groups["all"].append(r)
        t = r["truth"]
        for key in ("hand", "device", "host"):
            groups[f"{key}: {t[key]}"].append(r)
        groups[f"steps: {r['extra'].get('steps', 1)}"].append(r)
    for key in sorted(groups):
        g = groups[key]
        n = collections.Counter(r["verdict"] for r in g)
        found = sum(bool(r["findings"]) and r["verdict"] != "fail" for r in g)
        out.append(f"| {key} | {len(g)} | {n['pass']} | {n['inconclusive'] + n['not-examined']} | {n['fail']} | {n['error']} | {found} |")
    why = collections.Counter()
    for r in rows:
        if r["verdict"] != "pass":
            for f in r["families"]:
                if f["verdict"] in ("inconclusive", "fail"):
                    why[f["family"], f["verdict"]] += 1
    out += ["", "Families behind what does not pass: " + ", ".join(f"{a} {b} {n}" for (a, b), n in why.most_common())]
    found = collections.Counter((f["family"], f["kind"], f["cause"]) for r in rows for f in r["findings"])
    out += ["Findings in sound sessions: " + (", ".join(f"{a}/{b} ({c}) {n}" for (a, b, c), n in found.most_common(20)) or "none")]
    return out


def judged_right(r, f):
    """Whether a finding or failing family is among those that the fault explains, and its cause too."""
    fails = [x for x in r["families"] if x["verdict"] == "fail"]
    fam = [x for x in fails if x["family"] in f.families]
    return bool(fam), any(x["cause"] in f.causes for x in fam), fails


def fault_table(rows):
    out = ["| fault | sessions with it | fail | inconclusive | pass | gross that pass | found in its family | family right, of fails | cause right, of those | families: causes |", "|---|---|---|---|---|---|---|---|---|---|"]
    for f in faults.ALL:
        g = [r for r in rows if r["fault"] == f.name and r["truth"].get("hits")]
        if not g:
            continue
        n = collections.Counter(r["verdict"] for r in g)
        right = [judged_right(r, f) for r in g if r["verdict"] == "fail"]
        said = collections.Counter()
        for r in g:
            for x in {(x["family"], x["cause"]) for x in r["families"] if x["verdict"] == "fail"}:
                said[x] += 1
        gross = [r for r in g if r["gross"]]
        out.append(f"| {f.name} {f.low:g}-{f.high:g} | {len(g)} | {n['fail']} | {n['inconclusive'] + n['not-examined']} | {n['pass']} | {share(sum(r['verdict'] == 'pass' for r in gross), len(gross))} "
                   f"| {share(sum(any(x['family'] in f.families for x in r['findings']) for r in g), len(g))} "
                   f"| {share(sum(a for a, _, _ in right), len(right))} | {share(sum(b for _, b, _ in right), sum(a for a, _, _ in right))} "
                   f"| {', '.join(f'{a}: {c} {k}' for (a, c), k in said.most_common(5))} |")
    return out


def main():
    p = argparse.ArgumentParser(prog="scripts/outside-hands", description=__doc__)
    p.add_argument("--sound", type=int, default=54, help="sound sessions (54)")
    p.add_argument("--faulty", type=int, default=3, help="sessions of each fault (3)")
    p.add_argument("--seeds", type=int, default=1, help="first seed (1)")
    p.add_argument("--only", default="", help="only faults whose name contains it; `sound` for none of them")
    p.add_argument("--tool", default="target/release/slipgauge", help="the program that judges")
    p.add_argument("--keep", action="store_true", help="leave the sessions in target/outside/sessions")
    p.add_argument("--rows", help="write each session's truth and verdict to this file, one JSON object a line")
    p.add_argument("--these", help="only these seeds, with commas between them")
    p.add_argument("--jobs", type=int, default=min(2, os.cpu_count() or 1))
    a = p.parse_args()
    folder = pathlib.Path("target/outside/sessions")
    folder.mkdir(parents=True, exist_ok=True)
    seeds = range(a.seeds, a.seeds + max(a.sound, a.faulty))
    if a.these:
        seeds = [int(x) for x in a.these.split(",")]
        a.sound = a.faulty = len(seeds)
    jobs = [(s, None, a.tool, folder, a.keep) for s in seeds[: a.sound] if a.only in "sound"]
    jobs += [(s, f.name, a.tool, folder, a.keep) for f in faults.ALL if a.only in f.name and a.only != "sound" for s in seeds[: a.faulty]]
    with concurrent.futures.ProcessPoolExecutor(a.jobs) as pool:
        rows = list(pool.map(one, jobs))
    if a.rows:
        pathlib.Path(a.rows).write_text("".join(json.dumps(r, default=float) + "\n" for r in rows))
    sound = [r for r in rows if not r["fault"]]
    faulty = [r for r in rows if r["fault"]]
    print(f"Seeds {seeds[0]} to {seeds[-1]}; longest judgement {max(r['took'] for r in rows):.1f} s\n")
    if sound:
        print("\n".join(sound_table(sound)) + "\n")
    if faulty:
        print("\n".join(fault_table(faulty)) + "\n")
    bad = [r for r in sound if r["verdict"] in ("fail", "error")] + [r for r in faulty if r["verdict"] == "error" or (r["gross"] and r["verdict"] == "pass")]
    for r in bad:
        t = r["truth"]
        print(f"{'sound' if not r['fault'] else r['fault']} seed {r['seed']}: {r['verdict']} ({t['hand']}, {t['device']}, {t['host']}, size {t.get('size')}) "
              + "; ".join(f"{f['family']} {f['verdict']}: {f['because']}" for f in r["families"] if f["verdict"] == "fail") + r.get("error", ""))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
