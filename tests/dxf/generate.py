"""Drawings written by ezdxf, and the truth of each: `python3 generate.py FOLDER COUNT`.

Every drawing has a sheet with holes that are drawn in all ways a program has for a hole, things that hide or are none,
and an outline drawn in one of several ways. truth.json says where the holes are, in mm from the sheet's lower left
corner. The same count gives the same drawings.
"""

import json
import math
import random
import sys
from pathlib import Path

import ezdxf

VERSIONS = ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"]
# Code of $INSUNITS, millimetres in one of them.
UNITS = [(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0), (2, 304.8)]
# Between centres, mm: nothing here is one hole by chance.
PITCH = 16.0


class Drawing:
    def __init__(self, seed, version, unit):
        self.rng = random.Random(seed)
        self.version = version
        self.code, self.mm = unit
        self.doc = ezdxf.new(version)
        if version != "R12":
            self.doc.header["$INSUNITS"] = self.code
        self.model = self.doc.modelspace()
        self.blocks = 0
        r = self.rng
        self.columns, self.rows = r.randint(5, 8), r.randint(4, 6)
        self.width = (self.columns + 1) * PITCH
        self.height = (self.rows + 1) * PITCH
        self.origin = (r.uniform(-300, 300), r.uniform(-300, 300))
        self.holes, self.drilled, self.hidden = [], [], []
        cells = [(c, w) for c in range(self.columns) for w in range(self.rows)]
        r.shuffle(cells)
        self.cells = cells

    def units(self, mm):
        """Millimetres as numbers of the file."""
        return mm / self.mm

    def at(self, place):
        """A place of the sheet as coordinates of the file."""
        return tuple(self.units(p + o) for p, o in zip(place, self.origin))

    def free(self):
        """A place where nothing is yet, mm."""
        c, w = self.cells.pop()
        off = [self.rng.uniform(-3, 3) for _ in range(2)]
        return ((c + 1) * PITCH + off[0], (w + 1) * PITCH + off[1])

    def radius(self):
        return self.units(self.rng.uniform(0.8, 3.0))

    def block(self):
        self.blocks += 1
        return self.doc.blocks.new(f"B{self.blocks}", base_point=(self.rng.uniform(-2, 2), 1))

    # Ways to draw a hole.

    def circle(self, attribs=None):
        p = self.free()
        self.model.add_circle(self.at(p), self.radius(), dxfattribs=attribs or {})
        return p

    def h_circle(self):
        self.holes.append(self.circle())

    def h_point(self):
        p = self.free()
        self.model.add_point(self.at(p))
        self.holes.append(p)

    def h_point_in_circle(self):
        p = self.free()
        self.model.add_point(self.at(p), dxfattribs={"layer": "CENTRES"})
        self.model.add_circle(self.at(p), self.radius(), dxfattribs={"layer": "DRILL"})
        self.holes.append(p)

    def h_two_arcs(self):
        p, r, turn = self.free(), self.radius(), self.rng.uniform(0, 360)
        self.model.add_arc(self.at(p), r, turn, turn + 180, dxfattribs={"layer": "ARCS"})
        self.model.add_arc(self.at(p), r, turn + 180, turn + 360, dxfattribs={"layer": "ARCS"})
        self.holes.append(p)

    def h_whole_arc(self):
        p = self.free()
        self.model.add_arc(self.at(p), self.radius(), 0, 360, dxfattribs={"layer": "ARCS"})
        self.holes.append(p)

    def h_polyline_circle(self):
        p, r = self.free(), self.radius()
        x, y = self.at(p)
        points = [(x - r, y, 1.0), (x + r, y, 1.0)]
        if self.version == "R12":
            self.model.add_polyline2d(points, format="xyb", close=True)
        else:
            self.model.add_lwpolyline(points, format="xyb", close=True)
        self.holes.append(p)

    def h_ellipse(self):
        if self.version == "R12":
            return self.h_circle()
        p, turn = self.free(), self.rng.uniform(0, 6)
        r = self.radius()
        axis = (r * math.cos(turn), r * math.sin(turn))
        self.model.add_ellipse(self.at(p), major_axis=axis, ratio=1.0)
        self.holes.append(p)

    def h_mirrored_circle(self):
        p = self.free()
        x, y = self.at(p)
        self.model.add_circle((-x, y), self.radius(), dxfattribs={"extrusion": (0, 0, -1)})
        self.holes.append(p)

    def h_block(self):
        p, b = self.free(), self.block()
        b.add_circle(b.block.dxf.base_point, self.radius())
        turn = self.rng.uniform(0, 360)
        self.model.add_blockref(b.name, self.at(p), dxfattribs={"rotation": turn, "layer": "RIVETS"})
        self.holes.append(p)

    def h_block_of_several(self):
        """Three circles in one block, turned, stretched alike and mirrored."""
        b = self.block()
        base = b.block.dxf.base_point
        a = [self.free() for _ in range(3)]
        turn = self.rng.uniform(0, 2 * math.pi)
        size, flip = self.rng.uniform(0.5, 2.0), self.rng.choice([-1, 1])
        for p in a:
            d = [self.units(p[k] - a[0][k]) for k in range(2)]
            # Back through the insert's turn and stretch.
            x = math.cos(turn) * d[0] + math.sin(turn) * d[1]
            y = -math.sin(turn) * d[0] + math.cos(turn) * d[1]
            b.add_circle((base.x + x / (flip * size), base.y + y / size), self.radius() / size)
        attribs = {"xscale": flip * size, "yscale": size, "zscale": size, "rotation": math.degrees(turn)}
        self.model.add_blockref(b.name, self.at(a[0]), dxfattribs=attribs)
        self.holes.extend(a)

    def h_nested(self):
        inner, outer = self.block(), self.block()
        base, p, q = inner.block.dxf.base_point, self.free(), self.free()
        inner.add_circle(base, self.radius())
        # A point in the same block's circle is the same hole.
        inner.add_point(base)
        d = [self.units(q[k] - p[k]) for k in range(2)]
        base = outer.block.dxf.base_point
        outer.add_blockref(inner.name, (base.x, base.y))
        outer.add_blockref(inner.name, (base.x + d[0], base.y + d[1]), dxfattribs={"rotation": 33})
        self.model.add_blockref(outer.name, self.at(p))
        self.holes.extend([p, q])

    def h_mirrored_insert(self):
        p, b = self.free(), self.block()
        b.add_circle(b.block.dxf.base_point, self.radius())
        x, y = self.at(p)
        self.model.add_blockref(b.name, (-x, y), dxfattribs={"extrusion": (0, 0, -1), "rotation": 40})
        self.holes.append(p)

    def h_array(self):
        """Two by two, closer than the pitch of the cells."""
        p, b = self.free(), self.block()
        b.add_circle(b.block.dxf.base_point, self.units(0.5))
        attribs = {"column_count": 2, "row_count": 2, "column_spacing": self.units(3), "row_spacing": self.units(2.5)}
        turn = self.rng.choice([0, 90])
        attribs["rotation"] = turn
        self.model.add_blockref(b.name, self.at(p), dxfattribs=attribs)
        for x in (0, 3):
            for y in (0, 2.5):
                d = (x, y) if turn == 0 else (-y, x)
                self.holes.append((p[0] + d[0], p[1] + d[1]))

    def h_sign(self):
        """A cross of lines as a block."""
        p, b = self.free(), self.block()
        base, r = b.block.dxf.base_point, self.units(3)
        b.add_line((base.x - r, base.y), (base.x + r, base.y))
        b.add_line((base.x, base.y - r), (base.x, base.y + r))
        self.model.add_blockref(b.name, self.at(p))
        self.holes.append(p)

    def h_drilled(self):
        p = self.free()
        self.model.add_circle(self.at(p), self.radius(), dxfattribs={"layer": "Drilled"})
        self.drilled.append(p)

    # What is no hole, with the words by which it is told.

    def n_off(self):
        layer = self.doc.layers.new("OFF") if "OFF" not in self.doc.layers else self.doc.layers.get("OFF")
        layer.off()
        self.circle({"layer": "OFF"})
        self.hidden.append("circle on layer OFF: its layer is off")

    def n_frozen(self):
        layer = self.doc.layers.new("COLD") if "COLD" not in self.doc.layers else self.doc.layers.get("COLD")
        layer.freeze()
        b = self.block()
        b.add_circle(b.block.dxf.base_point, self.radius())
        self.model.add_blockref(b.name, self.at(self.free()), dxfattribs={"layer": "COLD"})
        self.hidden.append("insert on layer COLD: its layer is frozen")

    def n_invisible(self):
        if self.version != "R12":
            self.circle({"invisible": 1})
            self.hidden.append("circle on layer 0: made invisible")

    def n_defpoints(self):
        self.model.add_point(self.at(self.free()), dxfattribs={"layer": "Defpoints"})
        self.hidden.append("point on layer Defpoints: that layer is never printed")

    def n_paper(self):
        self.doc.layout("Layout1").add_circle((1, 1), 0.1)
        self.hidden.append("circle on layer 0: on the paper")

    def n_large(self):
        self.model.add_circle(self.at((self.width / 2, self.height / 2)), self.units(15))
        self.hidden.append("circle on layer 0: larger than")

    def n_tilted(self):
        self.circle({"extrusion": (0, 1, 0)})
        self.hidden.append("circle on layer 0: drawn in a tilted plane")

    def n_stretched(self):
        b = self.block()
        b.add_circle(b.block.dxf.base_point, self.radius())
        self.model.add_blockref(b.name, self.at(self.free()), dxfattribs={"xscale": 2, "yscale": 1})
        self.hidden.append("stretched to an ellipse by its block")

    def n_text(self):
        self.model.add_text("A1", dxfattribs={"insert": self.at((5, 5)), "height": self.units(2)})
        self.hidden.append("text on layer 0: neither hole nor outline")

    def n_lines(self):
        x, y = self.at(self.free())
        r = self.units(4)
        self.model.add_line((x - r, y), (x + r, y), dxfattribs={"layer": "CENTRE-LINES"})
        self.model.add_line((x, y - r), (x, y + r), dxfattribs={"layer": "CENTRE-LINES"})
        self.hidden.append("CENTRE-LINES with lines and arcs (2")

    def n_unused_block(self):
        self.block().add_circle((0, 0), self.radius())

    def n_curves(self):
        if self.version == "R12":
            return
        p = self.at(self.free())
        self.model.add_spline([(p[0], p[1]), (p[0] + 1, p[1] + 1), (p[0] + 2, p[1])])
        self.model.add_ellipse(p, major_axis=(self.units(2), 0), ratio=0.5)
        self.model.add_hatch().paths.add_polyline_path([(0, 0), (1, 0), (1, 1)], is_closed=True)
        for kind in ("spline", "ellipse", "hatch"):
            self.hidden.append(f"{kind} on layer 0: neither hole nor outline")

    def n_dimension(self):
        p = [self.at((0, 0)), self.at((self.width, 0))]
        self.model.add_linear_dim(base=self.at((0, -20)), p1=p[0], p2=p[1]).render()
        self.hidden.append("dimension on layer")

    def n_small_square(self):
        x, y = self.at(self.free())
        r = self.units(2)
        corners = [(x - r, y - r), (x + r, y - r), (x + r, y + r), (x - r, y + r)]
        self.model.add_polyline2d(corners, close=True, dxfattribs={"layer": "SQUARES"})
        self.hidden.append("closed line on layer SQUARES: no circle and no outline")

    # Ways to draw the outline.

    def corners(self):
        w, h = self.width, self.height
        corners = [(0, 0), (w, 0), (w, h), (0, h)]
        if self.rng.random() < 0.5:
            corners.reverse()
        k = self.rng.randrange(4)
        return [self.at(c) for c in corners[k:] + corners[:k]]

    def polyline(self, space, points, close, layer="OUTLINE", **more):
        attribs = {"layer": layer}
        if self.version == "R12":
            space.add_polyline2d(points, close=close, dxfattribs=attribs, **more)
        else:
            space.add_lwpolyline(points, close=close, dxfattribs=attribs, **more)

    def o_closed(self):
        self.polyline(self.model, self.corners(), True)

    def o_ends_meet(self):
        c = self.corners()
        self.polyline(self.model, c + c[:1], False)

    def o_lines(self):
        c = self.corners()
        lines = list(zip(c, c[1:] + c[:1]))
        self.rng.shuffle(lines)
        for a, b in lines:
            if self.rng.random() < 0.5:
                a, b = b, a
            self.model.add_line(a, b, dxfattribs={"layer": "OUTLINE"})

    def o_fillets(self):
        """Lines and arcs."""
        w, h, r = self.width, self.height, 4.0
        sides = [((r, 0), (w - r, 0)), ((w, r), (w, h - r)), ((w - r, h), (r, h)), ((0, h - r), (0, r))]
        for a, b in sides:
            self.model.add_line(self.at(a), self.at(b), dxfattribs={"layer": "OUTLINE"})
        for (x, y), turn in [((r, r), 180), ((w - r, r), 270), ((w - r, h - r), 0), ((r, h - r), 90)]:
            self.model.add_arc(self.at((x, y)), self.units(r), turn, turn + 90, dxfattribs={"layer": "OUTLINE"})

    def o_bulges(self):
        w, h, r = self.width, self.height, 4.0
        b = math.tan(math.radians(90) / 4)
        places = [(r, 0, 0), (w - r, 0, b), (w, r, 0), (w, h - r, b), (w - r, h, 0), (r, h, b), (0, h - r, 0), (0, r, b)]
        self.polyline(self.model, [(*self.at(p[:2]), p[2]) for p in places], True, format="xyb")

    def o_in_block(self):
        b = self.doc.blocks.new("SHEET")
        self.polyline(b, self.corners(), True)
        self.model.add_blockref("SHEET", (0, 0), dxfattribs={"layer": "PARTS"})

    def o_with_frame(self):
        """A larger frame, which holds the holes too."""
        self.o_closed()
        frame = [(-50, -50), (self.width + 60, -50), (self.width + 60, self.height + 70), (-50, self.height + 70)]
        self.polyline(self.model, [self.at(c) for c in frame], True, layer="FRAME")

    def truth(self, file):
        return {
            "file": file,
            "units": {1: "in", 4: "mm"}.get(self.code) if self.version == "R12" else None,
            "sheet": [self.width, self.height],
            "holes": self.holes,
            "drilled": self.drilled,
            "hidden": self.hidden,
        }


def named(prefix):
    return [getattr(Drawing, n) for n in sorted(dir(Drawing)) if n.startswith(prefix)]


def main():
    folder, count = Path(sys.argv[1]), int(sys.argv[2])
    holes, others, outlines = named("h_"), named("n_"), named("o_")
    truth = []
    for i in range(count):
        version = VERSIONS[i % len(VERSIONS)]
        # A drawing of R12 has no unit: it is said, and only two can be.
        units = UNITS[:2] if version == "R12" else UNITS
        d = Drawing(i, version, units[(i // len(VERSIONS)) % len(units)])
        outlines[i % len(outlines)](d)
        # Each kind in turn, until the sheet is nearly full.
        for k in range(6):
            if len(d.cells) > 9:
                holes[(5 * i + k) % len(holes)](d)
        d.h_circle()
        for k in range(3):
            if len(d.cells) > 1:
                others[(3 * i + k) % len(others)](d)
        name = f"{i:03}-{version}.dxf"
        d.doc.saveas(folder / name)
        truth.append(d.truth(name))
    (folder / "truth.json").write_text(json.dumps(truth))


main()
