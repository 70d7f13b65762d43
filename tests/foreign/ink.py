"""How pens, pencils and scribers leave a stroke on a canvas, and what else lies or sticks on a sheet."""

from dataclasses import dataclass, replace
import cv2
import numpy as np
from surface import noise


@dataclass
class Pen:
    kind: str  # marker | pencil | ball | scribe | chalk
    width: float  # mm
    colour: tuple  # linear reflectance of the pigment, RGB
    strength: float  # how much of the ground it covers, 0..1

    def weaker(self, f):
        return replace(self, strength=self.strength * f)


BLACK, BLUE, RED, GREEN = (0.015, 0.015, 0.018), (0.02, 0.035, 0.22), (0.35, 0.02, 0.03), (0.02, 0.16, 0.07)


def choose_pen(rng, surface, hard):
    if surface == "dye":
        return Pen("scribe", rng.uniform(0.13, 0.28), (0.62, 0.62, 0.60), rng.uniform(0.75, 0.95))
    if surface == "primer-dark":
        return Pen("chalk", rng.uniform(0.4, 0.8), (0.75, 0.75, 0.73), rng.uniform(0.6, 0.95))
    r = rng.random()
    if surface == "paper" and r < 0.6:
        return Pen("ball", rng.uniform(0.28, 0.5), (BLUE, BLACK)[int(rng.integers(2))], 0.9)
    if r < (0.3 if hard else 0.12) and surface not in ("film", "primer-green"):
        return Pen("pencil", rng.uniform(0.35, 0.6), (0.07, 0.07, 0.075), rng.uniform(0.45, 0.75))
    colour = BLACK if rng.random() < 0.6 else (BLUE, BLUE, RED, GREEN)[int(rng.integers(4))]
    wide = rng.random() < 0.2
    return Pen("marker", rng.uniform(0.9, 1.4) if wide else rng.uniform(0.4, 0.8), colour, rng.uniform(0.88, 0.98))


def wander(rng, length, scale, amp):
    """A slow wander along a stroke: function of the arc, mm."""
    n = max(3, int(length / scale) + 3)
    v = rng.normal(0, amp, n)
    return lambda s: np.interp(s / scale, np.arange(n), v)


def stroke(rng, c, pts, pen, start_bead=0.0, end_bead=0.0, lift=0.0, dry=0.0):
    """A stroke along `pts` (mm). Beads: extra half width where the pen rested. lift: mm of fading at the end."""
    pts = np.asarray(pts, float)
    seg = np.hypot(*np.diff(pts, axis=0).T)
    arc = np.concatenate([[0], np.cumsum(seg)])
    length = max(arc[-1], 1e-3)
    n = max(2, int(length / 0.8) + 2)
    s = np.linspace(0, length, n)
    p = np.stack([np.interp(s, arc, pts[:, 0]), np.interp(s, arc, pts[:, 1])], -1).astype(np.float32)
    hw = pen.width / 2
    width_of, dens_of = wander(rng, length, 0.9, 0.07), wander(rng, length, 2.5, 0.05 + 0.25 * dry)
    soft = {"marker": 0.05, "ball": 0.03, "scribe": 0.025, "pencil": 0.07, "chalk": 0.09}[pen.kind]
    reach = hw * 1.4 + max(start_bead, end_bead) + 2 * soft + 0.05
    for i0 in range(0, n - 1, 8):
        i1 = min(n - 1, i0 + 8)
        win = c.window(p[i0 : i1 + 1].min(0) - reach, p[i0 : i1 + 1].max(0) + reach)
        if win is None:
            continue
        best = np.full((win[3].shape[0], win[2].shape[1]), -9, np.float32)
        at = np.zeros_like(best)
        for i in range(i0, i1):
            d = p[i + 1] - p[i]
            ll = max(float(d @ d), 1e-9)
            t = ((win[2] - p[i, 0]) * d[0] + (win[3] - p[i, 1]) * d[1]) / ll
            # Every chunk owns its own stretch of the stroke, so that no texel is inked twice.
            lo, hi = (0 if i else None), (1 if i < n - 2 else None)
            tc = t.clip(0, 1)
            a = s[i] + tc * (s[i + 1] - s[i])
            r = hw * (1 + width_of(a))
            r = (
                r
                + start_bead * np.exp(-((a / (0.9 * hw + 0.05)) ** 2))
                + end_bead * np.exp(-(((length - a) / (0.9 * hw + 0.05)) ** 2))
            )
            if lift:
                r = r * (0.35 + 0.65 * ((length - a) / lift).clip(0, 1))
            v = r - np.hypot(win[2] - p[i, 0] - tc * d[0], win[3] - p[i, 1] - tc * d[1])
            if i == i0 and lo is not None:
                v = np.where(t < 0, -9, v)
            if i == i1 - 1 and hi is not None:
                v = np.where(t >= 1, -9, v)
            better = v > best
            best, at = np.where(better, v, best), np.where(better, a, at)
        edge = max(soft, 0.7 / c.s)
        cov = (best / (2 * edge) + 0.5).clip(0, 1)
        dens = pen.strength * (1 + dens_of(at))
        if lift:
            dens = dens * (0.45 + 0.55 * ((length - at) / lift).clip(0, 1))
        if pen.kind in ("pencil", "chalk") or dry:
            tooth = noise(rng, *cov.shape, max(1, 0.11 * c.s)) + 0.5 * noise(
                rng, *cov.shape, max(1, 0.5 * c.s), max(1, 0.12 * c.s)
            )
            cov = cov * (0.72 + 0.42 * tooth * (1 if pen.kind != "marker" else dry)).clip(0.05, 1)
        if pen.kind == "marker":  # ink gathers at the rim
            dens = dens * (0.93 + 0.09 * np.exp(-(((best - 0.06) / 0.06) ** 2)))
        c.blend(win, (cov * dens).clip(0, 0.985), pen.colour, 0.85 if pen.kind != "scribe" else -0.6)
        if pen.kind == "scribe":  # the turned-up lip beside the scratch throws a dark line
            lip = np.exp(-(((best + 0.05) / 0.04) ** 2)) * 0.35
            c.refl[win[0], win[1]] *= (1 - lip)[..., None]


def dot(rng, c, at, pen, size, tail=0.0):
    """A dot of about `size` mm: the pen rests, moves hardly, may leave a tail when lifted."""
    a = rng.uniform(0, 2 * np.pi)
    d = rng.uniform(0, 0.12) * size * np.array([np.cos(a), np.sin(a)])
    stroke(rng, c, [at - d, at + d], replace(pen, width=size * rng.uniform(0.9, 1.05)))
    if tail:
        e = np.array([np.cos(a), np.sin(a)])
        stroke(
            rng,
            c,
            [at + e * size * 0.4, at + e * (size * 0.4 + tail)],
            replace(pen, width=size * 0.3, strength=pen.strength * 0.7),
            lift=tail,
        )


def line(rng, c, p, q, pen, broken=0.0, double=False, dry=0.0):
    p, q = np.asarray(p, float), np.asarray(q, float)
    ln = np.hypot(*(q - p))
    cuts = [0.0]
    while cuts[-1] < 1:
        cuts.append(min(1, cuts[-1] + (rng.uniform(8, 60) / ln if broken else 1)))
    for a, b in zip(cuts, cuts[1:]):
        gap = rng.uniform(0.3, 2.5) / ln if broken and b < 1 and rng.random() < broken else 0
        if b - gap > a:
            bead = rng.random() < 0.4 and pen.kind == "marker"
            stroke(
                rng,
                c,
                [p + (q - p) * a, p + (q - p) * (b - gap)],
                pen,
                0,
                rng.uniform(0.05, 0.2) * pen.width if bead else 0,
                dry=dry,
            )
    if double:
        nrm = np.array([-(q - p)[1], (q - p)[0]]) / ln
        a, b = sorted(rng.uniform(0, 1, 2))
        o = rng.uniform(0.3, 0.7) * rng.choice([-1, 1])
        stroke(
            rng,
            c,
            [p + (q - p) * a + nrm * o, p + (q - p) * b + nrm * (o + rng.normal(0, 0.3))],
            pen.weaker(0.85),
            lift=3,
        )


def ring(rng, c, at, radius, pen):
    t0 = rng.uniform(0, 2 * np.pi)
    t = np.linspace(t0, t0 + 2 * np.pi * rng.uniform(0.97, 1.08), 40)
    e, ph = rng.uniform(0, 0.15), rng.uniform(0, np.pi)
    r = radius * (1 + e * np.cos(2 * (t - ph)) + np.linspace(-0.06, 0.06, 40))
    stroke(rng, c, np.asarray(at) + np.stack([r * np.cos(t), r * np.sin(t)], -1), pen, lift=1.0)


def cross_out(rng, c, at, size, pen, form):
    a0 = np.pi / 4 + rng.normal(0, 0.12)
    at = np.asarray(at) + rng.normal(0, 0.25, 2)
    if form == "scribble":
        n = int(rng.integers(5, 9))
        x = np.linspace(-0.5, 0.5, n) * size
        y = np.where(np.arange(n) % 2 == 0, 0.5, -0.5) * size * rng.uniform(0.6, 1, n)
        stroke(rng, c, at + np.stack([x, y], -1), pen, lift=1)
        return
    for a in (a0, a0 + np.pi / 2 + rng.normal(0, 0.12)):
        d = np.array([np.cos(a), np.sin(a)]) * size / 2
        b = rng.normal(0, 0.02) * size
        t = np.linspace(-1, 1, 7)[:, None]
        stroke(
            rng,
            c,
            at + t * d * rng.uniform(0.85, 1.1) + (1 - t**2) * b * np.array([-d[1], d[0]]) / size,
            pen,
            0,
            0.03,
            lift=1.2,
        )


def writing(rng, c, at, text, height, angle, pen):
    """Handwriting: single-stroke letters, warped by an unsteady hand."""
    k = height / 21
    s = 24 / height
    face = cv2.FONT_HERSHEY_SIMPLEX if rng.random() < 0.5 else cv2.FONT_HERSHEY_DUPLEX
    (w, h), base = cv2.getTextSize(text, face, s * k, 1)
    img = np.zeros((h + base + 20, w + 20), np.uint8)
    cv2.putText(img, text, (10, h + 8), face, s * k, 255, max(1, int(pen.width / height * h)), cv2.LINE_AA)
    hh, ww = img.shape
    mx, my = np.meshgrid(np.arange(ww, dtype=np.float32), np.arange(hh, dtype=np.float32))
    img = cv2.remap(img, mx + 1.5 * noise(rng, hh, ww, 18), my + 1.5 * noise(rng, hh, ww, 18), cv2.INTER_LINEAR)
    stick(rng, c, at, img.astype(np.float32) / 255 * pen.strength, height / h, angle, pen.colour)


def stick(rng, c, at, alpha, mm_per_px, angle, colour):
    """Lays an alpha picture on the canvas, its middle at `at`, turned by `angle`."""
    h, w = alpha.shape
    r = np.hypot(h, w) * mm_per_px / 2
    win = c.window((at[0] - r, at[1] - r), (at[0] + r, at[1] + r))
    if win is None:
        return
    ca, sa = np.cos(angle), np.sin(angle)
    dx, dy = win[2] - at[0], win[3] - at[1]
    u = (ca * dx + sa * dy) / mm_per_px + w / 2
    v = -(-sa * dx + ca * dy) / mm_per_px + h / 2
    if mm_per_px * c.s < 1:
        alpha = cv2.GaussianBlur(alpha, (0, 0), 0.4 / (mm_per_px * c.s))
    a = cv2.remap(alpha.astype(np.float32), u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderValue=0)
    c.blend(win, a, colour, 0.6)


def mill_stamp(rng, c, box, text, height, colour, strength):
    """Rows of the mill's printed name: small, dotted, at an even distance along the rolling direction."""
    from PIL import Image, ImageDraw, ImageFont

    font = ImageFont.truetype("/usr/share/fonts/truetype/dejavu/DejaVuSansMono.ttf", 40)
    wpx = int(font.getlength(text)) + 8
    img = Image.new("L", (wpx, 52))
    ImageDraw.Draw(img).text((4, 2), text, 255, font)
    a = np.asarray(img, np.float32) / 255
    k = 5  # jet-printed: a raster of drops
    yy, xx = np.mgrid[: a.shape[0], : a.shape[1]]
    a = a * (np.hypot(xx % k - 2, yy % k - 2) < 2.3) * (0.8 + 0.2 * noise(rng, *a.shape, 9)).clip(0.2, 1)
    mm = height / 40
    x0, y0, x1, y1 = box
    for y in np.arange(y0, y1, rng.uniform(28, 55)):
        for x in np.arange(x0 - rng.uniform(0, 40), x1, wpx * mm + rng.uniform(10, 40)):
            stick(rng, c, (x, y), a * strength, mm, 0.0, colour)


def smear(rng, c, at, pen, length):
    win = c.window((at[0] - length, at[1] - length), (at[0] + length, at[1] + length))
    if win is None:
        return
    a = rng.uniform(0, 2 * np.pi)
    u = (win[2] - at[0]) * np.cos(a) + (win[3] - at[1]) * np.sin(a)
    v = -(win[2] - at[0]) * np.sin(a) + (win[3] - at[1]) * np.cos(a)
    m = np.exp(-((v / (0.12 * length)) ** 2)) * np.exp(-u.clip(0) / (0.35 * length)) * (u > 0) * rng.uniform(0.1, 0.3)
    c.blend(win, m * (1 + 0.3 * noise(rng, *m.shape, max(1, 0.3 * c.s))).clip(0, 1.6), pen.colour, 0.4)


def fingerprint(rng, c, at):
    win = c.window((at[0] - 11, at[1] - 14), (at[0] + 11, at[1] + 14))
    if win is None:
        return
    dx, dy = win[2] - at[0], win[3] - at[1]
    sh = np.broadcast_shapes(dx.shape, dy.shape)
    w = noise(rng, *sh, 4 * c.s)
    ridge = np.sin(2 * np.pi * (np.hypot(dx, dy * 0.7) + 0.5 * w) / 0.5)
    m = np.exp(-(((dx / 8) ** 2 + (dy / 11) ** 2) ** 2)) * (0.6 + 0.4 * noise(rng, *sh, 3 * c.s)).clip(0, 1)
    f = 1 - m * (0.06 + 0.07 * ridge.clip(0, 1))
    c.refl[win[0], win[1]] *= f[..., None]
    c.gloss[win[0], win[1]] *= 1 - 3 * (1 - f)


def swarf(rng, c, at):
    """A curl of metal lying on the sheet, with its small shadow."""
    n = 30
    t = np.linspace(0, rng.uniform(2, 9), n)
    r = rng.uniform(0.4, 1.6)
    q = np.asarray(at) + np.stack(
        [r * np.cos(t) + 0.25 * t * rng.uniform(-1, 1), r * np.sin(t) + 0.25 * t * rng.uniform(-1, 1)], -1
    )
    stroke(rng, c, q + np.array([0.18, -0.22]), Pen("ball", 0.3, (0.05, 0.05, 0.05), 0.55))
    stroke(rng, c, q, Pen("ball", rng.uniform(0.15, 0.35), (0.75, 0.75, 0.74), 0.9))
