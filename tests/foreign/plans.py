"""Invented plans: a sheet, rows of holes on any edge, single holes; as TOML, and as the places they mean."""

from dataclasses import dataclass, field

IN = 25.4
TITLES = [
    "Hatch cover patch",
    "Float deck coupon",
    "Bulkhead web",
    "Keel strip",
    "Step plate",
    "Rudder horn pad",
    "Inspection ring blank",
    "Chine angle",
    "Strut fairing",
    "Bilge plug plate",
]


@dataclass
class Hole:
    name: str
    row: str | None
    x: float
    y: float


@dataclass
class Row:
    name: str
    along: str
    edge: float  # mm from the edge the row runs along
    stations: list  # mm from the left or bottom edge


@dataclass
class Plan:
    title: str
    units: str
    width: float
    height: float
    thickness: float
    tolerance: float
    rows: list = field(default_factory=list)
    singles: list = field(default_factory=list)
    seen: float | None = None  # share of the face that must be seen; None leaves it to the program

    def place(self, row, station, edge=None):
        e = row.edge if edge is None else edge
        return {
            "bottom": (station, e),
            "top": (station, self.height - e),
            "left": (e, station),
            "right": (self.width - e, station),
        }[row.along]

    def holes(self):
        out = [Hole(f"{r.name}{i + 1}", r.name, *self.place(r, s)) for r in self.rows for i, s in enumerate(r.stations)]
        return out + [Hole(n, None, x, y) for n, x, y in self.singles]

    def toml(self):
        def length(mm):
            return f"{mm / IN:.6f}" if self.units == "in" else f"{mm:.4f}"

        text = [
            f'title = "{self.title}"',
            f'units = "{self.units}"',
            "[sheet]",
            f"width = {length(self.width)}",
            f"height = {length(self.height)}",
            f"thickness = {length(self.thickness)}",
            "[rivet]",
            f"diameter = {length(3.175)}",
            'head = "protruding"',
            "[tolerance]",
            f"position = {length(self.tolerance)}",
        ]
        for r in self.rows:
            text += [
                "[[row]]",
                f'name = "{r.name}"',
                f'along = "{r.along}"',
                f"edge_distance = {length(r.edge)}",
                "stations = [" + ", ".join(length(s) for s in r.stations) + "]",
            ]
        for n, x, y in self.singles:
            text += ["[[hole]]", f'name = "{n}"', f"x = {length(x)}", f"y = {length(y)}"]
        if self.seen is not None:
            text += ["[seen]", f"fraction = {self.seen:.2f}"]
        return "\n".join(text) + "\n"


def random_plan(rng, form=None):
    """form: coupon | plate | strip. Lengths lie on a workshop's grid: 1/32 in or half a millimetre."""
    form = form or rng.choice(["coupon", "coupon", "plate", "plate", "strip"])
    units = "in" if rng.random() < 0.6 else "mm"
    grid = IN / 32 if units == "in" else 0.5
    snap = lambda v: round(v / grid) * grid
    if form == "coupon":
        w, h = rng.uniform(80, 190), rng.uniform(55, 120)
    elif form == "plate":
        w, h = rng.uniform(180, 330), rng.uniform(120, 240)
    else:
        w, h = rng.uniform(250, 450), rng.uniform(38, 75)
    w, h = snap(w), snap(h)
    plan = Plan(
        str(rng.choice(TITLES)),
        units,
        w,
        h,
        float(rng.choice([0.5, 0.8, 1.0, 1.27, 1.6])),
        float(rng.choice([IN / 32, IN / 32, 0.8, 1.0])),
    )
    edges = ["bottom", "top", "left", "right"]
    if form == "strip":
        edges = [str(rng.choice(["bottom", "top"]))]
    elif form == "coupon":
        edges = [str(rng.choice(edges))]
    else:
        edges = [str(e) for e in rng.permutation(edges)[: int(rng.integers(1, 4))]]
    two = form != "plate" and rng.random() < 0.45 and min(w, h) > 45
    pitch = snap(rng.uniform(12, 27))
    for along in edges:
        long = w if along in ("bottom", "top") else h
        first = snap(rng.uniform(9, 22))
        if len(edges) > 1 and along in ("left", "right"):
            first = snap(rng.uniform(24, 34))  # clear of the rows along the other two edges
        count = int((long - 2 * first) / pitch) + 1
        if len(edges) > 1 and along in ("bottom", "top") or rng.random() < 0.8:
            first = snap((long - (count - 1) * pitch) / 2 + rng.choice([-1, 1]) * rng.uniform(0.8, 3.5))
        if count < 3:
            continue
        edge = snap(rng.uniform(7, 13))
        plan.rows.append(Row("ABCDEF"[len(plan.rows)], along, edge, [first + i * pitch for i in range(count)]))
        if two:
            gap = snap(rng.uniform(11, 17))
            plan.rows.append(
                Row(
                    "ABCDEF"[len(plan.rows)],
                    along,
                    edge + gap,
                    [first + pitch / 2 + i * pitch for i in range(count - 1)],
                )
            )
    if not plan.rows:
        return random_plan(rng, form)
    for i in range(int(rng.choice([0, 0, 1, 2, 3])) if min(w, h) > 60 else 0):
        x, y = snap(rng.uniform(0.25, 0.75) * w), snap(rng.uniform(0.3, 0.7) * h)
        if all((x - q.x) ** 2 + (y - q.y) ** 2 > 12**2 for q in plan.holes()):
            plan.singles.append((f"P{i + 1}", x, y))
    return plan
