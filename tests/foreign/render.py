#!/usr/bin/env python3
"""Makes a set of photos with known truth: render.py easy|danger|hard OUT --cards DIR [--reference DIR] [--only N ...]"""
import argparse
import json
from dataclasses import dataclass, field
from pathlib import Path
import cv2
import numpy as np
import camera, hand as hands, ink, light, plans, surface, traps

SETS = {"easy": (40, 7100), "danger": (60, 7200), "hard": (60, 7300)}
BENCHES = ["wood", "wood", "concrete", "mat", "cloth", "cardboard", "steel", "laminate"]
SIZES = {12: (4000, 3000), 8: (3264, 2448), 6: (2880, 2160), 5: (2592, 1944), 4: (2304, 1728)}


@dataclass
class Card:
    number: int
    file: str
    size: np.ndarray       # mm as printed
    at: np.ndarray         # middle, sheet frame
    angle: float
    on: bool               # on the sheet
    level: float           # z of what it lies on
    bow: tuple = (0.0, 0.0)   # mm of lift of the right and the lower end

    def corners(self, grow=0.0):
        c, s = np.cos(self.angle), np.sin(self.angle)
        h = self.size / 2 + grow
        return self.at + np.array([[-h[0], -h[1]], [h[0], -h[1]], [h[0], h[1]], [-h[0], h[1]]]) @ np.array([[c, s], [-s, c]])

    def covers(self, p, grow=0.5):
        c, s = np.cos(self.angle), np.sin(self.angle)
        q = (np.asarray(p) - self.at) @ np.array([[c, -s], [s, c]])
        return bool((np.abs(q) < self.size / 2 + grow).all())

    def beside(self, rng, gap):
        t, side = rng.uniform(-0.45, 0.45), int(rng.integers(4))
        q = [(t * self.size[0], self.size[1] / 2 + gap), (t * self.size[0], -self.size[1] / 2 - gap),
             (self.size[0] / 2 + gap, t * self.size[1]), (-self.size[0] / 2 - gap, t * self.size[1])][side]
        c, s = np.cos(self.angle), np.sin(self.angle)
        return self.at + np.array([c * q[0] - s * q[1], s * q[0] + c * q[1]])


@dataclass
class Scene:
    plan: object
    surface: str
    hand: object
    marks: list
    cards: list = field(default_factory=list)
    cam: object = None
    room: object = None
    rough: tuple = (0.1, 0.1)
    glare_top: float = 1.0
    stamp: tuple | None = None
    texts: list = field(default_factory=list)
    decoys: list = field(default_factory=list)
    thin_strike: bool = False
    print_scale: tuple = (1.0, 1.0)
    tell_bars: bool = True


def lay_cards(rng, sc, stock, want, prefer_on):
    """Finds places for the cards: on bare parts of the sheet, or round it."""
    plan, cards = sc.plan, []
    w, h = plan.width, plan.height
    busy = np.array([m.at for m in sc.marks])
    strip = min(w, h) < 75 or rng.random() < 0.2
    pool = [c for c in stock if (c["shape"] == "strip") == strip]
    used = rng.permutation(len(pool))
    def free(card):
        poly = cv2.convexHull(card.corners().astype(np.float32))
        return all(cv2.intersectConvexConvex(poly, cv2.convexHull(o.corners(9).astype(np.float32)))[0] <= 0 for o in cards)
    for k in range(want):
        info = pool[used[k]]
        size = np.array(info["outer_size_mm"]) * sc.print_scale
        found = []
        for _ in range(400):
            on = rng.random() < prefer_on
            angle = rng.normal(0, 0.08) + (np.pi / 2) * int(rng.integers(4)) if rng.random() < 0.8 else rng.uniform(-np.pi, np.pi)
            card = Card(info["number"], info["file"], size, np.zeros(2), angle, on, 0.0)
            ext = np.abs(card.corners() - card.at).max(0)
            if on:
                if (ext * 2 + 8 > [w, h]).any():
                    continue
                card.at = np.array([rng.uniform(ext[0] + 3, w - ext[0] - 3), rng.uniform(ext[1] + 3, h - ext[1] - 3)])
                clear = not any(card.covers(b, 5) for b in busy) and not any(
                    card.covers(np.asarray(p) + (np.asarray(q) - np.asarray(p)) * t, 2.5) for p, q in sc.hand.lines for t in np.linspace(0, 1, 60))
                if not clear:
                    continue
            else:
                side, gap = int(rng.integers(4)), rng.uniform(8, 18)
                card.at = [np.array([rng.uniform(0, w), h + gap + ext[1]]), np.array([w + gap + ext[0], rng.uniform(0, h)]),
                           np.array([rng.uniform(0, w), -gap - ext[1]]), np.array([-gap - ext[0], rng.uniform(0, h)])][side]
            if free(card):
                found.append(card)
            if len(found) == 8:
                break
        # People keep the picture tight: of a few places the one that needs the least more room.
        def spread(card):
            p = np.concatenate([[[0, 0], [w, h]], card.corners()] + [o.corners() for o in cards])
            near = min([np.hypot(*(card.at - o.at)) for o in cards] + [200])
            return np.ptp(p[:, 0]) + np.ptp(p[:, 1]) - 0.25 * near
        if found:
            cards.append(min(found, key=spread))
    return cards


def clutter(rng, c, keep, count):
    """Things on the bench: a steel rule, pens, screws, offcuts. Drawn flat with a soft shadow."""
    for _ in range(count):
        p = np.array([rng.uniform(c.x0, c.x0 + c.w / c.s), rng.uniform(c.y1 - c.h / c.s, c.y1)])
        kind, a = str(rng.choice(["rule", "pen", "screw", "offcut", "tape", "coin"])), rng.uniform(-np.pi, np.pi)
        ln, wd = {"rule": (160, 25), "pen": (130, 9), "screw": (14, 5), "offcut": (rng.uniform(30, 90), rng.uniform(10, 50)), "tape": (50, 19), "coin": (18, 18)}[kind]
        d = np.array([np.cos(a), np.sin(a)])
        n = np.array([-d[1], d[0]])
        if any(k.covers(p + d * t * ln / 2 + n * s * wd / 2, 6) for k in keep for t in np.linspace(-1, 1, 25) for s in (-1, 0, 1)):
            continue
        quad = lambda g, o=0: np.round(c.tex(p + o + np.array([d * s * (ln / 2 + g) + n * t * (wd / 2 + g) for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))])) * 16).astype(np.int32).reshape(-1, 1, 2)
        m = np.zeros((c.h, c.w), np.uint8)
        cv2.fillPoly(m, [quad(0.5, np.array([1.5, -1.8]))], 255, cv2.LINE_AA, 4)
        c.refl *= (1 - 0.5 * cv2.GaussianBlur(m, (0, 0), 1.5 * c.s).astype(np.float32) / 255)[..., None]
        m[:] = 0
        if kind == "coin":
            cv2.circle(m, tuple(int(v) for v in c.tex(p)), int(9 * c.s), 255, -1, cv2.LINE_AA)
        else:
            cv2.fillPoly(m, [quad(0)], 255, cv2.LINE_AA, 4)
        col = {"rule": (0.4, 0.4, 0.4), "pen": tuple(rng.uniform(0.02, 0.5, 3)), "screw": (0.25, 0.24, 0.22), "offcut": (0.45, 0.45, 0.46), "tape": (0.6, 0.5, 0.3), "coin": (0.4, 0.3, 0.18)}[kind]
        al = (m.astype(np.float32) / 255)[..., None]
        c.refl += al * (np.array(col, np.float32) * (1 + 0.06 * surface.noise(rng, c.h, c.w, 20))[..., None] - c.refl)
        if kind == "rule":
            for i in range(0, 151):
                q0 = p - d * (ln / 2 - 5 - i) - n * wd / 2
                q1 = q0 + n * (9 if i % 10 == 0 else 6.5 if i % 5 == 0 else 4.5)
                q = [tuple(int(v * 16) for v in c.tex(z)) for z in (q0, q1)]
                cv2.line(c.refl, q[0], q[1], (0.03, 0.03, 0.03), 1, cv2.LINE_AA, 4)


def print_card(rng, path, card, s):
    """A card out of an ordinary printer, cut with scissors: grey ink, banding, paper."""
    png = cv2.imread(str(path), 0).astype(np.float32) / 255
    w, h = int(round(card.size[0] * s)), int(round(card.size[1] * s))
    img = cv2.resize(png, (w, h), interpolation=cv2.INTER_AREA)
    img = cv2.GaussianBlur(img, (0, 0), max(0.01, rng.uniform(0.02, 0.07) * s))            # ink spreads
    paper = rng.uniform(0.68, 0.84) * (1 + 0.012 * surface.noise(rng, h, w, max(1, 0.3 * s)) + 0.01 * surface.clouds(rng, h, w, 20 * s))
    dark = rng.uniform(0.03, 0.13) * (1 + 0.12 * surface.noise(rng, h, w, max(1, 0.15 * s)) + 0.06 * surface.noise(rng, h, w, w, max(1, 0.6 * s)))
    refl = (img * paper + (1 - img) * dark).clip(0.01, 0.95)
    c = surface.Canvas(0, 0, w / s, h / s, s)
    c.refl = (refl[..., None] * np.array([1.0, 0.985, 0.95 + rng.uniform(0, 0.06)])).astype(np.float32)[: c.h, : c.w]
    if c.refl.shape[:2] != (c.h, c.w):
        c.h, c.w = c.refl.shape[:2]
    c.gloss = np.full((c.h, c.w), 0.015, np.float32)
    return c


def card_layer(rng, sc, card, folder, s, eye):
    c = print_card(rng, folder / card.file, card, s)
    ca, sa = np.cos(card.angle), np.sin(card.angle)
    right, down = np.array([ca, sa, 0]), np.array([sa, -ca, 0])
    origin = np.append(card.at, card.level + 0.1) - right * card.size[0] / 2 - down * card.size[1] / 2
    # Lit as a whole at its place: paper is nearly matt.
    world = surface.Canvas(*(card.corners().min(0) - 2), *(card.corners().max(0) + 2), 2.0)
    world.refl[:] = 1.0
    lit = light.shade(rng, world, card.level, sc.room, eye, (0.5, 0.5), 0.0)
    k = s
    u, v = np.meshgrid((np.arange(c.w) + 0.5) / k, (np.arange(c.h) + 0.5) / k)
    p = world.tex(origin[:2] + u[..., None] * right[:2] + v[..., None] * down[:2]).astype(np.float32)
    img = c.refl * cv2.remap(lit, p[..., 0], p[..., 1], cv2.INTER_LINEAR)
    bow = None
    if any(card.bow):
        lx, ly = card.size
        bow = lambda a, b: (card.bow[0] * np.maximum(0, a / lx) ** 2 + card.bow[1] * np.maximum(0, b / ly) ** 2).astype(np.float32)
    # The rounding to whole texels is taken up by the pitch along x; cards are within 0.02 mm of their size along y.
    layer = camera.Layer(img, c.w / card.size[0], origin, right, down * 1.0, bow)
    return layer


def compose(rng, name, index, set_name, folder, stock, reference):
    hard, danger = set_name == "hard", set_name == "danger"
    plan = plans.random_plan(rng)
    kinds, p = ["brushed", "mill", "worn", "oxidised", "painted", "primer-green", "primer-grey", "primer-dark", "dye", "film", "paper"], None
    p = {"easy": [.3, .3, .08, 0, .06, .08, .08, 0, 0, .05, .05], "danger": [.22, .24, .14, .06, .06, .07, .06, .03, .04, .04, .04]}.get(
        set_name, [.14, .14, .14, .12, .06, .07, .06, .07, .08, .06, .06])
    kind = str(rng.choice(kinds, p=p))
    hand = hands.choose_hand(rng, kind, hard)
    marks = hands.intended(rng, plan, hand)
    sc = Scene(plan, kind, hand, marks)
    sc.rough = tuple(np.array(surface.SURFACES.get(kind, (0.3, 0.3))) * rng.uniform(0.85, 1.2))
    if hard or rng.random() < 0.4:
        sc.print_scale = tuple(rng.uniform(0.97, 1.02) + rng.normal(0, 0.001, 2))
    elif rng.random() < 0.7:
        sc.print_scale = tuple(1 + rng.normal(0, 0.003) + rng.normal(0, 0.0007, 2))
    diag = np.hypot(plan.width, plan.height)
    sc.tell_bars = bool(rng.random() < (0.6 if diag < 110 else 0.9))
    # --- faults
    flawless = rng.random() < (0.28 if danger else 0.5)
    trap = None
    if not flawless and danger and rng.random() < 0.35:
        order = [str(k) for k in rng.permutation(traps.OTHERS)]
        trap = next((k for k in order if traps.set_other(rng, sc, k)), None)
    if not flawless and not danger:
        for _ in range(int(rng.choice([1, 1, 2, 3]))):
            hands.fault(rng, plan, hand, marks, str(rng.choice(["missing", "misplaced", "stray", "stray", "struck", "double", "drift", "wrong-end", "wrong-edge", "replaced"])), None)
    elif flawless and rng.random() < 0.2:
        hands.fault(rng, plan, hand, marks, "replaced", None)
    # --- cards, camera, light
    sc.cards = lay_cards(rng, sc, stock, int(rng.choice([1, 2, 3, 4], p=[.2, .3, .25, .25])), rng.choice([0.0, 0.4, 0.9]))
    beside_level = 0.0 if rng.random() < 0.5 else -plan.thickness
    for c in sc.cards:
        c.level = 0.0 if c.on else beside_level
        if rng.random() < (0.35 if hard else 0.12):
            c.bow = tuple(rng.uniform(0, 1.5 if hard else 0.4, 2) * rng.integers(0, 2, 2))
    mp = int(rng.choice([12, 8, 6, 5, 4], p=[.12, .18, .2, .25, .25]))
    W, H = SIZES[mp]
    targets = [[0, 0, 0], [plan.width, 0, 0], [0, plan.height, 0], [plan.width, plan.height, 0]] + [[*q, c.level] for c in sc.cards for q in c.corners()]
    ext = np.ptp(np.array(targets)[:, :2], axis=0)
    roll = rng.normal(0, 0.07)
    turned = hard and rng.random() < 0.3 or rng.random() < 0.08
    if turned:
        roll += np.pi / 2 * int(rng.integers(1, 4))
    if (ext[1] > ext[0]) != (abs(np.sin(roll)) > 0.7):
        W, H = H, W
    f35 = float(rng.choice([23, 24, 26, 28]))
    f = f35 / 43.267 * np.hypot(W, H) * (1 + rng.normal(0, 0.012))
    tilt = np.radians(rng.uniform(0, 14) if set_name == "easy" else rng.uniform(0, 30) if danger else rng.uniform(5, 45))
    k1 = rng.normal(0, 0.012 if not hard else 0.03)
    sc.cam = cam = camera.aim(W, H, f, k1, rng.normal(0, 0.01), tilt, rng.uniform(0, 2 * np.pi), roll, targets,
                              rng.uniform(0.8, 0.93), rng.normal(0, 0.003, 2) * W)
    cam.skew = rng.normal(0, 0.0004) if hard else 0.0
    glare = rng.random() < (0.25 if set_name == "easy" else 0.5)
    sc.room = light.make_room(rng, (plan.width, plan.height), hard or danger, glare)
    grid = [np.array([x, y]) for x in np.linspace(0, plan.width, 25) for y in np.linspace(0, plan.height, 25)]
    sc.glare_top = max(light.highlight(sc.room, cam.eye, sc.rough, g) for g in grid) + 1e-6
    if rng.random() < {"easy": 0.1, "danger": 0.25, "hard": 0.4}[set_name] and kind in ("brushed", "mill", "worn", "oxidised"):
        y = rng.uniform(0.3, 0.8) * plan.height
        sc.stamp = (0, y, plan.width, y + 1)
    for _ in range(int(rng.choice([0, 0, 0, 1, 2] if hard or danger else [0, 0, 0, 0, 0, 1]))):
        at = np.array([rng.uniform(0.2, 0.8) * plan.width, rng.uniform(0.3, 0.7) * plan.height])
        if traps.clear(at, marks, plan, 14):
            sc.texts.append((at, str(rng.choice(["3/32", "1/8", "FWD", "LH", "UP", "KEEL 2", "NO", "HATCH"])), rng.uniform(4, 9), rng.normal(0, 0.15)))
    if danger and not flawless and not trap:
        order = [str(k) for k in rng.permutation(traps.STRAYS)]
        trap = next(k for k in order if traps.set_stray(rng, sc, k))
    return paint(rng, sc, name, index, set_name, folder, reference, {"f35": f35, "mp": mp, "beside": beside_level, "trap": trap, "tilt": float(np.degrees(tilt)),
                                                                     "glare": bool(glare), "turned": bool(turned), "k1": float(k1)})


def paint(rng, sc, name, index, set_name, folder, reference, info):
    hard, danger = set_name == "hard", set_name == "danger"
    plan, hand, cam = sc.plan, sc.hand, sc.cam
    W, H = cam.w, cam.h
    dx = 5.0
    near = np.array([cam.project([x + e[0], y + e[1], 0]) - cam.project([x, y, 0]) for x in (0, plan.width) for y in (0, plan.height) for e in ((dx, 0), (0, dx))])
    ppm = np.hypot(*near.T) / dx
    s = float(np.clip(1.25 * ppm.max(), 9, 24))
    w, h = plan.width + rng.normal(0, 0.06), plan.height + rng.normal(0, 0.06)
    s = min(s, np.sqrt(45e6 / (w * h)))
    s = round(w * s) / w                     # whole texels along x
    c = surface.make_sheet(rng, sc.surface, w, h, s, reference)
    surface.burr(rng, c, w, h)
    if sc.stamp:
        ink.mill_stamp(rng, c, (max(0, sc.stamp[0]), sc.stamp[1], min(w, sc.stamp[2]), sc.stamp[3]), str(rng.choice(["5052-H32 .040  ALCLAD  LOT 7741", "2024-T3 .032 ALCLAD 118806", "AL 6061-T6  1.00 MM"])),
                       rng.uniform(2.2, 4.5), [(0.05, 0.06, 0.2), (0.25, 0.04, 0.05), (0.07, 0.07, 0.07)][int(rng.integers(3))], rng.uniform(0.3, 0.75))
    text_pen = hand.pen if hand.pen.kind != "scribe" else ink.Pen("marker", 0.6, ink.BLACK, 0.9)
    for at, text, height, ang in sc.texts:
        ink.writing(rng, c, at, text, height, ang, text_pen)
    if sc.thin_strike:
        hand.strike = "x"
    hands.draw(rng, c, hand, [m for m in sc.marks if not (m.struck and sc.thin_strike)])
    for m in sc.marks:
        if m.struck and sc.thin_strike:
            m.struck = False
            hands.draw_mark(rng, c, hand, m)
            m.struck = True
            ink.cross_out(rng, c, m.at, rng.uniform(4.2, 6), ink.replace(hand.pen, width=min(hand.pen.width, 0.45)).weaker(rng.uniform(0.45, 0.8)), "x")
    traps.draw_decoys(rng, c, sc)
    # Not in the danger set's flawless photos more than elsewhere: dirt tells nothing of the verdict.
    for f, p in ((lambda a: ink.smear(rng, c, a, hand.pen, rng.uniform(4, 14)), 0.25), (lambda a: ink.fingerprint(rng, c, a), 0.5), (lambda a: ink.swarf(rng, c, a), 0.2)):
        if rng.random() < p * (0.3 if set_name == "easy" else 1):
            for _ in range(int(rng.integers(1, 4))):
                f(np.array([rng.uniform(0, w), rng.uniform(0, h)]))
    # --- layers, from the bench up
    edge = cam.rays(np.array([0.0, W, 0, W]), np.array([0.0, 0, H, H]))
    d = np.stack([*edge, np.ones(4)], -1) @ cam.rot
    t = np.clip((-plan.thickness - cam.eye[2]) / np.minimum(d[:, 2], -0.05), 0, 4000)
    foot = (cam.eye + d * t[:, None])[:, :2]
    lo, hi = np.maximum(foot.min(0) - 20, -450), np.minimum(foot.max(0) + 20, np.array([w, h]) + 450)
    sb = min(ppm.mean() * 0.9, np.sqrt(9e6 / np.prod(hi - lo)))
    bench_kind = str(rng.choice(BENCHES if set_name != "easy" else [b for b in BENCHES if b != "steel"]))
    bench = surface.make_bench(rng, bench_kind, (*lo, *hi), sb)
    whole = Card(0, "", np.array([w, h]), np.array([w, h]) / 2, 0.0, True, 0.0)
    clutter(rng, bench, [whole] + [k for k in sc.cards if not k.on], int(rng.integers(0, 3 if set_name == "easy" else 7)))
    lifted = [whole.corners()] + [k.corners(4) for k in sc.cards if not k.on and k.level == 0 and plan.thickness]
    shadow = light.dropped_shadow(bench, lifted, plan.thickness, sc.room)
    layers = [camera.Layer(light.shade(rng, bench, -plan.thickness, sc.room, cam.eye, (0.3, 0.3), 0, shadow), bench.s,
                           np.array([bench.x0, bench.y1, -plan.thickness]), np.array([1.0, 0, 0]), np.array([0, -1.0, 0]), None, True)]
    for k in sc.cards:
        if not k.on and k.level == 0:        # a scrap of the same thickness under it
            scrap = surface.make_sheet(rng, "mill", *(k.size + 7), 5.0, None)
            ca, sa = np.cos(k.angle), np.sin(k.angle)
            rt, dn = np.array([ca, sa, 0]), np.array([sa, -ca, 0])
            corner = np.append(k.at, 0) - rt * (k.size[0] + 7) / 2 - dn * (k.size[1] + 7) / 2
            lit = light.shade(rng, scrap, 0, light.moved(sc.room, k.at), cam.eye - np.append(k.at, 0), sc.rough, 0.01)
            layers.append(camera.Layer(lit, 5.0, corner, rt, dn))
    cards = lambda on: [card_layer(rng, sc, k, folder, s, cam.eye) for k in sc.cards if k.on == on]
    layers += cards(False)
    for a, b, n in (((0, 0), (w, 0), (0, -1)), ((w, 0), (w, h), (1, 0)), ((w, h), (0, h), (0, 1)), ((0, h), (0, 0), (-1, 0))):
        a, b, n = np.array([*a, 0.0]), np.array([*b, 0.0]), np.array([*n, 0.0])
        if (cam.eye - a) @ n > 0:            # the cut side turned to the camera
            e = np.linalg.norm(b - a)
            ww, hh = int(e * 4), max(2, int(plan.thickness * 14))
            lit = sum(l.power * l.colour * max(0.05, (l.at / np.linalg.norm(l.at)) @ n) for l in sc.room.lights) + sc.room.ambient
            img = rng.uniform(0.15, 0.5) * lit * (1 + 0.25 * surface.noise(rng, hh, ww, 3, 2)).clip(0.3, 2)[..., None]
            wall = camera.Layer(cv2.resize(img.astype(np.float32), (int(e * s), max(2, int(round(plan.thickness * s))))), s, a, (b - a) / e, np.array([0, 0, -1.0]))
            layers.append(wall)
    face = light.shade(rng, c, 0, sc.room, cam.eye, sc.rough, rng.uniform(0.004, 0.02))
    for k in sc.cards:
        if k.on:
            face *= light.dropped_shadow(c, [k.corners()], 0.25, sc.room)[..., None]
    alpha = np.ones((c.h, c.w), np.float32)
    r = rng.uniform(0.1, 1.2)                # deburred corners
    n = int(np.ceil(r * s))
    yy, xx = np.mgrid[:n, :n] + 0.5
    q = ((r * s - np.hypot(r * s - xx, r * s - yy)) + 0.5).clip(0, 1)
    for fl in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
        v = alpha[:: fl[0], :: fl[1]]
        v[:n, :n] = np.minimum(v[:n, :n], q)
    bow, bowed = None, hard and rng.random() < 0.2
    if bowed:
        lift = rng.uniform(0.15, 0.5)
        bow = lambda a, b: (lift * 4 * (a / w) * (1 - a / w)).clip(0, None).astype(np.float32)
    # Rows of texels are a hair more or less than the sheet's height; the origin is at the lower edge, where the datum is.
    top = c.h / s
    layers.append(camera.Layer(face * alpha[..., None], s, np.array([0, top, 0.0]), np.array([1.0, 0, 0]), np.array([0, -1.0, 0]), bow, False, alpha))
    work = float(np.percentile(face[::7, ::7].mean(-1), 90))
    del face
    layers += cards(True)
    covers = []
    if rng.random() < (0.3 if hard else 0.08) and sc.cards:      # tape, or a thumb, on a card
        k = sc.cards[int(rng.integers(len(sc.cards)))]
        q = k.corners()[int(rng.integers(4))]
        size = np.array([rng.uniform(14, 30), rng.uniform(12, 19)])
        tape = Card(0, "", size, q + rng.normal(0, 3, 2), rng.uniform(0, 3), True, 0.0)
        tc = surface.Canvas(0, 0, *size, 8.0)
        tc.refl[:] = np.array([0.62, 0.53, 0.33] if rng.random() < 0.6 else [0.55, 0.33, 0.24]) * (1 + 0.05 * surface.noise(rng, tc.h, tc.w, 5))[..., None]
        ca, sa = np.cos(tape.angle), np.sin(tape.angle)
        rt, dn = np.array([ca, sa, 0]), np.array([sa, -ca, 0])
        o = np.append(tape.at, k.level + 0.25) - rt * size[0] / 2 - dn * size[1] / 2
        layers.append(camera.Layer(tc.refl * sum(l.power * l.colour * l.at[2] / np.linalg.norm(l.at) for l in sc.room.lights).astype(np.float32), 8.0, o, rt, dn))
        covers.append(tape)
    img = camera.expose(cam, layers, 2)
    del layers
    focus = rng.uniform(0.35, 0.8) if not hard else rng.choice([rng.uniform(0.4, 1.0), rng.uniform(0.8, 2.2)])
    motion = rng.choice([0, 0, rng.uniform(0.5, 4)]) if hard else rng.choice([0, 0, 0, rng.uniform(0, 1.2)])
    img = camera.fringe(camera.blur(img, focus, motion, rng.uniform(0, np.pi)), abs(rng.normal(0, 0.0002)))
    low = hard and rng.random() < 0.35
    look = {"exposure": rng.uniform(0.18, 0.34) * (0.6 if low else 1), "noise": rng.uniform(0.15, 0.4) if low else rng.uniform(0.02, 0.09),
            "denoise": rng.uniform(0.6, 1.3) if low else rng.uniform(0, 0.6), "sharpen": rng.uniform(0.2, 0.8) if set_name == "easy" else rng.uniform(0.2, 1.6),
            "radius": rng.uniform(0.7, 1.4), "hdr": rng.choice([0, rng.uniform(0.2, 0.8)]), "contrast": rng.uniform(0.1, 0.55),
            "vignette": rng.uniform(0, 0.3), "wb": 1 + rng.normal(0, 0.03, 3), "top": rng.uniform(0.5, 0.95) * (0.6 if low else 1), "work": work}
    rgb = camera.develop(rng, img, look)
    quality = rng.integers(84, 96) if not hard else rng.integers(70, 96)
    orient = int(rng.choice([1, 1, 3, 6, 8]))
    camera.save(f"{name}.jpg", rgb, quality, orient, info["f35"], info["f35"] / 6.2, 60 + 12000 * look["noise"] ** 1.5, f"MX-{3 + int(info['f35']) % 4}", index)
    plan_text = plan.toml()
    Path(f"{name}.toml").write_text(plan_text)
    truth = hands.truth(plan, sc.marks)
    judge(truth, rgb, sc, covers + [k for k in sc.cards if k.on], float(ppm.min()), float(np.hypot(focus, motion / 3.46) / ppm.min()))
    args = []
    told = [round(float(100 * k + rng.uniform(-0.03, 0.03)), 1) for k in sc.print_scale]
    if sc.tell_bars:
        args += ["--bars", f"{told[0]}mm,{told[1]}mm"]
    off = any(not k.on for k in sc.cards)
    if off and rng.random() < 0.8:
        args += ["--card-below", f"{abs(info["beside"])}mm"]
    corner = cam.project([0, 0, 0]) - cam.project([w / 2, h / 2, 0])
    if info["turned"]:
        args += ["--datum-corner", ("upper" if corner[1] < 0 else "lower") + "-" + ("left" if corner[0] < 0 else "right")]
    truth |= {"photo": Path(name).name + ".jpg", "args": args, "tolerance": plan.tolerance, "surface": sc.surface, "bench": bench_kind, "hand": hand.kind,
              "pen": [hand.pen.kind, round(hand.pen.width, 2), round(hand.pen.strength, 2)], "ruled": hand.ruled, "cards": [[k.number, k.on, k.bow] for k in sc.cards],
              "print_scale": sc.print_scale, "texts": [[*map(float, t[0]), t[1]] for t in sc.texts], "stamp": sc.stamp is not None, "decoys": [[list(map(float, a)), k] for a, k in sc.decoys],
              "px_per_mm": [float(ppm.min()), float(ppm.max())], "blur_px": [float(focus), float(motion)], "noise": float(look["noise"]), "bowed": bool(bowed), "light": len(sc.room.lights), **info}
    truth["provable"] = bool(sc.tell_bars or np.hypot(plan.width, plan.height) * 0.01 < 0.3 * plan.tolerance)
    Path(f"{name}.json").write_text(json.dumps(truth, indent=1, default=lambda v: v.item() if hasattr(v, "item") else list(v)))


def judge(truth, rgb, sc, covers, ppm_min, blur_mm):
    """Whether a careful person can read the photo: each mark shows, each empty place shows as empty."""
    grey = cv2.GaussianBlur(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32), (0, 0), 0.7)
    h, w = grey.shape

    def shows(m):
        d = np.array(m.along, float)
        reach = 0 if m.kind == "dot" else 0.3 * (m.size or sc.hand.size)
        turn = {"dot": 0, "tick": np.pi / 2, "plus": np.pi / 2, "x": np.pi / 4}[m.kind]
        e = np.array([d[0] * np.cos(turn) - d[1] * np.sin(turn), d[0] * np.sin(turn) + d[1] * np.cos(turn)])
        worst = 1e9
        for sign in (-1, 1):
            p = m.at + sign * reach * e
            u = sc.cam.project([*p, 0])
            r = np.hypot(*(sc.cam.project([p[0] + 1, p[1], 0]) - u))
            x, y = int(u[0]), int(u[1])
            big, small = int(2.5 * r), max(1, int(0.35 * r))
            if not (big < x < w - big and big < y < h - big):
                return 0.0
            around, core = grey[y - big:y + big, x - big:x + big], grey[y - small:y + small + 1, x - small:x + small + 1]
            mid = np.median(around)
            sd = 1.48 * np.median(np.abs(around - mid)) + 0.5
            con = max(mid - core.min(), core.max() - mid)
            worst = min(worst, con if con > 3.5 * sd else 0.0)
        return float(worst)

    seen = True
    for hole in truth["holes"]:
        at = np.array(hole["planned"] if hole["found"] is None else hole["found"])
        u = sc.cam.project([*at, 0])
        x, y, r = int(u[0]), int(u[1]), 8
        patch = grey[max(0, y - r):y + r, max(0, x - r):x + r]
        hole["px"] = u.tolist()
        hole["covered"] = any(k.covers(at, 0) for k in covers)
        m = next((k for k in sc.marks if hole["found"] == k.at.tolist()), None)
        hole["contrast"] = shows(m) if m else None
        ok = not hole["covered"] and patch.size and 10 < np.median(patch) < 248 and (m is None or hole["contrast"] >= 12)
        hole["shows"] = bool(ok)
        seen &= bool(ok)
    for s in truth["strays"] + truth["struck"]:
        s["px"] = sc.cam.project([*s["at"], 0]).tolist()
        m = next(k for k in sc.marks if s["at"] == k.at.tolist())
        s["kind"], s["contrast"] = m.kind, shows(m)
        s["shows"] = s["contrast"] >= 12 and not any(k.covers(s["at"], 0) for k in covers)
    truth["blur_mm"] = blur_mm
    truth["readable"] = bool(seen and ppm_min > 4 and blur_mm < 0.22)


def main():
    ap = argparse.ArgumentParser(description=__doc__)
    ap.add_argument("set", choices=SETS)
    ap.add_argument("out", type=Path)
    ap.add_argument("--cards", type=Path, required=True, help="folder made by `punchready cards --png`")
    ap.add_argument("--reference", help="folder of the reference photos; without it worn surfaces are plainer")
    ap.add_argument("--only", type=int, nargs="*")
    a = ap.parse_args()
    cv2.setNumThreads(1)
    a.out.mkdir(parents=True, exist_ok=True)
    stock = json.loads((a.cards / "cards.json").read_text())
    count, seed = SETS[a.set]
    for i in a.only if a.only else range(count):
        name = str(a.out / f"{a.set}-{i:03}")
        compose(np.random.default_rng([seed, i]), name, i, a.set, a.cards, stock, a.reference)
        print(name, flush=True)


if __name__ == "__main__":
    main()
