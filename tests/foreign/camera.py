"""A phone's camera: pose, lens, layered planes to sensor light, and what a phone makes of it before the JPEG."""

from dataclasses import dataclass
import cv2
import numpy as np
from surface import noise


@dataclass
class Camera:
    w: int
    h: int
    f: float
    c: np.ndarray  # principal point, px; the first pixel's centre is at (0.5, 0.5)
    k1: float
    k2: float
    rot: np.ndarray  # rows: camera's x (right), y (down), z (forward) in the world
    eye: np.ndarray
    skew: float = 0.0  # rolling shutter: px to the right per px down

    def project(self, p):
        q = (np.asarray(p, float) - self.eye) @ self.rot.T
        x = q[..., :2] / q[..., 2:]
        r2 = (x**2).sum(-1, keepdims=True)
        u = x * (1 + self.k1 * r2 + self.k2 * r2**2) * self.f + self.c
        return np.stack([u[..., 0] + self.skew * (u[..., 1] - self.h / 2), u[..., 1]], -1)

    def rays(self, u, v):
        """Undistorted x/z, y/z of pixel places."""
        u = u - self.skew * (v - self.h / 2)
        x, y = (u - self.c[0]) / self.f, (v - self.c[1]) / self.f
        rd = np.sqrt(x * x + y * y)
        ru = np.linspace(0, 1.6, 4000)
        g = ru * (1 + self.k1 * ru**2 + self.k2 * ru**4)
        keep = np.maximum.accumulate(g) == g
        k = np.interp(rd, g[keep], np.where(ru > 0, ru / np.maximum(g, 1e-9), 1)[keep]).astype(np.float32)
        return x * k, y * k


def aim(w, h, f, k1, k2, tilt, azimuth, roll, targets, fill, offset):
    """Places the camera so that all targets lie within `fill` of the half picture."""
    v = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])
    x = np.array([1.0, 0, 0]) - v[0] * v
    x /= np.linalg.norm(x)
    y = np.cross(-v, x)
    cr, sr = np.cos(roll), np.sin(roll)
    rot = np.stack([cr * x + sr * y, -sr * x + cr * y, -v])
    targets = np.asarray(targets, float)
    look, dist = targets.mean(0), 500.0
    cam = Camera(w, h, f, np.array([w / 2, h / 2]) + offset, k1, k2, rot, look + v * dist)
    for _ in range(60):
        px = cam.project(targets)
        lo, hi = px.min(0), px.max(0)
        shift = ((lo + hi) / 2 - np.array([w / 2, h / 2])) * dist / f
        look = look + rot[0] * shift[0] + rot[1] * shift[1]
        dist *= ((hi - lo) / (np.array([w, h]) * fill)).max() ** 0.7
        cam.eye = look + v * dist
    return cam


@dataclass
class Layer:
    """A rectangle in space: origin at its texture's upper left corner, unit vectors to the right and down."""

    image: np.ndarray  # RGB radiance times alpha, linear
    s: float
    origin: np.ndarray
    right: np.ndarray
    down: np.ndarray
    bow: object = None  # height above the plane as a function of mm right, mm down
    fill: bool = False  # goes on for ever (the bench)
    alpha: np.ndarray | None = None


def expose(cam, layers, ss):
    """Light on each pixel: every layer from below to above, ss x ss samples a pixel."""
    out = np.zeros((cam.h, cam.w, 3), np.float32)
    rows = 160
    boxes = []
    for l in layers:
        size = np.array([l.image.shape[1], l.image.shape[0]]) / l.s
        t = np.linspace(0, 1, 9)
        rim = (
            np.concatenate(
                [
                    np.stack([t, 0 * t], 1),
                    np.stack([t, 0 * t + 1], 1),
                    np.stack([0 * t, t], 1),
                    np.stack([0 * t + 1, t], 1),
                ]
            )
            * size
        )
        p = cam.project(l.origin + rim[:, :1] * l.right + rim[:, 1:] * l.down)
        boxes.append((p.min(0) - 12, p.max(0) + 12))
    for r0 in range(0, cam.h, rows):
        r1 = min(cam.h, r0 + rows)
        acc = np.zeros(((r1 - r0) * ss, cam.w * ss, 3), np.float32)
        u, v = np.meshgrid(
            ((np.arange(cam.w * ss) + 0.5) / ss).astype(np.float32),
            (r0 + (np.arange((r1 - r0) * ss) + 0.5) / ss).astype(np.float32),
        )
        x, y = cam.rays(u, v)
        for l, (lo, hi) in zip(layers, boxes):
            c0, c1 = (0, cam.w) if l.fill else (max(0, int(lo[0])), min(cam.w, int(hi[0]) + 1))
            if not l.fill and (hi[1] < r0 or lo[1] > r1 or c1 <= c0):
                continue
            sl = slice(c0 * ss, c1 * ss)
            n = np.cross(l.right, l.down)
            d0 = (l.origin - cam.eye) @ n
            # u*s etc. of the plane point along ray d = rot^T (x, y, 1): rows of a homography on (x, y, 1)
            den = cam.rot @ n
            m = np.stack(
                [
                    d0 * (cam.rot @ l.right) + den * ((cam.eye - l.origin) @ l.right),
                    d0 * (cam.rot @ l.down) + den * ((cam.eye - l.origin) @ l.down),
                    den,
                ]
            )
            xs, ys = x[:, sl], y[:, sl]
            w = (m[2, 0] * xs + m[2, 1] * ys + m[2, 2]).astype(np.float32)
            a = (m[0, 0] * xs + m[0, 1] * ys + m[0, 2]) / w
            b = (m[1, 0] * xs + m[1, 1] * ys + m[1, 2]) / w
            if l.bow is not None:
                e = cam.eye - l.origin
                ea, eb, ez = e @ l.right, e @ l.down, abs(e @ n)
                a0, b0 = a, b
                for _ in range(3):
                    k = l.bow(a, b) / ez
                    a, b = a0 + (ea - a0) * k, b0 + (eb - b0) * k
            mu, mv = (a * l.s - 0.5).astype(np.float32), (b * l.s - 0.5).astype(np.float32)
            if l.fill:
                acc[:, sl] = cv2.remap(l.image, mu, mv, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
                continue
            al = l.alpha if l.alpha is not None else np.ones(l.image.shape[:2], np.float32)
            ga = cv2.remap(al, mu, mv, cv2.INTER_LINEAR, borderValue=0)
            gi = cv2.remap(l.image, mu, mv, cv2.INTER_LINEAR, borderValue=0)
            acc[:, sl] = acc[:, sl] * (1 - ga[..., None]) + gi
        out[r0:r1] = cv2.resize(acc, (cam.w, r1 - r0), interpolation=cv2.INTER_AREA)
    return out


def blur(img, focus, motion, angle):
    """focus: deviation of the smear, px (a disc, not a bell); motion: px moved while the shutter was open."""
    r = focus * 2
    n = 2 * int(np.ceil(max(r, motion / 2) + 2)) + 1
    k = 8
    big = np.zeros((n * k, n * k), np.float32)
    c = (n * k - 1) / 2
    yy, xx = np.mgrid[: n * k, : n * k]
    if r > 0.15:
        big = (np.hypot(xx - c, yy - c) < r * k).astype(np.float32)
    else:
        big[int(c) : int(c) + 2, int(c) : int(c) + 2] = 1
    if motion > 0.1:
        line = np.zeros_like(big)
        d = np.array([np.cos(angle), np.sin(angle)]) * motion * k / 2
        cv2.line(line, (int(c - d[0]), int(c - d[1])), (int(c + d[0]), int(c + d[1])), 1.0, 1)
        big = cv2.filter2D(big, -1, line, borderType=cv2.BORDER_CONSTANT)
    ker = cv2.resize(cv2.GaussianBlur(big, (0, 0), 0.45 * k), (n, n), interpolation=cv2.INTER_AREA)
    ker = (ker + ker[::-1, ::-1]) / 2  # no shift
    return cv2.filter2D(img, -1, ker / ker.sum(), borderType=cv2.BORDER_REFLECT)


def fringe(img, amount):
    """Lateral colour: red drawn a little larger, blue a little smaller."""
    h, w = img.shape[:2]
    for ch, a in ((0, amount), (2, -amount)):
        m = np.array([[1 + a, 0, -a * (w - 1) / 2], [0, 1 + a, -a * (h - 1) / 2]], np.float32)
        img[..., ch] = cv2.warpAffine(img[..., ch], m, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    return img


def develop(rng, img, look):
    """From light to the eight bits that a phone would write. `look`: exposure, noise, denoise, sharpen, hdr, contrast, vignette, wb,
    work (light of the bright parts of the sheet) and top (where that may come to lie, at most)."""
    h, w = img.shape[:2]
    yy, xx = np.ogrid[:h, :w]
    r2 = ((xx - w / 2) ** 2 + (yy - h / 2) ** 2) / (w * w + h * h) * 4
    img *= (1 - look["vignette"] * r2)[..., None].astype(np.float32)
    lum = img[::8, ::8].mean(-1)
    # Metered on the whole picture, held back where the work itself would wash out.
    img *= min(look["exposure"] / max(np.percentile(lum, 55), 1e-4), look["top"] / look["work"])
    img = img.clip(0, 1.0)
    # Bayer mosaic, photon and read noise, demosaic.
    raw = np.empty((h, w), np.float32)
    raw[0::2, 0::2], raw[0::2, 1::2], raw[1::2, 0::2], raw[1::2, 1::2] = (
        img[0::2, 0::2, 0],
        img[0::2, 1::2, 1],
        img[1::2, 0::2, 1],
        img[1::2, 1::2, 2],
    )
    g = look["noise"]
    raw += rng.standard_normal((h, w), np.float32) * np.sqrt(g * g * raw * 0.18 + (0.25 * g * 0.18) ** 2)
    img = (
        cv2.demosaicing((raw.clip(0, 1.0) * 60000).astype(np.uint16), cv2.COLOR_BayerBG2RGB_EA).astype(np.float32)
        / 60000
    )
    img = (img * look["wb"]).clip(0, 1)
    if look["hdr"]:
        l = img.mean(-1)
        small = cv2.resize(l, (w // 16, h // 16), interpolation=cv2.INTER_AREA)
        base = cv2.resize(
            cv2.GaussianBlur(small, (0, 0), max(w, h) / 16 / 25), (w, h), interpolation=cv2.INTER_LINEAR
        ).clip(0.02)
        img *= ((look["exposure"] / base) ** (0.5 * look["hdr"]))[..., None].clip(0.3, 2.2)
    x = img.clip(0, 1)
    x = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055).astype(np.float32)
    x -= look["contrast"] * np.sin(2 * np.pi * x) / (2 * np.pi)
    ycc = cv2.cvtColor(x.clip(0, 1), cv2.COLOR_RGB2YCrCb)
    if look["denoise"]:
        y8 = ycc[..., 0]
        s = look["denoise"]
        y = cv2.bilateralFilter(y8, 5, 0.03 + 2.2 * s * g, 1.6)
        ycc[..., 0] = y8 + min(1, s) * (y - y8)
        for ch in (1, 2):
            ycc[..., ch] = cv2.GaussianBlur(ycc[..., ch], (0, 0), 1 + 2 * s)
    if look["sharpen"]:
        y = ycc[..., 0]
        ycc[..., 0] = y + look["sharpen"] * (y - cv2.GaussianBlur(y, (0, 0), look["radius"]))
    x = cv2.cvtColor(ycc, cv2.COLOR_YCrCb2RGB)
    return (x.clip(0, 1) * 255 + 0.5).astype(np.uint8)


def save(path, rgb, quality, orientation, f35, mm, iso, model, seed):
    """Writes the JPEG as a phone stores it: turned by its orientation tag, with invented maker and model."""
    from PIL import Image

    turn = {1: lambda a: a, 3: lambda a: a[::-1, ::-1], 6: lambda a: np.rot90(a, 1), 8: lambda a: np.rot90(a, -1)}[
        orientation
    ]
    img = Image.fromarray(np.ascontiguousarray(turn(rgb)))
    e = Image.Exif()
    e[0x010F], e[0x0110], e[0x0112] = "Marlow Optics", model, orientation
    e[0x0132] = f"2026:0{1 + seed % 9}:1{seed % 9} 10:2{seed % 9}:33"
    sub = e.get_ifd(0x8769)
    sub[0x829A], sub[0x829D], sub[0x8827] = 1 / 60, 1.8, int(iso)
    sub[0x920A], sub[0xA405], sub[0xA002], sub[0xA003] = round(mm, 2), int(round(f35)), img.width, img.height
    img.save(path, "JPEG", quality=int(quality), subsampling=2 if quality < 92 else 0, exif=e)
