"""The marker's hand: rules lines, sets marks, makes faults; and keeps the truth of what it did."""

from dataclasses import dataclass, field
import numpy as np
import ink

ALONG = {"bottom": (1, 0), "top": (1, 0), "left": (0, 1), "right": (0, 1)}


@dataclass(eq=False)
class Mark:
    at: np.ndarray
    kind: str  # dot | tick | plus | x
    hole: str | None = None  # the hole it was meant for
    why: str = ""  # the fault, in a word
    along: tuple = (1, 0)
    weight: float = 1.0  # of its ink
    size: float | None = None
    struck: bool = False
    ringed: bool = False


@dataclass
class Hand:
    """Habits of one person on one sheet."""

    kind: str
    pen: ink.Pen
    line_pen: ink.Pen
    ruled: bool
    size: float  # dot's diameter, or length of tick and cross
    scatter: float
    broken: float
    double: float
    dry: float
    strike: str
    lines: list = field(default_factory=list)


def choose_hand(rng, surface, hard):
    pen = ink.choose_pen(rng, surface, hard)
    kind = str(
        rng.choice(["dot", "dot", "tick", "tick", "tick", "plus", "x"], p=[0.2, 0.2, 0.15, 0.15, 0.1, 0.15, 0.05])
    )
    ruled = kind == "tick" or kind == "dot" and rng.random() < 0.55
    lp = ink.choose_pen(rng, surface, hard) if rng.random() < 0.35 else pen
    lp = ink.replace(lp, width=min(lp.width, 0.9) * rng.uniform(0.7, 1.0)) if lp.kind == "marker" else lp
    if kind == "dot":
        size = max(rng.uniform(0.5, 1.5), pen.width * 1.1)
        if ruled:
            size = min(max(size, lp.width * rng.uniform(1.7, 2.4)), 2.0)
        if pen.kind == "scribe":
            size = rng.uniform(0.5, 0.9)
    else:
        size = rng.uniform(3, 7) if kind == "tick" else rng.uniform(2.2, 4.5)
    return Hand(
        kind,
        pen,
        lp,
        ruled,
        size,
        rng.uniform(0.05, 0.16),
        rng.choice([0, 0, 0.5]),
        rng.choice([0, 0.15]),
        rng.choice([0, 0, 0, 0.5]) if pen.kind == "marker" else 0.0,
        "scribble" if hard and rng.random() < 0.3 else "x",
    )


def intended(rng, plan, hand):
    """Ruled lines and one mark per hole, as a careful hand sets them."""
    marks = []
    for row in plan.rows:
        p, q = (np.array(plan.place(row, s)) for s in (row.stations[0], row.stations[-1]))
        d = np.array(ALONG[row.along], float)
        nrm = np.array([-d[1], d[0]])
        off, tilt = rng.normal(0, 0.07), rng.normal(0, 0.0005)
        at = lambda s: p + d * s + nrm * (off + tilt * s)
        ln = float((q - p) @ d)
        if hand.ruled:
            over = rng.uniform(3, 12, 2) if rng.random() < 0.6 else np.array([40.0, 40.0])
            hand.lines.append(
                (
                    np.clip(at(-over[0]), 0, [plan.width, plan.height]),
                    np.clip(at(ln + over[1]), 0, [plan.width, plan.height]),
                )
            )
        for i, s in enumerate(row.stations):
            a = at(s - row.stations[0]) + d * np.clip(rng.normal(0, hand.scatter), -0.3, 0.3)
            if hand.kind != "tick":
                a = a + nrm * np.clip(rng.normal(0, hand.scatter * (0.3 if hand.ruled else 1)), -0.3, 0.3)
            marks.append(Mark(a, hand.kind, f"{row.name}{i + 1}", along=tuple(d)))
    for n, x, y in plan.singles:
        a = np.array([x, y]) + np.clip(rng.normal(0, hand.scatter, 2), -0.3, 0.3)
        marks.append(Mark(a, "plus" if hand.kind == "tick" else hand.kind, n))
    return marks


def fault(rng, plan, hand, marks, kind, surface_notes):
    """Spoils the marks with one fault. The danger set's hidden strays are in traps.py."""
    live = [m for m in marks if m.hole and not m.why]
    if not live:
        return
    m = live[int(rng.integers(len(live)))]
    d = np.array(m.along, float)
    nrm = np.array([-d[1], d[0]])
    row = next((r for r in plan.rows if m.hole.startswith(r.name) and m.hole[len(r.name) :].isdigit()), None)
    mates = [k for k in live if row and k.hole[0] == row.name]
    if kind == "missing":
        marks.remove(m)
    elif kind == "misplaced":
        far = rng.uniform(plan.tolerance * 1.45, 5) * rng.choice([-1, 1])
        m.at, m.why = m.at + (d * far if hand.ruled or rng.random() < 0.7 else nrm * far), "misplaced"
    elif kind == "stray":
        for _ in range(200):
            at = np.array([rng.uniform(4, plan.width - 4), rng.uniform(4, plan.height - 4)])
            on = hand.ruled and row and rng.random() < 0.5
            if on:
                a = np.array(plan.place(row, 0))
                at = a + d * ((at - a) @ d)
            if min(np.hypot(*(at - k.at)) for k in marks) > 4:
                marks.append(
                    Mark(
                        at,
                        hand.kind if on or hand.kind != "tick" else "plus",
                        None,
                        "stray",
                        m.along,
                        ringed=rng.random() < 0.15,
                    )
                )
                break
    elif kind == "struck":
        m.struck, m.why = True, "struck"
    elif kind == "replaced":  # set wrong, struck out, set again: nothing is wrong with it
        off = d * rng.uniform(4.5, 7) * rng.choice([-1, 1])
        if min([np.hypot(*(m.at + off - k.at)) for k in marks if k is not m] + [99]) > 6:
            marks.append(Mark(m.at + off, m.kind, None, "replaced", m.along, struck=True))
    elif kind == "double":
        far = rng.uniform(max(1.6, plan.tolerance * 1.6), 4) * rng.choice([-1, 1])
        marks.append(Mark(m.at + d * far, m.kind, None, "double", m.along))
    elif kind == "drift" and len(mates) > 4:
        total = rng.uniform(1.6, 4.5) * rng.choice([-1, 1])
        for i, k in enumerate(mates):
            k.at, k.why = k.at + d * total * i / (len(mates) - 1), "drift"
    elif kind == "wrong-end" and len(mates) > 2:
        long = plan.width if row.along in ("bottom", "top") else plan.height
        for k in mates:
            along = k.at @ d
            k.at, k.why = k.at + d * (long - 2 * along), "wrong-end"
    elif kind == "wrong-edge" and mates:
        far = rng.uniform(1.2, 3.2) * rng.choice([-1, 1])
        for k in mates:
            k.at, k.why = k.at + nrm * far, "wrong-edge"
        if hand.ruled:
            i = [r.name for r in plan.rows].index(row.name)
            hand.lines[i] = tuple(p + nrm * far for p in hand.lines[i])


def draw_mark(rng, c, hand, m, tail=0.25):
    at, pen = m.at, hand.pen.weaker(m.weight)
    d = np.array(m.along, float)
    size = m.size or hand.size
    if m.kind == "dot":
        ink.dot(
            rng,
            c,
            at,
            pen,
            size * rng.uniform(0.88, 1.12),
            rng.uniform(0.3, 1.2) if rng.random() < tail and pen.kind == "marker" else 0,
        )
    else:
        turns = {"tick": [np.pi / 2], "plus": [0, np.pi / 2], "x": [np.pi / 4, -np.pi / 4]}[m.kind]
        for a in turns:
            a = np.arctan2(d[1], d[0]) + a + rng.normal(0, 0.05)
            e = np.array([np.cos(a), np.sin(a)])
            t = np.linspace(-0.5, 0.5, 7)[:, None] + rng.normal(0, 0.06)
            ln = size * rng.uniform(0.85, 1.15)
            bow = rng.normal(0, 0.012)
            q = at + t * ln * e + bow * ln * t**2 * np.array([-e[1], e[0]])
            bead = pen.kind == "marker" and rng.random() < 0.5
            ink.stroke(
                rng,
                c,
                q if rng.random() < 0.6 else q[::-1],
                pen,
                0,
                0.12 * pen.width if bead else 0,
                lift=rng.uniform(0.5, 1.5) if rng.random() < 0.4 else 0,
                dry=hand.dry,
            )
    if m.ringed:
        ink.ring(rng, c, at, rng.uniform(2.6, 4.5), hand.pen)
    if m.struck:
        ink.cross_out(
            rng,
            c,
            at,
            max(5.5, size * rng.uniform(1.7, 2.2)) if m.kind != "dot" else rng.uniform(5, 9),
            hand.pen.weaker(1),
            hand.strike,
        )


def draw(rng, c, hand, marks, tail=0.25):
    for p, q in hand.lines:
        ink.line(rng, c, p, q, hand.line_pen, hand.broken, rng.random() < hand.double, hand.dry)
    for m in marks:
        draw_mark(rng, c, hand, m, tail)


def truth(plan, marks):
    """What each hole and each other mark truly is, by where the live marks stand."""
    holes, used = [], set()
    live = [m for m in marks if not m.struck]
    for h in plan.holes():
        at = np.array([h.x, h.y])
        near = sorted((np.hypot(*(m.at - at)), i) for i, m in enumerate(live))
        own = [(r, i) for r, i in near if live[i].hole == h.name]
        dist, i = (
            near[0]
            if near and (near[0][0] <= plan.tolerance or not own) and near[0][0] < 6
            else own[0] if own else (None, None)
        )
        state = "missing"
        if dist is not None and dist < 6 and i not in used:
            used.add(i)
            state = "good" if dist <= plan.tolerance else "off"
        elif any(m.struck and np.hypot(*(m.at - at)) < 2 * plan.tolerance for m in marks):
            state = "cancelled"
        m = live[i] if state in ("good", "off") else None
        holes.append(
            {
                "name": h.name,
                "planned": [h.x, h.y],
                "state": state,
                "found": m.at.tolist() if m is not None else None,
                "distance": None if m is None else float(dist),
                "why": m.why if m is not None else "",
            }
        )
    strays = [{"at": m.at.tolist(), "why": m.why, "ringed": m.ringed} for i, m in enumerate(live) if i not in used]
    struck = [{"at": m.at.tolist(), "why": m.why} for m in marks if m.struck]
    return {
        "holes": holes,
        "strays": strays,
        "struck": struck,
        "ready": all(h["state"] == "good" for h in holes) and not strays,
    }
