//! Where a block puts what is drawn in it: a map of the plane onto itself.

use super::shapes::Stroke;
use super::tags::Record;

/// How far the two directions of a block may be stretched apart for a circle in it to stay one.
const EVEN: f64 = 1e-6;
/// How far from straight up an entity's plane may be turned, as a part of 1: rounding only.
const UPRIGHT: f64 = 1e-6;

/// An affine map: `m` row by row, then the shift.
#[derive(Debug, Clone, Copy)]
pub(super) struct FlatMap {
    m: [f64; 4],
    t: [f64; 2],
}

impl FlatMap {
    pub(super) fn scaled(by: f64) -> Self {
        Self {
            m: [by, 0.0, 0.0, by],
            t: [0.0, 0.0],
        }
    }

    pub(super) fn put(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [a, b, c, d] = self.m;
        [a * x + b * y + self.t[0], c * x + d * y + self.t[1]]
    }

    /// This map after another.
    pub(super) fn after(&self, first: &Self) -> Self {
        let [a, b, c, d] = self.m;
        let [e, f, g, h] = first.m;
        Self {
            m: [a * e + b * g, a * f + b * h, c * e + d * g, c * f + d * h],
            t: self.put(first.t),
        }
    }

    /// With the plane of an entity's own coordinates put into that of the drawing. An entity that was mirrored has its
    /// plane seen from behind: x counts the other way (the arbitrary axis rule of the DXF reference, from memory).
    /// `None` where the plane is tilted.
    pub(super) fn of_plane(&self, entity: &Record) -> Option<Self> {
        let normal = [210, 220, 230].map(|c| entity.number(c, f64::from(u8::from(c == 230))));
        let length = normal.iter().map(|v| v * v).sum::<f64>().sqrt();
        let up = normal[2] / length;
        if up.is_nan() || up.abs() <= 1.0 - UPRIGHT {
            return None;
        }
        let mirrored = Self {
            m: [-1.0, 0.0, 0.0, 1.0],
            t: [0.0, 0.0],
        };
        Some(if up < 0.0 {
            self.after(&mirrored)
        } else {
            *self
        })
    }

    /// Of what is drawn in a block with this base, where it is inserted, shifted in the block's own turned directions.
    pub(super) fn of_insert(&self, insert: &Record, base: [f64; 2], shift: [f64; 2]) -> Self {
        let (sin, cos) = insert.number(50, 0.0).to_radians().sin_cos();
        let (sx, sy) = (insert.number(41, 1.0), insert.number(42, 1.0));
        let turned = Self {
            m: [cos, -sin, sin, cos],
            t: insert.place(10, 20),
        };
        let stretched = Self {
            m: [sx, 0.0, 0.0, sy],
            t: [shift[0] - sx * base[0], shift[1] - sy * base[1]],
        };
        self.after(&turned).after(&stretched)
    }

    /// By how much it makes things larger, where it does so alike in all directions.
    pub(super) fn scale(&self) -> Option<f64> {
        let [a, b, c, d] = self.m;
        let (x, y) = (a.hypot(c), b.hypot(d));
        let skew = (a * b + c * d).abs();
        ((x - y).abs() <= EVEN * x && skew <= EVEN * x * y).then_some(x)
    }

    /// At most by how much it makes things larger.
    pub(super) fn most(&self) -> f64 {
        let [a, b, c, d] = self.m;
        a.hypot(c).max(b.hypot(d))
    }

    pub(super) fn stroke(&self, from: [f64; 2], to: [f64; 2], bulge: f64) -> Stroke {
        let [a, b, c, d] = self.m;
        Stroke {
            from: self.put(from),
            to: self.put(to),
            bulge: if a * d - b * c < 0.0 { -bulge } else { bulge },
        }
    }
}
