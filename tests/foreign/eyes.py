"""Whether a careful person can read a photo: each mark shows, each empty place shows as empty."""

import cv2
import numpy as np

LEVELS = 12  # grey levels by which a mark must differ from what is round it
LEAST_PX_PER_MM = 4.0
LEAST_BULGE_PX = 0.9  # by which a dot must stand out on either side of its line
MOST_BLUR_MM = 0.22  # deviation of the smear: a 0.5 mm dot still keeps a third of its contrast


def judge(truth, rgb, sc, covers, ppm_min, blur_mm):
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
            around, core = (
                grey[y - big : y + big, x - big : x + big],
                grey[y - small : y + small + 1, x - small : x + small + 1],
            )
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
        patch = grey[max(0, y - r) : y + r, max(0, x - r) : x + r]
        hole["px"] = u.tolist()
        hole["covered"] = any(k.covers(at, 0) for k in covers)
        m = next((k for k in sc.marks if hole["found"] == k.at.tolist()), None)
        hole["contrast"] = shows(m) if m else None
        ok = (
            not hole["covered"]
            and patch.size
            and 10 < np.median(patch) < 248
            and (m is None or hole["contrast"] >= LEVELS)
        )
        hole["shows"] = bool(ok)
        seen &= bool(ok)
    for s in truth["strays"] + truth["struck"]:
        s["px"] = sc.cam.project([*s["at"], 0]).tolist()
        m = next(k for k in sc.marks if s["at"] == k.at.tolist())
        s["kind"], s["contrast"] = m.kind, shows(m)
        s["shows"] = s["contrast"] >= LEVELS and not any(k.covers(s["at"], 0) for k in covers)
        if m.why in ("trap:on-line", "trap:line-end"):  # the line itself has contrast: the dot must stand out of it
            s["shows"] &= (m.size - sc.hand.line_pen.width) / 2 * ppm_min >= LEAST_BULGE_PX
    truth["blur_mm"] = blur_mm
    truth["readable"] = bool(seen and ppm_min > LEAST_PX_PER_MM and blur_mm < MOST_BLUR_MM)


def edges(rgb, cam, w, h):
    """How far the face differs from what lies beside it, grey levels: in brightness, and in colour at its strongest.
    For bottom, right, top and left the median along the side."""
    out = []
    for a, b, n in (
        ((0, 0), (w, 0), (0, -1)),
        ((w, 0), (w, h), (1, 0)),
        ((w, h), (0, h), (0, 1)),
        ((0, h), (0, 0), (-1, 0)),
    ):
        t = np.linspace(0.04, 0.96, 60)[:, None]
        p = np.array(a) + t * (np.array(b, float) - a)
        tone = []
        for off in (-1.5, 1.5):
            q = p + np.array(n) * off
            u = cam.project(np.concatenate([q, np.zeros((60, 1))], 1)).astype(int)
            u = u.clip([2, 2], [rgb.shape[1] - 3, rgb.shape[0] - 3])
            tone.append(np.array([rgb[y - 1 : y + 2, x - 1 : x + 2].reshape(-1, 3).mean(0) for x, y in u]))
        step = tone[0] - tone[1]
        grey = step @ np.array([0.299, 0.587, 0.114])
        out.append([float(np.median(np.abs(grey))), float(np.median(np.abs(step).max(1)))])
    return out
