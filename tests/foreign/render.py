#!/usr/bin/env python3
"""Makes a set of photos with known truth: render.py easy|danger|hard OUT --cards DIR [--reference DIR] [--only N ...]"""

import argparse
import json
from pathlib import Path
import cv2
import numpy as np
import camera, eyes, hand as hands, ink, light, plans, surface, traps
from scene import Card, Scene, card_layer, clutter, lay_cards

SETS = {"easy": (40, 7100), "danger": (60, 7200), "hard": (60, 7300)}
BENCHES = ["wood", "wood", "concrete", "mat", "cloth", "cardboard", "steel", "laminate"]
SIZES = {12: (4000, 3000), 8: (3264, 2448), 6: (2880, 2160), 5: (2592, 1944), 4: (2304, 1728)}


def compose(rng, name, index, set_name, folder, stock, reference):
    hard, danger = set_name == "hard", set_name == "danger"
    plan = plans.random_plan(rng)
    kinds, p = [
        "brushed",
        "mill",
        "worn",
        "oxidised",
        "painted",
        "primer-green",
        "primer-grey",
        "primer-dark",
        "dye",
        "film",
        "paper",
    ], None
    p = {
        "easy": [0.3, 0.3, 0.08, 0, 0.06, 0.08, 0.08, 0, 0, 0.05, 0.05],
        "danger": [0.22, 0.24, 0.14, 0.06, 0.06, 0.07, 0.06, 0.03, 0.04, 0.04, 0.04],
    }.get(set_name, [0.14, 0.14, 0.14, 0.12, 0.06, 0.07, 0.06, 0.07, 0.08, 0.06, 0.06])
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
            hands.fault(
                rng,
                plan,
                hand,
                marks,
                str(
                    rng.choice(
                        [
                            "missing",
                            "misplaced",
                            "stray",
                            "stray",
                            "struck",
                            "double",
                            "drift",
                            "wrong-end",
                            "wrong-edge",
                            "replaced",
                        ]
                    )
                ),
                None,
            )
    elif flawless and rng.random() < 0.2:
        hands.fault(rng, plan, hand, marks, "replaced", None)
    # --- cards, camera, light
    sc.cards = lay_cards(
        rng, sc, stock, int(rng.choice([1, 2, 3, 4], p=[0.2, 0.3, 0.25, 0.25])), rng.choice([0.0, 0.4, 0.9])
    )
    beside_level = 0.0 if rng.random() < 0.5 else -plan.thickness
    for c in sc.cards:
        c.level = 0.0 if c.on else beside_level
        if rng.random() < (0.35 if hard else 0.12):
            c.bow = tuple(rng.uniform(0, 1.5 if hard else 0.4, 2) * rng.integers(0, 2, 2))
    mp = int(rng.choice([12, 8, 6, 5, 4], p=[0.12, 0.18, 0.2, 0.25, 0.25]))
    W, H = SIZES[mp]
    targets = [[0, 0, 0], [plan.width, 0, 0], [0, plan.height, 0], [plan.width, plan.height, 0]] + [
        [*q, c.level] for c in sc.cards for q in c.corners()
    ]
    ext = np.ptp(np.array(targets)[:, :2], axis=0)
    roll = rng.normal(0, 0.07)
    turned = hard and rng.random() < 0.3 or rng.random() < 0.08
    quarters = int(rng.integers(1, 4)) if turned else 0
    roll += np.pi / 2 * quarters
    if (ext[1] > ext[0]) != (abs(np.sin(roll)) > 0.7):
        W, H = H, W
    f35 = float(rng.choice([23, 24, 26, 28]))
    f = f35 / 43.267 * np.hypot(W, H) * (1 + rng.normal(0, 0.012))
    tilt = np.radians(
        rng.uniform(0, 14) if set_name == "easy" else rng.uniform(0, 30) if danger else rng.uniform(5, 45)
    )
    k1 = rng.normal(0, 0.012 if not hard else 0.03)
    sc.cam = cam = camera.aim(
        W,
        H,
        f,
        k1,
        rng.normal(0, 0.01),
        tilt,
        rng.uniform(0, 2 * np.pi),
        roll,
        targets,
        rng.uniform(0.8, 0.93),
        rng.normal(0, 0.003, 2) * W,
    )
    cam.skew = rng.normal(0, 0.0004) if hard else 0.0
    glare = rng.random() < (0.25 if set_name == "easy" else 0.5)
    sc.room = light.make_room(rng, (plan.width, plan.height), hard or danger, glare)
    grid = [np.array([x, y]) for x in np.linspace(0, plan.width, 25) for y in np.linspace(0, plan.height, 25)]
    sc.glare_top = max(light.highlight(sc.room, cam.eye, sc.rough, g) for g in grid) + 1e-6
    if rng.random() < {"easy": 0.1, "danger": 0.25, "hard": 0.4}[set_name] and kind in (
        "brushed",
        "mill",
        "worn",
        "oxidised",
    ):
        y = rng.uniform(0.3, 0.8) * plan.height
        sc.stamp = (0, y, plan.width, y + 1)
    for _ in range(int(rng.choice([0, 0, 0, 1, 2] if hard or danger else [0, 0, 0, 0, 0, 1]))):
        at = np.array([rng.uniform(0.2, 0.8) * plan.width, rng.uniform(0.3, 0.7) * plan.height])
        if traps.clear(at, marks, plan, 14):
            sc.texts.append(
                (
                    at,
                    str(rng.choice(["3/32", "1/8", "FWD", "LH", "UP", "KEEL 2", "NO", "HATCH"])),
                    rng.uniform(4, 9),
                    rng.normal(0, 0.15),
                )
            )
    if danger and not flawless and not trap:
        order = [str(k) for k in rng.permutation(traps.STRAYS)]
        trap = next(k for k in order if traps.set_stray(rng, sc, k))
    return paint(
        rng,
        sc,
        name,
        index,
        set_name,
        folder,
        reference,
        {
            "f35": f35,
            "mp": mp,
            "beside": beside_level,
            "trap": trap,
            "tilt": float(np.degrees(tilt)),
            "glare": bool(glare),
            "turned": quarters,
            "k1": float(k1),
        },
    )


def paint(rng, sc, name, index, set_name, folder, reference, info):
    hard, danger = set_name == "hard", set_name == "danger"
    plan, hand, cam = sc.plan, sc.hand, sc.cam
    W, H = cam.w, cam.h
    dx = 5.0
    near = np.array(
        [
            cam.project([x + e[0], y + e[1], 0]) - cam.project([x, y, 0])
            for x in (0, plan.width)
            for y in (0, plan.height)
            for e in ((dx, 0), (0, dx))
        ]
    )
    ppm = np.hypot(*near.T) / dx
    s = float(np.clip(1.25 * ppm.max(), 9, 24))
    w, h = plan.width + rng.normal(0, 0.06), plan.height + rng.normal(0, 0.06)
    s = min(s, np.sqrt(45e6 / (w * h)))
    s = round(w * s) / w  # whole texels along x
    c = surface.make_sheet(rng, sc.surface, w, h, s, reference)
    w, h = c.w / s, c.h / s
    surface.burr(rng, c, {"easy": 0.4, "danger": 0.5, "hard": 1.0}[set_name])
    if sc.stamp:
        ink.mill_stamp(
            rng,
            c,
            (max(0, sc.stamp[0]), sc.stamp[1], min(w, sc.stamp[2]), sc.stamp[3]),
            str(rng.choice(["5052-H32 .040  ALCLAD  LOT 7741", "2024-T3 .032 ALCLAD 118806", "AL 6061-T6  1.00 MM"])),
            rng.uniform(2.2, 4.5),
            [(0.05, 0.06, 0.2), (0.25, 0.04, 0.05), (0.07, 0.07, 0.07)][int(rng.integers(3))],
            rng.uniform(0.3, 0.75),
        )
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
            ink.cross_out(
                rng,
                c,
                m.at,
                rng.uniform(4.2, 6),
                ink.replace(hand.pen, width=min(hand.pen.width, 0.45)).weaker(rng.uniform(0.45, 0.8)),
                "x",
            )
    traps.draw_decoys(rng, c, sc)
    # Not in the danger set's flawless photos more than elsewhere: dirt tells nothing of the verdict.
    for f, p in (
        (lambda a: ink.smear(rng, c, a, hand.pen, rng.uniform(4, 14)), 0.25),
        (lambda a: ink.fingerprint(rng, c, a), 0.5),
        (lambda a: ink.swarf(rng, c, a), 0.2),
    ):
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
    clutter(
        rng, bench, [whole] + [k for k in sc.cards if not k.on], int(rng.integers(0, 3 if set_name == "easy" else 7))
    )
    lifted = [whole.corners()] + [k.corners(4) for k in sc.cards if not k.on and k.level == 0 and plan.thickness]
    shadow = light.dropped_shadow(bench, lifted, plan.thickness, sc.room)
    layers = [
        camera.Layer(
            light.shade(rng, bench, -plan.thickness, sc.room, cam.eye, (0.3, 0.3), 0, shadow),
            bench.s,
            np.array([bench.x0, bench.y1, -plan.thickness]),
            np.array([1.0, 0, 0]),
            np.array([0, -1.0, 0]),
            None,
            True,
        )
    ]
    for k in sc.cards:
        if not k.on and k.level == 0:  # a scrap of the same thickness under it
            scrap = surface.make_sheet(rng, "mill", *(k.size + 7), 5.0, None)
            ca, sa = np.cos(k.angle), np.sin(k.angle)
            rt, dn = np.array([ca, sa, 0]), np.array([sa, -ca, 0])
            corner = np.append(k.at, 0) - rt * (k.size[0] + 7) / 2 - dn * (k.size[1] + 7) / 2
            lit = light.shade(rng, scrap, 0, light.moved(sc.room, k.at), cam.eye - np.append(k.at, 0), sc.rough, 0.01)
            layers.append(camera.Layer(lit, 5.0, corner, rt, dn))
    cards = lambda on: [card_layer(rng, sc, k, folder, s, cam.eye) for k in sc.cards if k.on == on]
    layers += cards(False)
    for a, b, n in (
        ((0, 0), (w, 0), (0, -1)),
        ((w, 0), (w, h), (1, 0)),
        ((w, h), (0, h), (0, 1)),
        ((0, h), (0, 0), (-1, 0)),
    ):
        a, b, n = np.array([*a, 0.0]), np.array([*b, 0.0]), np.array([*n, 0.0])
        if (cam.eye - a) @ n > 0:  # the cut side turned to the camera
            e = np.linalg.norm(b - a)
            ww, hh = int(e * 4), max(2, int(plan.thickness * 14))
            lit = (
                sum(l.power * l.colour * max(0.05, (l.at / np.linalg.norm(l.at)) @ n) for l in sc.room.lights)
                + sc.room.ambient
            )
            img = rng.uniform(0.15, 0.5) * lit * (1 + 0.25 * surface.noise(rng, hh, ww, 3, 2)).clip(0.3, 2)[..., None]
            wall = camera.Layer(
                cv2.resize(img.astype(np.float32), (int(e * s), max(2, int(round(plan.thickness * s))))),
                s,
                a,
                (b - a) / e,
                np.array([0, 0, -1.0]),
            )
            layers.append(wall)
    face = light.shade(rng, c, 0, sc.room, cam.eye, sc.rough, rng.uniform(0.004, 0.02))
    for k in sc.cards:
        if k.on:
            face *= light.dropped_shadow(c, [k.corners()], 0.25, sc.room)[..., None]
    alpha = np.ones((c.h, c.w), np.float32)
    r = rng.uniform(0.1, 1.2)  # deburred corners
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
    layers.append(
        camera.Layer(
            face * alpha[..., None],
            s,
            np.array([0, c.y1, 0.0]),
            np.array([1.0, 0, 0]),
            np.array([0, -1.0, 0]),
            bow,
            False,
            alpha,
        )
    )
    work = float(np.percentile(face[::7, ::7].mean(-1), 90))
    del face
    layers += cards(True)
    covers = []
    if rng.random() < (0.3 if hard else 0.08) and sc.cards:  # tape, or a thumb, on a card
        k = sc.cards[int(rng.integers(len(sc.cards)))]
        q = k.corners()[int(rng.integers(4))]
        size = np.array([rng.uniform(14, 30), rng.uniform(12, 19)])
        tape = Card(0, "", size, q + rng.normal(0, 3, 2), rng.uniform(0, 3), True, 0.0)
        tc = surface.Canvas(0, 0, *size, 8.0)
        tc.refl[:] = (
            np.array([0.62, 0.53, 0.33] if rng.random() < 0.6 else [0.55, 0.33, 0.24])
            * (1 + 0.05 * surface.noise(rng, tc.h, tc.w, 5))[..., None]
        )
        ca, sa = np.cos(tape.angle), np.sin(tape.angle)
        rt, dn = np.array([ca, sa, 0]), np.array([sa, -ca, 0])
        o = np.append(tape.at, k.level + 0.25) - rt * size[0] / 2 - dn * size[1] / 2
        layers.append(
            camera.Layer(
                tc.refl
                * sum(l.power * l.colour * l.at[2] / np.linalg.norm(l.at) for l in sc.room.lights).astype(np.float32),
                8.0,
                o,
                rt,
                dn,
            )
        )
        covers.append(tape)
    img = camera.expose(cam, layers, 2)
    del layers
    focus = rng.uniform(0.35, 0.8) if not hard else rng.choice([rng.uniform(0.4, 1.0), rng.uniform(0.8, 2.2)])
    motion = rng.choice([0, 0, rng.uniform(0.5, 4)]) if hard else rng.choice([0, 0, 0, rng.uniform(0, 1.2)])
    img = camera.fringe(camera.blur(img, focus, motion, rng.uniform(0, np.pi)), abs(rng.normal(0, 0.0002)))
    low = hard and rng.random() < 0.35
    look = {
        "exposure": rng.uniform(0.18, 0.34) * (0.6 if low else 1),
        "noise": rng.uniform(0.15, 0.4) if low else rng.uniform(0.02, 0.09),
        "denoise": rng.uniform(0.6, 1.3) if low else rng.uniform(0, 0.6),
        "sharpen": rng.uniform(0.2, 0.8) if set_name == "easy" else rng.uniform(0.2, 1.6),
        "radius": rng.uniform(0.7, 1.4),
        "hdr": rng.choice([0, rng.uniform(0.2, 0.8)]),
        "contrast": rng.uniform(0.1, 0.55),
        "vignette": rng.uniform(0, 0.3),
        "wb": 1 + rng.normal(0, 0.03, 3),
        "top": rng.uniform(0.5, 0.95) * (0.6 if low else 1),
        "work": work,
    }
    rgb = camera.develop(rng, img, look)
    quality = rng.integers(84, 96) if not hard else rng.integers(70, 96)
    orient = int(rng.choice([1, 1, 3, 6, 8]))
    camera.save(
        f"{name}.jpg",
        rgb,
        quality,
        orient,
        info["f35"],
        info["f35"] / 6.2,
        60 + 12000 * look["noise"] ** 1.5,
        f"MX-{3 + int(info['f35']) % 4}",
        index,
    )
    covered = sum(k.size.prod() for k in sc.cards if k.on) / (plan.width * plan.height)
    if covered and index % 10 < 7:  # nothing was marked where the cards lie, and the plan's author says so
        plan.seen = max(0.2, 0.95 - 1.25 * covered)
    plan_text = plan.toml()
    Path(f"{name}.toml").write_text(plan_text)
    truth = hands.truth(plan, sc.marks)
    eyes.judge(
        truth,
        rgb,
        sc,
        covers + [k for k in sc.cards if k.on],
        float(ppm.min()),
        float(np.hypot(focus, motion / 3.46) / ppm.min()),
    )
    args = []
    told = [round(float(100 * k + rng.uniform(-0.03, 0.03)), 1) for k in sc.print_scale]
    if sc.tell_bars:
        args += ["--bars", f"{told[0]}mm,{told[1]}mm"]
    off = any(not k.on for k in sc.cards)
    if off and rng.random() < 0.8:
        args += ["--card-below", f"{abs(info['beside'])}mm"]
    if info["turned"] or index % 10 < 7:  # most people say so; the others leave it to the marks
        args += ["--datum-corner", ["lower-left", "lower-right", "upper-right", "upper-left"][info["turned"]]]
    truth |= {
        "photo": Path(name).name + ".jpg",
        "args": args,
        "tolerance": plan.tolerance,
        "surface": sc.surface,
        "bench": bench_kind,
        "hand": hand.kind,
        "pen": [hand.pen.kind, round(hand.pen.width, 2), round(hand.pen.strength, 2)],
        "ruled": hand.ruled,
        "cards": [[k.number, k.on, k.bow] for k in sc.cards],
        "print_scale": sc.print_scale,
        "texts": [[*map(float, t[0]), t[1]] for t in sc.texts],
        "stamp": sc.stamp is not None,
        "decoys": [[list(map(float, a)), k] for a, k in sc.decoys],
        "px_per_mm": [float(ppm.min()), float(ppm.max())],
        "blur_px": [float(focus), float(motion)],
        "noise": float(look["noise"]),
        "bowed": bool(bowed),
        "light": len(sc.room.lights),
        **info,
    }
    truth["edges"] = eyes.edges(rgb, cam, w, h)
    truth["provable"] = bool(sc.tell_bars or np.hypot(plan.width, plan.height) * 0.01 < 0.3 * plan.tolerance)
    Path(f"{name}.json").write_text(
        json.dumps(truth, indent=1, default=lambda v: v.item() if hasattr(v, "item") else list(v))
    )


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
