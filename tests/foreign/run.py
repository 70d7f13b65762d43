#!/usr/bin/env python3
"""Checks every photo of one or more sets with the program and compares with the truth:
run.py DIR... --program PATH [--only PART] [--keep-json DIR]. Exit status 1 if there is a dangerous error."""

import argparse
import collections
import json
import subprocess
import tempfile
import time
from pathlib import Path
import numpy as np

SLACK = 0.03  # mm: a place nearer to the tolerance than this is called neither way
SAME = 1.2  # mm: a stray found within this of a true one is that one
EDGE = 15  # grey levels by which bench and face differ, as the guide asks ("a bench of another brightness")
STATUS = {0: "ready", 1: "not-ready", 3: "cannot-tell"}


def dist(a, b):
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))


def check(program, truth_file, out):
    truth = json.loads(truth_file.read_text())
    photo = truth_file.parent / truth["photo"]
    result_file = out / truth_file.name
    cmd = [
        program,
        "check",
        str(photo),
        "--plan",
        str(truth_file.with_suffix(".toml")),
        "--json",
        str(result_file),
        "--quiet",
        *truth["args"],
    ]
    start = time.time()
    done = subprocess.run(cmd, capture_output=True, text=True)
    result = json.loads(result_file.read_text()) if result_file.exists() else None
    verdict = STATUS.get(done.returncode, f"status {done.returncode}")
    if result and result["verdict"] != verdict:
        verdict = f"status {done.returncode} but {result['verdict']}"
    return truth, result, verdict, done.stderr.strip(), time.time() - start


def judge(truth, result, verdict, count, errors):
    """Compares one result with its truth. Adds to `count`; gives the dangerous and the other wrong calls in words."""
    danger, wrong = [], []
    tol = truth["tolerance"]
    if verdict == "ready" and not truth["ready"]:
        danger.append("WRONG READY")
    if result is None or verdict.startswith("status"):
        danger.append(f"no result: {verdict}")
        return danger, wrong
    if verdict == "not-ready" and truth["ready"]:
        wrong.append("false alarm: " + "; ".join(r["code"] for r in result["reasons"][:4]))
        count["false alarm"] += 1
    true = {h["name"]: h for h in truth["holes"]}
    for h in result["holes"]:
        t, s = true[h["name"]], h["state"]
        count[f"hole {s}"] += 1
        at = f"{h['name']} (px {t['px'][0]:.0f},{t['px'][1]:.0f})"
        if s == "good":
            count["good called"] += 1
            if t["state"] in ("missing", "cancelled"):
                danger.append(f"{at} called good, is {t['state']}")
            elif t["distance"] > tol + SLACK:
                danger.append(
                    f"{at} called good, is off by {t['distance']:.2f} mm (tolerance {tol:.2f}, measured {h['distance']:.2f}, U {h['uncertainty']:.2f})"
                )
        if s == "off" and t["state"] == "good" and t["distance"] < tol - SLACK:
            wrong.append(f"{at} called off by {h['distance']:.2f}, is good ({t['distance']:.2f})")
        if (
            s == "off"
            and t["state"] == "missing"
            and min([dist(h["found"], q["at"]) for q in truth["strays"]] + [99]) > SAME
        ):
            wrong.append(f"{at} called off, is missing")
        if s == "missing" and t["state"] in ("good", "off"):
            wrong.append(f"{at} called missing, is {t['state']}" + ("" if t["shows"] else " (hardly shows)"))
        if s == "cancelled" and t["state"] != "cancelled":
            wrong.append(f"{at} called cancelled, is {t['state']}")
        if h["found"] and t["found"] and dist(h["found"], t["found"]) < 2.5 and s in ("good", "off", "close"):
            e = dist(h["found"], t["found"])
            errors.append((e, h["uncertainty"]))
            if e > 2 * h["uncertainty"] and e > 0.25:
                wrong.append(f"{at} found {e:.2f} mm from its mark, U {h['uncertainty']:.2f}")
    told = result["strays"]
    unseen = result["seen"]["unseen"]
    for s in truth["strays"]:
        near = [q for q in told if dist(q["at"], s["at"]) < max(SAME, (q["size"] or 0) / 2 + 0.3)]
        hole = [
            h
            for h in result["holes"]
            if h["found"]
            and dist(h["found"], s["at"]) < SAME
            or h["state"] in ("unseen", "double", "cancelled")
            and dist(h["planned"], s["at"]) < 2.5
        ]
        hidden = any(inside(s["at"], poly) for poly in unseen)
        answered = result["verdict"] != "cannot-tell" or result["survey"]["rms_px"] is not None
        count["strays"] += 1
        if any(q["state"] in ("stray", "unsure") for q in near):
            count["strays told"] += 1
        elif not near and (hole or hidden or not answered):
            count["strays otherwise accounted for"] += 1
        else:
            text = (
                f"live stray {s['why']} at px {s['px'][0]:.0f},{s['px'][1]:.0f} "
                + ("called cancelled" if near else "not told")
                + ("" if s["shows"] else " (hardly shows)")
            )
            count["strays missed"] += 1
            (danger if s["shows"] or near else wrong).append(text)
    known = [s["at"] for s in truth["strays"] + truth["struck"]] + [h["found"] or h["planned"] for h in truth["holes"]]
    for q in told:
        if q["state"] == "stray" and min(dist(q["at"], k) for k in known) > SAME:
            count["strays invented"] += 1
            wrong.append(f"invented stray at {q['at'][0]:.1f},{q['at'][1]:.1f} mm" + (" ringed" if q["ringed"] else ""))
    return danger, wrong


def inside(p, poly):
    x, y, odd = p[0], p[1], False
    for (x0, y0), (x1, y1) in zip(poly, poly[1:] + poly[:1]):
        if (y0 > y) != (y1 > y) and x < x0 + (y - y0) / (y1 - y0) * (x1 - x0):
            odd = not odd
    return odd


def main():
    ap = argparse.ArgumentParser(description=__doc__)
    ap.add_argument("dirs", type=Path, nargs="+")
    ap.add_argument("--program", default="target/release/punchready")
    ap.add_argument("--only", default="", help="photos with this in their name")
    ap.add_argument("--keep-json", type=Path)
    ap.add_argument("--quiet", action="store_true", help="no list of harmless wrong calls")
    a = ap.parse_args()
    files = sorted(f for d in a.dirs for f in d.glob("*.json") if a.only in f.name and f.with_suffix(".toml").exists())
    sets = collections.OrderedDict()
    all_danger = []
    with tempfile.TemporaryDirectory() as tmp:
        out = a.keep_json or Path(tmp)
        out.mkdir(parents=True, exist_ok=True)
        for f in files:
            truth, result, verdict, err, seconds = check(a.program, f, out)
            s = sets.setdefault(
                f.name.split("-")[0],
                {"count": collections.Counter(), "errors": [], "refused": collections.Counter(), "seconds": []},
            )
            c = s["count"]
            danger, wrong = judge(truth, result, verdict, c, s["errors"])
            s["seconds"].append(seconds)
            c["photos"] += 1
            c["faultless"] += truth["ready"]
            c["wrong ready"] += "WRONG READY" in danger
            steps = [e[0] for e in truth["edges"]]  # bottom, right, top, left
            edged = steps[0] > EDGE and steps[3] > EDGE and max(steps[1:3]) > EDGE
            fair = truth["readable"] and truth["provable"] and edged
            for part, on in (
                ("readable", truth["readable"]),
                ("fair", fair),
                ("fair faultless", fair and truth["ready"]),
            ):
                c[part] += on
                c[part + " answered"] += on and verdict != "cannot-tell"
            c["fair faultless ready"] += fair and truth["ready"] and verdict == "ready"
            c[verdict] += 1
            codes = [r["code"] for r in result["reasons"]] if result else [err[:60]]
            if verdict == "cannot-tell":
                for code in dict.fromkeys(codes):
                    s["refused"][code] += 1
            c["bad goods"] += sum("called good" in d for d in danger)
            c["wrong off or missing"] += sum("called off" in w or "called missing" in w for w in wrong)
            c["dangerous"] += len(danger)
            all_danger += [f"{f.stem}: {d}" for d in danger]
            if not a.quiet or danger:
                note = "" if truth["readable"] else " unreadable" if truth["provable"] else " unreadable, unprovable"
                note = " unprovable" if truth["readable"] and not truth["provable"] else note
                print(
                    f"{f.stem}: {verdict} (truly {'ready' if truth['ready'] else 'not ready'}{note}; {truth['surface']}, {truth['hand']}, {truth['pen'][0]}, {','.join(codes[:3])})"
                )
                for d in danger:
                    print("    DANGER", d)
                for w in [] if a.quiet else wrong[:8]:
                    print("    wrong ", w)
    rows = [("photos", lambda s: s["count"]["photos"]), ("of them truly faultless", lambda s: s["count"]["faultless"])]
    rows += [
        (k, lambda s, k=k: s["count"][k])
        for k in (
            "wrong ready",
            "bad goods",
            "strays",
            "strays told",
            "strays otherwise accounted for",
            "strays missed",
            "strays invented",
            "wrong off or missing",
            "false alarm",
            "ready",
            "not-ready",
            "cannot-tell",
        )
    ]
    rows += [
        (k + " answered", lambda s, k=k: f"{s['count'][k + ' answered']}/{s['count'][k]}")
        for k in ("readable", "fair", "fair faultless")
    ]
    rows += [
        (
            "fair faultless read as ready",
            lambda s: f"{s['count']['fair faultless ready']}/{s['count']['fair faultless']}",
        )
    ]
    arr = lambda s: np.array(s["errors"]) if s["errors"] else np.full((1, 2), np.nan)
    rows += [
        ("marks measured", lambda s: len(s["errors"])),
        ("rms mm", lambda s: f"{np.sqrt((arr(s)[:, 0] ** 2).mean()):.3f}"),
        ("95 % mm", lambda s: f"{np.percentile(arr(s)[:, 0], 95):.3f}"),
        ("worst mm", lambda s: f"{arr(s)[:, 0].max():.3f}"),
        ("share within U", lambda s: f"{(arr(s)[:, 0] <= arr(s)[:, 1]).mean():.3f}"),
        ("seconds a photo", lambda s: f"{np.mean(s['seconds']):.2f}"),
    ]
    print("\n| | " + " | ".join(sets) + " |\n| --- |" + " --: |" * len(sets))
    for name, get in rows:
        print(f"| {name} | " + " | ".join(str(get(s)) for s in sets.values()) + " |")
    for name, s in sets.items():
        print(f"\ncannot tell, {name}: " + ", ".join(f"{k} {n}" for k, n in s["refused"].most_common()))
    print(f"\nDangerous errors: {len(all_danger)}")
    for d in all_danger:
        print("  " + d)
    raise SystemExit(1 if all_danger else 0)


if __name__ == "__main__":
    main()
