"""One scene before the camera: the plan, its marks, the cards and what lies about on the bench."""

from dataclasses import dataclass, field
import cv2
import numpy as np
import camera, light, surface


@dataclass
class Card:
    number: int
    file: str
    size: np.ndarray  # mm as printed
    at: np.ndarray  # middle, sheet frame
    angle: float
    on: bool  # on the sheet
    level: float  # z of what it lies on
    bow: tuple = (0.0, 0.0)  # mm of lift of the right and the lower end

    def corners(self, grow=0.0):
        c, s = np.cos(self.angle), np.sin(self.angle)
        h = self.size / 2 + grow
        return self.at + np.array([[-h[0], -h[1]], [h[0], -h[1]], [h[0], h[1]], [-h[0], h[1]]]) @ np.array(
            [[c, s], [-s, c]]
        )

    def covers(self, p, grow=0.5):
        c, s = np.cos(self.angle), np.sin(self.angle)
        q = (np.asarray(p) - self.at) @ np.array([[c, -s], [s, c]])
        return bool((np.abs(q) < self.size / 2 + grow).all())

    def beside(self, rng, gap):
        t, side = rng.uniform(-0.45, 0.45), int(rng.integers(4))
        q = [
            (t * self.size[0], self.size[1] / 2 + gap),
            (t * self.size[0], -self.size[1] / 2 - gap),
            (self.size[0] / 2 + gap, t * self.size[1]),
            (-self.size[0] / 2 - gap, t * self.size[1]),
        ][side]
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
        return all(
            cv2.intersectConvexConvex(poly, cv2.convexHull(o.corners(9).astype(np.float32)))[0] <= 0 for o in cards
        )

    for k in range(want):
        info = pool[used[k]]
        size = np.array(info["outer_size_mm"]) * sc.print_scale
        found = []
        for _ in range(400):
            on = rng.random() < prefer_on
            angle = (
                rng.normal(0, 0.08) + (np.pi / 2) * int(rng.integers(4))
                if rng.random() < 0.8
                else rng.uniform(-np.pi, np.pi)
            )
            card = Card(info["number"], info["file"], size, np.zeros(2), angle, on, 0.0)
            ext = np.abs(card.corners() - card.at).max(0)
            if on:
                if (ext * 2 + 8 > [w, h]).any():
                    continue
                card.at = np.array([rng.uniform(ext[0] + 3, w - ext[0] - 3), rng.uniform(ext[1] + 3, h - ext[1] - 3)])
                clear = not any(card.covers(b, 5) for b in busy) and not any(
                    card.covers(np.asarray(p) + (np.asarray(q) - np.asarray(p)) * t, 2.5)
                    for p, q in sc.hand.lines
                    for t in np.linspace(0, 1, 60)
                )
                if not clear:
                    continue
            else:
                side, gap = int(rng.integers(4)), rng.uniform(8, 18)
                card.at = [
                    np.array([rng.uniform(0, w), h + gap + ext[1]]),
                    np.array([w + gap + ext[0], rng.uniform(0, h)]),
                    np.array([rng.uniform(0, w), -gap - ext[1]]),
                    np.array([-gap - ext[0], rng.uniform(0, h)]),
                ][side]
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
        ln, wd = {
            "rule": (160, 25),
            "pen": (130, 9),
            "screw": (14, 5),
            "offcut": (rng.uniform(30, 90), rng.uniform(10, 50)),
            "tape": (50, 19),
            "coin": (18, 18),
        }[kind]
        d = np.array([np.cos(a), np.sin(a)])
        n = np.array([-d[1], d[0]])
        if any(
            k.covers(p + d * t * ln / 2 + n * s * wd / 2, 6)
            for k in keep
            for t in np.linspace(-1, 1, 25)
            for s in (-1, 0, 1)
        ):
            continue
        quad = (
            lambda g, o=0: np.round(
                c.tex(
                    p
                    + o
                    + np.array(
                        [d * s * (ln / 2 + g) + n * t * (wd / 2 + g) for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
                    )
                )
                * 16
            )
            .astype(np.int32)
            .reshape(-1, 1, 2)
        )
        m = np.zeros((c.h, c.w), np.uint8)
        cv2.fillPoly(m, [quad(0.5, np.array([1.5, -1.8]))], 255, cv2.LINE_AA, 4)
        c.refl *= (1 - 0.5 * cv2.GaussianBlur(m, (0, 0), 1.5 * c.s).astype(np.float32) / 255)[..., None]
        m[:] = 0
        if kind == "coin":
            cv2.circle(m, tuple(int(v) for v in c.tex(p)), int(9 * c.s), 255, -1, cv2.LINE_AA)
        else:
            cv2.fillPoly(m, [quad(0)], 255, cv2.LINE_AA, 4)
        col = {
            "rule": (0.4, 0.4, 0.4),
            "pen": tuple(rng.uniform(0.02, 0.5, 3)),
            "screw": (0.25, 0.24, 0.22),
            "offcut": (0.45, 0.45, 0.46),
            "tape": (0.6, 0.5, 0.3),
            "coin": (0.4, 0.3, 0.18),
        }[kind]
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
    img = cv2.GaussianBlur(img, (0, 0), max(0.01, rng.uniform(0.02, 0.07) * s))  # ink spreads
    paper = rng.uniform(0.68, 0.84) * (
        1 + 0.012 * surface.noise(rng, h, w, max(1, 0.3 * s)) + 0.01 * surface.clouds(rng, h, w, 20 * s)
    )
    dark = rng.uniform(0.03, 0.13) * (
        1 + 0.12 * surface.noise(rng, h, w, max(1, 0.15 * s)) + 0.06 * surface.noise(rng, h, w, w, max(1, 0.6 * s))
    )
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
        bow = lambda a, b: (card.bow[0] * np.maximum(0, a / lx) ** 2 + card.bow[1] * np.maximum(0, b / ly) ** 2).astype(
            np.float32
        )
    # Whole texels across and down are not the same pitch: the vector down takes up the difference.
    pitch = c.w / card.size[0]
    return camera.Layer(img, pitch, origin, right, down * (c.h / card.size[1] / pitch), bow)
