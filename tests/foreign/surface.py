"""What is photographed: sheets and benches as reflectance on a flat canvas of so many texels a millimetre."""

from pathlib import Path
import cv2
import numpy as np


class Canvas:
    """Linear reflectance (RGB) and gloss on a plane; x to the right, y up, mm. Texel centres at half."""

    def __init__(self, x0, y0, x1, y1, s):
        self.h, self.w = int(np.ceil((y1 - y0) * s - 1e-6)), int(np.ceil((x1 - x0) * s - 1e-6))
        self.x0, self.y1, self.s = x0, y0 + self.h / s, s  # whole texels from the lower left corner on
        self.refl = np.zeros((self.h, self.w, 3), np.float32)
        self.gloss = np.zeros((self.h, self.w), np.float32)

    def tex(self, p):
        p = np.asarray(p, float)
        return np.stack([(p[..., 0] - self.x0) * self.s - 0.5, (self.y1 - p[..., 1]) * self.s - 0.5], -1)

    def window(self, lo, hi):
        """Row and column slices that cover the mm box, and the mm places of their texels."""
        (u0, v1), (u1, v0) = self.tex(lo), self.tex(hi)
        u0, v0 = max(0, int(u0)), max(0, int(v0))
        u1, v1 = min(self.w, int(u1) + 2), min(self.h, int(v1) + 2)
        if u1 <= u0 or v1 <= v0:
            return None
        x = self.x0 + (np.arange(u0, u1) + 0.5) / self.s
        y = self.y1 - (np.arange(v0, v1) + 0.5) / self.s
        return slice(v0, v1), slice(u0, u1), x[None, :].astype(np.float32), y[:, None].astype(np.float32)

    def blend(self, win, a, colour, kill_gloss=0.8):
        r = self.refl[win[0], win[1]]
        r += a[..., None] * (np.asarray(colour, np.float32) - r)
        self.gloss[win[0], win[1]] *= 1 - kill_gloss * a


def noise(rng, h, w, sx, sy=None):
    """Smooth noise of unit deviation; sx, sy its grain in texels."""
    sy = sy or sx
    n = rng.standard_normal((max(2, int(h / sy) + 2), max(2, int(w / sx) + 2))).astype(np.float32)
    out = cv2.resize(n, (w, h), interpolation=cv2.INTER_LINEAR if min(sx, sy) < 3 else cv2.INTER_CUBIC)
    return out / (out.std() + 1e-6)


def clouds(rng, h, w, s, octaves=4):
    out = sum(noise(rng, h, w, max(1, s / 2**k)) * 0.55**k for k in range(octaves))
    return out / out.std()


def photo_texture(folder, name, h, w, s, mm_across):
    """A real surface as a factor around 1, tiled by mirroring; None where the reference folder is not here."""
    path = Path(folder) / "real-surfaces" / name if folder else None
    if not path or not path.exists():
        return None
    g = cv2.imread(str(path), 0).astype(np.float32) / 255
    g = (g / cv2.GaussianBlur(g, (0, 0), 150)).clip(0.5, 1.6)
    k = s * mm_across / g.shape[1]
    g = cv2.resize(g, None, fx=k, fy=k, interpolation=cv2.INTER_AREA if k < 1 else cv2.INTER_LINEAR)
    ph, pw = max(0, h - g.shape[0]), max(0, w - g.shape[1])
    while ph or pw:
        g = cv2.copyMakeBorder(g, 0, min(ph, g.shape[0] - 1), 0, min(pw, g.shape[1] - 1), cv2.BORDER_REFLECT)
        ph, pw = max(0, h - g.shape[0]), max(0, w - g.shape[1])
    return g[:h, :w]


def grain(rng, c, amp, length, width):
    """Marks of rolling or brushing along x."""
    g = noise(rng, c.h, c.w, length * c.s, max(1, width * c.s))
    g += 0.6 * noise(rng, c.h, c.w, length * 0.3 * c.s, max(1, 0.5 * width * c.s))
    return 1 + amp * g


def scratches(rng, c, count, bright):
    for _ in range(count):
        p = np.array([rng.uniform(c.x0, c.x0 + c.w / c.s), rng.uniform(c.y1 - c.h / c.s, c.y1)])
        a = rng.normal(0, 0.3) if rng.random() < 0.6 else rng.uniform(0, np.pi)
        ln = rng.lognormal(2.2, 0.8)
        t = np.linspace(0, 1, 8)[:, None]
        q = p + t * ln * np.array([np.cos(a), np.sin(a)]) + t**2 * rng.normal(0, 0.03 * ln, 2)
        k = 16
        pts = np.round(c.tex(q) * k).astype(np.int32).reshape(-1, 1, 2)
        lo, hi = q.min(0) - 0.5, q.max(0) + 0.5
        win = c.window(lo, hi)
        if win is None:
            continue
        mask = np.zeros((win[0].stop - win[0].start, win[1].stop - win[1].start), np.uint8)
        off = np.array([win[1].start, win[0].start]) * k
        cv2.polylines(
            mask, [pts - off.astype(np.int32)], False, 255, max(1, int(rng.uniform(0.05, 0.14) * c.s)), cv2.LINE_AA, 4
        )
        m = mask.astype(np.float32) / 255 * rng.uniform(0.15, 0.6)
        sign = 1 if rng.random() < bright else -1
        c.refl[win[0], win[1]] *= (1 + sign * 0.55 * m)[..., None]
        c.gloss[win[0], win[1]] *= 1 + sign * 0.7 * m


def specks(rng, c, count, lo, hi, depth):
    for _ in range(count):
        x, y = rng.uniform(c.x0, c.x0 + c.w / c.s), rng.uniform(c.y1 - c.h / c.s, c.y1)
        r = rng.uniform(lo, hi) / 2
        win = c.window((x - 3 * r, y - 3 * r), (x + 3 * r, y + 3 * r))
        if win is not None:
            d = np.hypot((win[2] - x) * rng.uniform(0.7, 1.4), win[3] - y)
            a = (((r - d) * c.s) + 0.5).clip(0, 1) * depth * rng.uniform(0.4, 1)
            c.refl[win[0], win[1]] *= (1 - a)[..., None]
            c.gloss[win[0], win[1]] *= 1 - a


SURFACES = {  # name: (roughness along the grain, across it, dark ink readable, light marks)
    "brushed": (0.05, 0.30),
    "mill": (0.09, 0.17),
    "worn": (0.11, 0.2),
    "oxidised": (0.2, 0.26),
    "painted": (0.12, 0.12),
    "primer-green": (0.3, 0.3),
    "primer-grey": (0.3, 0.3),
    "dye": (0.12, 0.16),
    "film": (0.05, 0.06),
    "paper": (0.5, 0.5),
}
LIGHT_MARKS = {"dye", "primer-dark"}


def make_sheet(rng, kind, w, h, s, photos):
    c = Canvas(0, 0, w, h, s)
    H, W = c.h, c.w
    tint = np.array([1, 1, 1]) + rng.normal(0, 0.012, 3)
    base = rng.uniform(0.36, 0.55)
    c.refl[:] = base * tint
    c.gloss[:] = 0.45
    g = None
    if kind in ("brushed", "film", "dye", "paper"):
        g = grain(rng, c, rng.uniform(0.03, 0.075), rng.uniform(10, 60), rng.uniform(0.05, 0.13))
    elif kind in ("mill", "worn", "oxidised"):
        g = grain(rng, c, rng.uniform(0.02, 0.045), rng.uniform(40, 120), rng.uniform(0.2, 0.6))
        g *= 1 + 0.02 * noise(rng, H, W, 1.3)
    if g is not None:
        g *= 1 + rng.uniform(0.005, 0.025) * clouds(rng, H, W, 60 * s)
        c.refl *= g[..., None]
        c.gloss *= 1 + 1.6 * (g - 1)
    if kind in ("worn", "oxidised"):
        name, mm = (("Metal055A_color_1k.jpg", 260), ("metal_plate_02_diff_1k.jpg", 420))[int(rng.random() < 0.35)]
        p = photo_texture(photos, name, H, W, s, mm)
        if p is not None:
            p = 1 + (p - 1) * rng.uniform(0.3, 0.8) * (0.5 if "plate" in name else 1)
            c.refl *= p[..., None]
        scratches(rng, c, int(w * h / 250), 0.7)
    if kind == "oxidised":
        m = (clouds(rng, H, W, 25 * s, 6) * 0.5 - 0.2).clip(0, 1)[..., None]
        c.refl += m * (np.array([0.55, 0.55, 0.54]) - c.refl) * 0.6
        c.gloss *= 1 - 0.7 * m[..., 0]
        specks(rng, c, int(w * h / 160), 0.08, 0.3, 0.45)
    if kind in ("painted", "primer-green", "primer-grey", "primer-dark"):
        col = {
            "painted": [(0.6, 0.6, 0.58), (0.33, 0.36, 0.38), (0.62, 0.55, 0.38), (0.25, 0.36, 0.45)][
                int(rng.integers(4))
            ],
            "primer-green": (0.24, 0.26, 0.105),
            "primer-grey": (0.28, 0.29, 0.29),
            "primer-dark": (0.06, 0.085, 0.05),
        }[kind]
        thick = 1 + 0.035 * clouds(rng, H, W, 60 * s) + 0.025 * noise(rng, H, W, 0.5 * s) + 0.02 * noise(rng, H, W, 1.2)
        c.refl[:] = np.array(col) * thick[..., None]
        c.gloss[:] = 0.12 if kind == "painted" else 0.05
        scratches(rng, c, int(w * h / 2500), 0.8)
    if kind == "dye":
        t = (
            2.6 + rng.uniform(0.1, 0.4) * clouds(rng, H, W, 30 * s) + 0.2 * noise(rng, H, W, 30 * s, 1.2 * s)
        )  # brush strokes along x
        t = t.clip(0.4, 4)[..., None]
        c.refl *= np.exp(-t * np.array([1.15, 0.85, 0.28]))
        c.gloss *= np.exp(-0.5 * t[..., 0])
    if kind == "film":
        blue = rng.random() < 0.5
        c.refl *= np.array([0.6, 0.75, 0.95]) if blue else np.array([0.97, 0.97, 0.97])
        c.refl += 0.06
        c.refl *= 1 + 0.02 * noise(rng, H, W, 0.7 * s)[..., None]
        for _ in range(int(rng.integers(2, 9))):  # air bubbles under the film
            x, y, r = rng.uniform(0, w), rng.uniform(0, h), rng.uniform(1, 5)
            win = c.window((x - r - 1, y - r - 1), (x + r + 1, y + r + 1))
            if win is not None:
                d = np.hypot(win[2] - x, (win[3] - y) * 1.3) / r
                c.refl[win[0], win[1]] *= (1 + 0.09 * np.exp(-(((d - 1) / 0.12) ** 2)) - 0.03 * (d < 1))[..., None]
    if kind == "paper":
        m = rng.uniform(1, 3, 4)
        win = c.window((m[0], m[1]), (w - m[2], h - m[3]))
        sh = (win[0].stop - win[0].start, win[1].stop - win[1].start)
        col = np.array([0.74, 0.73, 0.70]) * rng.uniform(0.85, 1.05)
        fib = 1 + 0.02 * noise(rng, *sh, 0.25 * s) + 0.015 * clouds(rng, *sh, 20 * s)
        edge = c.refl[max(0, win[0].start - 3) : win[0].stop + 3, max(0, win[1].start - 3) : win[1].stop + 3]
        edge *= 0.75
        c.refl[win[0], win[1]] = col * fib[..., None]
        c.gloss[win[0], win[1]] = 0.01
    else:
        specks(rng, c, int(rng.integers(3, 30)), 0.06, 0.22, 0.5)  # dust
        scratches(rng, c, int(w * h / 3500), 0.75)
    return c


def burr(rng, c, strength):
    """The outermost tenths of a millimetre: filed bright here, dark there. At full strength it moves the seeming edge
    by a tenth and more, which is a badly filed sheet."""
    for side in range(4):
        n = (c.w, c.w, c.h, c.h)[side]
        f = 1 + strength * (0.35 * noise(rng, 1, n, 4 * c.s)[0] + rng.normal(0.1, 0.25)).clip(-0.65, 0.7)
        t = max(1, int(rng.uniform(0.08, 0.3) * c.s))
        sl = (
            (slice(0, t), slice(None)),
            (slice(-t, None), slice(None)),
            (slice(None), slice(0, t)),
            (slice(None), slice(-t, None)),
        )[side]
        c.refl[sl] *= f[None, :, None] if side < 2 else f[:, None, None]


def make_bench(rng, kind, box, s):
    c = Canvas(*box, s)
    H, W = c.h, c.w
    fine = 1 + 0.03 * noise(rng, H, W, 1.5)
    if kind == "wood":
        xs = np.arange(W)[None, :] / s
        ys = np.arange(H)[:, None] / s
        warp = 6 * noise(rng, H, W, 200 * s, 30 * s) + 0.8 * noise(rng, H, W, 60 * s, 4 * s)
        ring = np.sin((ys + warp) * 2 * np.pi / rng.uniform(7, 14) + 0 * xs)
        pores = noise(rng, H, W, 8 * s, 0.3 * s).clip(0, 3)
        v = 1 + 0.12 * ring - 0.09 * pores + 0.08 * clouds(rng, H, W, 80 * s)
        c.refl[:] = (
            np.array([(0.30, 0.17, 0.08), (0.42, 0.29, 0.16), (0.12, 0.07, 0.04)][int(rng.integers(3))]) * v[..., None]
        )
        for k in range(int(box[1] // 110) - 1, int(box[3] // 110) + 2):  # joints of the boards
            v0 = int((c.y1 - k * 110 - 40) * s)
            if 0 <= v0 < H - 3:
                c.refl[v0 : v0 + max(1, int(0.8 * s))] *= 0.3
    elif kind == "concrete":
        v = 1 + 0.14 * clouds(rng, H, W, 60 * s, 6) + 0.08 * noise(rng, H, W, 1.2)
        c.refl[:] = np.array([0.27, 0.26, 0.24]) * rng.uniform(0.5, 1.2) * v[..., None]
        specks(rng, c, 250, 0.5, 2.5, 0.6)
    elif kind == "mat":
        c.refl[:] = np.array([0.02, 0.10, 0.07]) * rng.uniform(0.8, 1.4)
        # People lay work along the grid about as often as not, but seldom on one of its lines.
        turn, at = (0.0 if rng.random() < 0.4 else rng.normal(0, 0.25)), rng.uniform(0, 50, 2)
        d = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        for m, a in ((10, 0.35), (50, 0.6)):
            lines = np.zeros((H, W), np.uint8)
            for k in range(-90, 90):
                for ax in (0, 1):
                    o = at + d[ax] * k * m
                    ends = [tuple(int(v * 16) for v in c.tex(o + d[1 - ax] * e)) for e in (-900, 900)]
                    cv2.line(lines, *ends, 255, max(1, round(0.4 * s)), cv2.LINE_AA, 4)
            c.refl += (lines.astype(np.float32) / 255 * a)[..., None] * (
                np.array([0.35, 0.45, 0.2], np.float32) - c.refl
            )
        scratches(rng, c, 60, 0.8)
    elif kind == "cloth":
        weave = (
            1
            + 0.25 * np.sin(np.arange(W) * 2.1)[None, :] * np.sin(np.arange(H) * 2.3)[:, None]
            + 0.2 * clouds(rng, H, W, 50 * s)
        )
        c.refl[:] = np.array([0.03, 0.03, 0.04]) * weave[..., None]
    elif kind == "cardboard":
        v = 1 + 0.05 * clouds(rng, H, W, 40 * s) + 0.05 * np.sin(np.arange(W) / s * 2 * np.pi / 6)[None, :]
        c.refl[:] = np.array([0.40, 0.27, 0.15]) * v[..., None]
    elif kind == "steel":  # a sheet-metal bench: nearly the colour of the work
        c.refl[:] = rng.uniform(0.14, 0.3) * grain(rng, c, 0.05, 60, 0.8)[..., None]
        scratches(rng, c, 200, 0.6)
    else:  # laminate, light grey
        c.refl[:] = np.array([0.58, 0.57, 0.54]) * rng.uniform(0.7, 1.1)
        specks(rng, c, 60, 0.5, 2, 0.4)
    c.refl *= fine[..., None]
    c.refl = c.refl.clip(0.004, 0.9)
    return c
