"""Light on a plane: lamps and windows with fall-off, shadows, and the anisotropic gloss of rolled metal (Ward's form)."""

from dataclasses import dataclass
import cv2
import numpy as np
from surface import noise


@dataclass
class Light:
    at: np.ndarray  # mm, z up
    colour: np.ndarray
    power: float  # irradiance at the middle of the work
    spread: float  # rad, the angle it subtends: blurs shadow and highlight


@dataclass
class Room:
    lights: list
    ambient: np.ndarray
    env: tuple  # what the ceiling and walls mirror: level, gradient along x and y
    shadows: list  # (polygon mm, penumbra mm, depth): of things that stand in the first light's way


def make_room(rng, size, hard, glare):
    m = np.array([size[0] / 2, size[1] / 2, 0])
    warm, cool = np.array([1.0, 0.82, 0.6]), np.array([0.86, 0.95, 1.1])

    def light(kind, power):
        az = rng.uniform(0, 2 * np.pi)
        if kind == "window":
            el, r, spread, col = rng.uniform(0.35, 1.0), rng.uniform(900, 2500), rng.uniform(0.15, 0.35), cool
        else:
            el, r, spread, col = (
                rng.uniform(0.5, 1.3),
                rng.uniform(350, 900),
                rng.uniform(0.02, 0.08),
                warm * rng.uniform(0.9, 1.15, 3),
            )
        if glare:
            el = rng.uniform(0.95, 1.4)
        return Light(
            m + r * np.array([np.cos(az) * np.cos(el), np.sin(az) * np.cos(el), np.sin(el)]), col, power, spread
        )

    kinds = [["window"], ["lamp"], ["window", "lamp"], ["lamp", "lamp"]][int(rng.choice(4, p=[0.35, 0.2, 0.35, 0.1]))]
    lights = [light(k, rng.uniform(0.4, 1.0)) for k in kinds]
    shadows = []
    if rng.random() < (0.5 if hard else 0.2):
        a, k = rng.uniform(0, np.pi), rng.uniform(-0.3, 0.3) * max(size)
        d, n = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
        wide = 2000 if rng.random() < 0.5 else rng.uniform(20, 90)  # a body, or an arm or a tool
        o = m[:2] + n * k
        poly = np.array(
            [o - d * 2000, o + d * 2000 + n * rng.normal(0, 30), o + d * 2000 + n * wide, o - d * 2000 + n * wide]
        )
        shadows.append((poly, rng.uniform(0.4, 3) if rng.random() < 0.4 else rng.uniform(4, 25), rng.uniform(0.4, 0.9)))
    return Room(
        lights, rng.uniform(0.25, 0.6) * (0.5 * cool + 0.5), (rng.uniform(0.15, 0.4), *rng.normal(0, 0.6, 2)), shadows
    )


def moved(room, by):
    """The same room for a canvas whose own origin lies at `by` in it."""
    b = np.append(by, 0.0)
    return Room([Light(l.at - b, l.colour, l.power, l.spread) for l in room.lights], room.ambient, room.env, [])


def shade(rng, c, z, room, eye, rough, bumps, extra_shadow=None):
    """Radiance of a canvas lying at height z, seen from `eye`."""
    step = 2.5
    gw, gh = int(c.w / c.s / step) + 2, int(c.h / c.s / step) + 2
    xs, ys = np.meshgrid(c.x0 + (np.arange(gw) + 0.5) / gw * c.w / c.s, c.y1 - (np.arange(gh) + 0.5) / gh * c.h / c.s)
    p = np.stack([xs, ys, np.full_like(xs, z)], -1)
    v = eye - p
    v /= np.linalg.norm(v, axis=-1, keepdims=True)
    sx, sy = bumps * noise(rng, gh, gw, 45 / step), bumps * noise(rng, gh, gw, 45 / step)
    diff, spec = np.zeros((gh, gw, 3)), np.zeros((gh, gw, 3))
    fine = np.ones((c.h, c.w), np.float32)
    for poly, pen, depth in room.shadows:
        k = 8
        m = np.zeros((c.h, c.w), np.uint8)
        cv2.fillPoly(
            m,
            [np.round(np.clip(c.tex(poly), -60000, 60000) * k).astype(np.int32).reshape(-1, 1, 2)],
            255,
            cv2.LINE_AA,
            3,
        )
        small = max(1, int(pen * c.s / 6))
        q = cv2.resize(m, (max(2, c.w // small), max(2, c.h // small)), interpolation=cv2.INTER_AREA).astype(np.float32)
        q = cv2.GaussianBlur(q, (0, 0), max(0.3, pen * c.s / small / 2.5))
        fine *= 1 - depth * cv2.resize(q, (c.w, c.h), interpolation=cv2.INTER_LINEAR) / 255
    if extra_shadow is not None:
        fine *= extra_shadow
    first = np.zeros((gh, gw, 3))
    for i, l in enumerate(room.lights):
        d = l.at - p
        r = np.linalg.norm(d, axis=-1, keepdims=True)
        d = d / r
        r0 = np.linalg.norm(l.at - np.array([c.x0 + c.w / c.s / 2, c.y1 - c.h / c.s / 2, 0]))
        e = l.power * l.colour * d[..., 2:] * (r0 / r) ** 2
        hv = d + v
        hx, hy = hv[..., 0] / hv[..., 2] - sx, hv[..., 1] / hv[..., 2] - sy
        ax, ay = np.hypot(rough[0], l.spread / 2), np.hypot(rough[1], l.spread / 2)
        lobe = np.exp(-((hx / ax) ** 2) - (hy / ay) ** 2) * min(6.0, 0.045 / (ax * ay))
        if i == 0:
            first = e
        else:
            diff += e
        spec += lobe[..., None] * l.power * l.colour
    refl = 2 * v[..., 2:] * np.array([0, 0, 1]) - v  # mirrored view ray
    env = room.env[0] * (1 + room.env[1] * (refl[..., 0] - 2 * sx) + room.env[2] * (refl[..., 1] - 2 * sy)).clip(
        0.2, 2.5
    )
    env = env * (
        1 - 0.55 * np.exp(-((refl[..., 0] - v[..., 0]) ** 2 + (refl[..., 1] - v[..., 1]) ** 2) / 0.03)
    )  # the phone itself
    spec += env[..., None] * (0.5 + 0.5 * room.ambient / room.ambient.mean())
    up = lambda g: cv2.resize(g.astype(np.float32), (c.w, c.h), interpolation=cv2.INTER_LINEAR)
    out = up(first) * fine[..., None] + up(diff + room.ambient)
    out *= c.refl
    out += up(spec) * (c.gloss * (0.35 + 0.65 * fine))[..., None]
    return out


def dropped_shadow(c, boxes, drop, room):
    """Shadow that raised things throw on the canvas below: `boxes` of (polygon mm), lying `drop` mm higher."""
    out = np.ones((c.h, c.w), np.float32)
    for l in room.lights[:2]:
        d = l.at / max(l.at[2], 1)
        off = -d[:2] * drop * 1.0
        m = np.zeros((c.h, c.w), np.uint8)
        for poly in boxes:
            cv2.fillPoly(
                m,
                [np.round(c.tex(np.asarray(poly) + off * 0.8) * 16).astype(np.int32).reshape(-1, 1, 2)],
                255,
                cv2.LINE_AA,
                4,
            )
        b = (
            cv2.GaussianBlur(m, (0, 0), max(0.5, (0.15 + 0.8 * l.spread * drop + 0.2 * drop) * c.s)).astype(np.float32)
            / 255
        )
        out *= 1 - 0.6 * b
    return out


def highlight(room, eye, rough, at):
    """How strongly the brightest lamp mirrors towards the eye at a place on the face."""
    p = np.array([at[0], at[1], 0.0])
    v = (eye - p) / np.linalg.norm(eye - p)
    top = 0.0
    for l in room.lights:
        hv = v + (l.at - p) / np.linalg.norm(l.at - p)
        ax, ay = np.hypot(rough[0], l.spread / 2), np.hypot(rough[1], l.spread / 2)
        top = max(
            top,
            l.power * np.exp(-((hv[0] / hv[2] / ax) ** 2) - (hv[1] / hv[2] / ay) ** 2) * min(6.0, 0.045 / (ax * ay)),
        )
    return top
