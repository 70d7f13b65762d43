//! Strokes and blobs with soft edges, and a grid that finds those near a place.

use nalgebra::Vector2;

use super::noise::smooth;

/// Side of a cell of the look-up grid, mm.
const CELL_MM: f64 = 1.0;
/// Ink further than this from a place cannot reach into its pixel, mm: half a coarse pixel and edge.
const REACH_MM: f64 = 0.6;
/// Share of a lamp's reflection in the metal that ink shows too: in glare, contrast goes.
const GLOSS: f32 = 0.4;
/// Directions in which a blob's radius is stored.
const BLOB_STEPS: usize = 64;

/// What paint does to the light.
#[derive(Debug, Clone, Copy)]
pub(super) enum Tone {
    /// Hides the face behind this reflectance.
    Ink([f32; 3]),
    /// Multiplies the face's radiance.
    Gain(f32),
}

/// An outline that paint fills.
#[derive(Debug, Clone)]
pub(super) enum Form {
    /// A line of points, each with its half width, mm.
    Stroke {
        points: Vec<Vector2<f64>>,
        half_mm: Vec<f64>,
    },
    /// Separate straight bars of one half width, mm.
    Bars {
        ends: Vec<[Vector2<f64>; 2]>,
        half_mm: f64,
    },
    /// A closed curve round a centre: radius by direction, mm.
    Blob {
        centre: Vector2<f64>,
        radius_mm: Vec<f64>,
    },
}

/// One piece of paint.
#[derive(Debug, Clone)]
pub(super) struct Paint {
    pub(super) form: Form,
    pub(super) tone: Tone,
    pub(super) density: f64,
    pub(super) soft_mm: f64,
    pub(super) patchy: f64,
    pub(super) seed: u32,
}

/// Share of the width `soft` round a distance `d` that lies within `half` of the axis.
fn band(d: f64, half: f64, soft: f64) -> f64 {
    let low = (d - soft / 2.0).max(-half);
    let high = (d + soft / 2.0).min(half);
    ((high - low) / soft).clamp(0.0, 1.0)
}

/// Distance from `at` to the segment from `a` to `b`, and how far along it (0 to 1) the nearest point is.
fn to_segment(at: Vector2<f64>, a: Vector2<f64>, b: Vector2<f64>) -> (f64, f64) {
    let along = b - a;
    let t = ((at - a).dot(&along) / along.norm_squared().max(1e-12)).clamp(0.0, 1.0);
    ((at - a - along * t).norm(), t)
}

impl Paint {
    /// A blob from its radius by direction.
    pub(super) fn blob_form(centre: Vector2<f64>, radius: impl Fn(f64) -> f64) -> Form {
        let step = std::f64::consts::TAU / BLOB_STEPS as f64;
        Form::Blob {
            centre,
            radius_mm: (0..BLOB_STEPS).map(|i| radius(i as f64 * step)).collect(),
        }
    }

    /// How much of the pixel of size `pixel_mm` at `at` it covers, 0 to its density; `pieces` are the
    /// segments to look at.
    fn cover(&self, pieces: &[Piece], at: Vector2<f64>, pixel_mm: f64) -> f64 {
        let soft = self.soft_mm.hypot(pixel_mm);
        let full = match &self.form {
            Form::Stroke { points, half_mm } => pieces
                .iter()
                .map(|piece| {
                    let i = piece.segment as usize;
                    let (d, t) = to_segment(at, points[i], points[i + 1]);
                    band(d, half_mm[i] * (1.0 - t) + half_mm[i + 1] * t, soft)
                })
                .fold(0.0, f64::max),
            Form::Bars { ends, half_mm } => pieces
                .iter()
                .map(|piece| {
                    let [a, b] = ends[piece.segment as usize];
                    band(to_segment(at, a, b).0, *half_mm, soft)
                })
                .fold(0.0, f64::max),
            Form::Blob { centre, radius_mm } => {
                let v = at - centre;
                let turn = v.y.atan2(v.x) / std::f64::consts::TAU;
                let turn = turn.rem_euclid(1.0) * BLOB_STEPS as f64;
                let i = turn as usize % BLOB_STEPS;
                let t = turn.fract();
                let radius = radius_mm[i] * (1.0 - t) + radius_mm[(i + 1) % BLOB_STEPS] * t;
                band(v.norm(), radius, soft)
            }
        };
        if full <= 0.0 {
            return 0.0;
        }
        let patch = if self.patchy > 0.0 {
            let n = smooth(self.seed, at.x * 3.1, at.y * 3.1) * 0.6
                + smooth(self.seed ^ 0x55, at.x * 9.0, at.y * 9.0) * 0.4;
            1.0 - self.patchy * f64::from(n * 0.5 + 0.5)
        } else {
            1.0
        };
        full * self.density * patch
    }

    /// Its centroid: sums cover over a fine grid.
    pub(super) fn centroid(&self) -> Vector2<f64> {
        /// Grid step, mm: the sum is then right to well under 0.001 mm.
        const STEP_MM: f64 = 0.01;
        let (low, high) = self.bounds();
        let pieces = self.pieces(0);
        let count = |d: f64| (d / STEP_MM).ceil() as usize;
        let mut sum = Vector2::zeros();
        let mut weight = 0.0;
        for j in 0..count(high.y - low.y) {
            for i in 0..count(high.x - low.x) {
                let at = low + Vector2::new(i as f64 + 0.5, j as f64 + 0.5) * STEP_MM;
                let w = self.cover(&pieces, at, STEP_MM);
                sum += at * w;
                weight += w;
            }
        }
        if weight > 0.0 {
            sum / weight
        } else {
            (low + high) / 2.0
        }
    }

    fn bounds(&self) -> (Vector2<f64>, Vector2<f64>) {
        let (points, reach) = match &self.form {
            Form::Stroke { points, half_mm } => {
                (points.clone(), half_mm.iter().copied().fold(0.0, f64::max))
            }
            Form::Bars { ends, half_mm } => (ends.concat(), *half_mm),
            Form::Blob { centre, radius_mm } => {
                (vec![*centre], radius_mm.iter().copied().fold(0.0, f64::max))
            }
        };
        let margin = Vector2::repeat(reach + self.soft_mm);
        let low = points.iter().fold(points[0], |a, b| a.inf(b));
        let high = points.iter().fold(points[0], |a, b| a.sup(b));
        (low - margin, high + margin)
    }

    fn pieces(&self, paint: u32) -> Vec<Piece> {
        let count = match &self.form {
            Form::Stroke { points, .. } => points.len().saturating_sub(1),
            Form::Bars { ends, .. } => ends.len(),
            Form::Blob { .. } => 1,
        };
        (0..count as u32)
            .map(|segment| Piece { paint, segment })
            .collect()
    }

    /// Box round one segment, with its width.
    fn piece_bounds(&self, segment: usize) -> (Vector2<f64>, Vector2<f64>) {
        match &self.form {
            Form::Stroke { points, half_mm } => {
                let (a, b) = (points[segment], points[segment + 1]);
                let reach = half_mm[segment].max(half_mm[segment + 1]) + self.soft_mm;
                let margin = Vector2::repeat(reach);
                (a.inf(&b) - margin, a.sup(&b) + margin)
            }
            Form::Bars { ends, half_mm } => {
                let [a, b] = ends[segment];
                let margin = Vector2::repeat(half_mm + self.soft_mm);
                (a.inf(&b) - margin, a.sup(&b) + margin)
            }
            Form::Blob { .. } => self.bounds(),
        }
    }
}

/// One segment of one paint.
#[derive(Debug, Clone, Copy)]
struct Piece {
    paint: u32,
    segment: u32,
}

/// All paint on the face, found by place.
pub(super) struct Canvas {
    paints: Vec<Paint>,
    low: Vector2<f64>,
    columns: usize,
    rows: usize,
    /// Pieces by cell, cell after cell, in painting order.
    pieces: Vec<Piece>,
    starts: Vec<u32>,
}

/// The paint near one pixel.
pub(super) struct Near<'a> {
    canvas: &'a Canvas,
    pieces: &'a [Piece],
}

impl Canvas {
    pub(super) fn new(paints: Vec<Paint>) -> Self {
        let mut low = Vector2::repeat(f64::INFINITY);
        let mut high = Vector2::repeat(f64::NEG_INFINITY);
        for paint in &paints {
            let (a, b) = paint.bounds();
            low = low.inf(&a);
            high = high.sup(&b);
        }
        if paints.is_empty() {
            (low, high) = (Vector2::zeros(), Vector2::zeros());
        }
        low -= Vector2::repeat(2.0 * CELL_MM);
        high += Vector2::repeat(2.0 * CELL_MM);
        let columns = ((high.x - low.x) / CELL_MM).ceil() as usize;
        let rows = ((high.y - low.y) / CELL_MM).ceil() as usize;
        let mut cells: Vec<Vec<Piece>> = vec![Vec::new(); columns * rows];
        for (index, paint) in (0..).zip(&paints) {
            for piece in paint.pieces(index) {
                let (a, b) = paint.piece_bounds(piece.segment as usize);
                let cell = |v: f64, low: f64, count: usize| {
                    (((v - low) / CELL_MM).max(0.0) as usize).min(count - 1)
                };
                let (i0, i1) = (
                    cell(a.x - REACH_MM, low.x, columns),
                    cell(b.x + REACH_MM, low.x, columns),
                );
                let (j0, j1) = (
                    cell(a.y - REACH_MM, low.y, rows),
                    cell(b.y + REACH_MM, low.y, rows),
                );
                for j in j0..=j1 {
                    for i in i0..=i1 {
                        cells[j * columns + i].push(piece);
                    }
                }
            }
        }
        let mut starts = Vec::with_capacity(cells.len() + 1);
        let mut pieces = Vec::new();
        starts.push(0);
        for cell in cells {
            pieces.extend(cell);
            starts.push(pieces.len() as u32);
        }
        Self {
            paints,
            low,
            columns,
            rows,
            pieces,
            starts,
        }
    }

    /// The paint near `at`.
    pub(super) fn near(&self, at: Vector2<f64>) -> Near<'_> {
        let v = (at - self.low) / CELL_MM;
        let inside =
            v.x >= 0.0 && v.y >= 0.0 && v.x < self.columns as f64 && v.y < self.rows as f64;
        let pieces = if inside {
            let cell = v.y as usize * self.columns + v.x as usize;
            &self.pieces[self.starts[cell] as usize..self.starts[cell + 1] as usize]
        } else {
            &[]
        };
        Near {
            canvas: self,
            pieces,
        }
    }
}

impl Near<'_> {
    pub(super) fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// Whether a blob is near.
    pub(super) fn has_spot(&self) -> bool {
        self.pieces.iter().any(|p| {
            let paint = &self.canvas.paints[p.paint as usize];
            matches!(paint.form, Form::Blob { .. })
        })
    }

    /// The face's radiance `face` under `light` and `glare`, painted over, at (x, y) in a pixel of
    /// `pixel_mm`.
    pub(super) fn over(
        &self,
        face: [f32; 3],
        light: [f32; 3],
        glare: f32,
        [x, y, pixel_mm]: [f64; 3],
    ) -> [f32; 3] {
        let at = Vector2::new(x, y);
        let mut out = face;
        for pieces in self.pieces.chunk_by(|a, b| a.paint == b.paint) {
            let paint = &self.canvas.paints[pieces[0].paint as usize];
            let cover = paint.cover(pieces, at, pixel_mm) as f32;
            if cover > 0.0 {
                for c in 0..3 {
                    let there = match paint.tone {
                        Tone::Ink(colour) => colour[c] * light[c] + GLOSS * glare,
                        Tone::Gain(gain) => out[c] * gain,
                    };
                    out[c] += (there - out[c]) * cover;
                }
            }
        }
        out
    }
}
