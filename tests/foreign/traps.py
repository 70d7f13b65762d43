"""The danger set's faults: each sits where it is hard to read, so that a hasty reader says "ready"."""

import numpy as np
import ink
from hand import ALONG, Mark
from light import highlight

STRAYS = [
    "on-line",
    "line-end",
    "beside-line",
    "glare",
    "faint",
    "small",
    "card-edge",
    "near-mark",
    "sheet-edge",
    "stamp",
    "writing",
    "shadow-edge",
    "faint-tick",
    "half-pitch",
    "ringed",
]
OTHERS = ["slight", "slight-row", "small-drift", "decoy", "decoy", "struck-thin", "scale"]


def clear(at, marks, plan, far=3.2, rim=0.7):
    inside = rim < at[0] < plan.width - rim and rim < at[1] < plan.height - rim
    return inside and min([np.hypot(*(at - m.at)) for m in marks] + [99]) > far


def on_face(sc, at):
    """Not under a card that lies on the sheet."""
    return all(not c.covers(at) for c in sc.cards if c.on)


def set_stray(rng, sc, kind):
    """Adds one stray of this kind to the scene; says whether it found a place."""
    plan, hand, marks = sc.plan, sc.hand, sc.marks
    small = rng.uniform(0.45, 0.75)
    for _ in range(400):
        at = np.array([rng.uniform(3, plan.width - 3), rng.uniform(3, plan.height - 3)])
        m = Mark(at, "dot", None, "trap:" + kind, size=max(small, 0.8 * hand.pen.width))
        if kind in ("on-line", "line-end", "beside-line", "faint-tick") and hand.lines:
            p, q = (np.asarray(v, float) for v in hand.lines[int(rng.integers(len(hand.lines)))])
            d = (q - p) / np.hypot(*(q - p))
            m.along = tuple(d)
            m.size = hand.line_pen.width * rng.uniform(1.35, 1.9)
            if kind == "line-end":
                m.at = (p, q)[int(rng.integers(2))].astype(float)
            else:
                m.at = p + (q - p) * rng.uniform(0.03, 0.97)
            if kind == "beside-line":
                m.at = m.at + np.array([-d[1], d[0]]) * rng.uniform(0.7, 1.5) * rng.choice([-1, 1])
            if kind == "faint-tick":
                m.kind, m.weight, m.size = "tick", rng.uniform(0.25, 0.5), rng.uniform(2.5, 4.5)
        elif kind in ("on-line", "line-end", "beside-line", "faint-tick"):
            return False
        elif kind == "half-pitch":
            row = plan.rows[int(rng.integers(len(plan.rows)))]
            i = int(rng.integers(len(row.stations) - 1))
            m.at = np.array(plan.place(row, (row.stations[i] + row.stations[i + 1]) / 2))
            m.kind, m.along, m.size = hand.kind, ALONG[row.along], hand.size * 0.8
        elif kind == "glare":
            v = highlight(sc.room, sc.cam.eye, sc.rough, at)
            if not 0.35 < v / sc.glare_top < 0.75:
                continue
        elif kind == "faint":
            m.weight = rng.uniform(0.25, 0.45)
        elif kind == "small":
            m.size = rng.uniform(0.3, 0.42)
        elif kind == "card-edge":
            on = [c for c in sc.cards if c.on]
            if not on:
                return False
            m.at = on[int(rng.integers(len(on)))].beside(rng, rng.uniform(0.8, 2.4))
        elif kind == "near-mark":
            b = marks[int(rng.integers(len(marks)))]
            a = rng.uniform(0, 2 * np.pi)
            m.at = b.at + rng.uniform(max(1.3, plan.tolerance * 1.5), 2.6) * np.array([np.cos(a), np.sin(a)])
        elif kind == "sheet-edge":
            e = rng.uniform(1.0, 2.2)
            m.at = [
                np.array([at[0], e]),
                np.array([at[0], plan.height - e]),
                np.array([e, at[1]]),
                np.array([plan.width - e, at[1]]),
            ][int(rng.integers(4))]
        elif kind == "stamp":
            m.at = at
            sc.stamp = sc.stamp or (at[0] - 60, at[1], at[0] + 60, at[1] + 1)
            m.size = max(m.size, 0.6)
        elif kind == "writing":
            sc.texts.append(
                (at + np.array([-rng.uniform(8, 11), 0]), str(rng.choice(["FWD", "3/32", "LH", "NO", "TOP"])), 4.0, 0.0)
            )
            if not clear(m.at, marks, plan, 6) or not on_face(sc, m.at):
                sc.texts.pop()
                continue
        elif kind == "shadow-edge":
            if not sc.room.shadows:
                return False
            poly = sc.room.shadows[0][0]
            d = poly[1] - poly[0]
            d = d / np.hypot(*d)
            m.at = poly[0] + d * ((at - poly[0]) @ d) + np.array([-d[1], d[0]]) * rng.normal(0, 1.0)
        elif kind == "ringed":
            m.ringed = True
        if clear(m.at, marks, plan, 1.2 if kind == "near-mark" else 3.2) and on_face(sc, m.at):
            marks.append(m)
            return True
    return False


def set_other(rng, sc, kind):
    plan, hand, marks = sc.plan, sc.hand, sc.marks
    m = marks[int(rng.integers(len(marks)))]
    d = np.array(m.along, float)
    nrm = np.array([-d[1], d[0]])
    mates = [k for k in marks if k.hole and k.hole[0] == m.hole[0]]
    sign = rng.choice([-1, 1])
    plan_at = {h.name: np.array([h.x, h.y]) for h in plan.holes()}
    if kind == "slight":
        m.at, m.why = plan_at[m.hole] + d * sign * rng.uniform(1.3, 2.0) * plan.tolerance, "trap:slight"
    elif kind == "slight-row" and not hand.ruled:
        for k in mates:
            k.at, k.why = k.at + nrm * sign * rng.uniform(1.5, 1.9) * plan.tolerance, "trap:slight-row"
    elif kind == "small-drift" and len(mates) > 4:
        for i, k in enumerate(mates):
            k.at, k.why = k.at + d * sign * 1.9 * plan.tolerance * i / (len(mates) - 1), "trap:small-drift"
    elif kind == "decoy":  # no mark, and something else in its place
        marks.remove(m)
        sc.decoys.append(
            (
                plan_at[m.hole] + rng.normal(0, 0.15, 2),
                str(rng.choice(["swarf", "scratch", "dust", "smear", "stamp", "bead"])),
            )
        )
    elif kind == "struck-thin":
        m.struck, m.why = True, "trap:struck"
        sc.thin_strike = True
    elif kind == "scale":  # set out with a rule that is as wrong as the print: fits itself, not the plan
        k = 1 + sign * rng.uniform(0.008, 0.013)
        far = max(plan.width, plan.height) * abs(k - 1)
        if far < 1.6 * plan.tolerance or hand.ruled:
            return False
        for q in marks:
            q.at, q.why = q.at * k, "trap:scale"
        sc.print_scale, sc.tell_bars = (k, k), False
    else:
        return False
    return True


def draw_decoys(rng, c, sc):
    for at, kind in sc.decoys:
        if kind == "swarf":
            ink.swarf(rng, c, at)
        elif kind == "smear":
            ink.smear(rng, c, at - np.array([1.0, 0]), sc.hand.pen, rng.uniform(6, 12))
        elif kind == "stamp":
            ink.mill_stamp(
                rng, c, (at[0] - 15, at[1], at[0] + 15, at[1] + 1), "ALLOY 5052-H32", 2.6, (0.1, 0.1, 0.2), 0.5
            )
        else:
            a = rng.uniform(0, np.pi)
            e = np.array([np.cos(a), np.sin(a)])
            ln = {"scratch": rng.uniform(4, 15), "dust": 0.3, "bead": 0.6}[kind]
            pen = ink.Pen(
                "ball",
                {"scratch": 0.18, "dust": 0.4, "bead": 0.5}[kind],
                (0.09, 0.085, 0.08),
                {"scratch": 0.6, "dust": 0.6, "bead": 0.35}[kind],
            )
            ink.stroke(rng, c, [at - e * ln / 2, at + e * ln / 2], pen, lift=1)
