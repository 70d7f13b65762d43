//! The radiance of each pixel, integrated over the pixel's area.
//!
//! Each pixel is traced as four quarters. Far from any edge one look serves all four; near edges and
//! ink each quarter is cut into parts, and in each part every outline covers exactly the share that a
//! box of the part's size sees of it. The quarters are then gathered into pixels by a filter that takes
//! out what a pixel grid cannot hold, as a lens does *before* the sensor samples: blurring afterwards
//! would leave the centroid of a spot of two pixels wrong by some 0.03 px.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::camera::{Patch, Viewer};
use super::paint::Canvas;
use super::print::CardFace;
use super::relief::{self, Relief};
use super::scene::{Clutter, PlacedCard, Scene};
use super::strokes;
use super::surface::Shade;
use super::things;
use crate::card::layout::Layout;

/// Parts of a quarter along each side, near edges.
const PARTS: usize = 2;
/// The same near a spot of ink.
const SPOT_PARTS: usize = 4;
/// Gathering filter on half pixels, along each axis: binomial, so that its response vanishes at the
/// pixel frequency with its slope and bend.
const GATHER: [f32; 4] = [0.125, 0.375, 0.375, 0.125];
/// Variance that [`GATHER`] adds to that of a plain pixel box, px².
const GATHER_PX2: f64 = 0.125;
/// The filter when the lens is sharper than that: the plain pixel.
const PLAIN: [f32; 4] = [0.0, 0.5, 0.5, 0.0];
/// Rows of pixels traced at a time; the rows above and below each band are traced twice.
const BAND: usize = 32;
/// Reach of a card's or thing's shadow, mm.
const SHADOW_MM: f64 = 3.0;

/// Linear radiance, row by row, RGB.
pub(super) struct Radiance {
    pub(super) width: usize,
    pub(super) rgb: Vec<f32>,
    /// Variance of the lens blur that is in it already, px².
    pub(super) blur_px2: f64,
}

/// The quarters of a pixel: upper left, upper right, lower left, lower right.
type Quarters = [[f32; 3]; 4];

pub(super) fn trace(scene: &Scene) -> Radiance {
    let width = scene.camera.width as usize;
    let height = scene.camera.height as usize;
    let tracer = Tracer::new(scene);
    let soft = scene.sensor.blur_px * scene.sensor.blur_px >= GATHER_PX2;
    let (filter, blur_px2) = if soft {
        (GATHER, GATHER_PX2)
    } else {
        (PLAIN, 0.0)
    };
    let mut rgb = vec![0.0; width * height * 3];
    rgb.par_chunks_mut((width * 3 * BAND).max(1))
        .enumerate()
        .for_each(|(band, lines)| {
            let first = (band * BAND) as i64;
            let rows = lines.len() / (width * 3);
            // Half rows, gathered along the row; from the pixel row above the band to the one below.
            let halves: Vec<Vec<f32>> = (-1..=rows as i64)
                .flat_map(|row| tracer.half_rows(first + row, width, &filter))
                .collect();
            for (row, line) in lines.chunks_exact_mut(width * 3).enumerate() {
                // The half rows from the lower one of the row above to the upper one of the row below.
                for (half, weight) in halves[2 * row + 1..].iter().zip(filter) {
                    for (out, value) in line.iter_mut().zip(half) {
                        *out += weight * value;
                    }
                }
            }
        });
    Radiance {
        width,
        rgb,
        blur_px2,
    }
}

struct Tracer<'a> {
    scene: &'a Scene,
    viewer: Viewer<'a>,
    shade: Shade<'a>,
    canvas: Canvas,
    relief: Relief,
    outline: Outline,
    tops: Vec<Top<'a>>,
    /// Where shadows fall, in the plane: a unit vector away from the lamp.
    away: Vector2<f64>,
}

impl<'a> Tracer<'a> {
    fn new(scene: &'a Scene) -> Self {
        let outline = Outline::new(scene);
        let mut tops: Vec<Top> = scene
            .cards
            .iter()
            .filter_map(|card| Top::card(card, scene, &outline))
            .chain(scene.clutter.iter().map(Top::clutter))
            .collect();
        tops.sort_by(|a, b| b.height_mm.total_cmp(&a.height_mm));
        let middle = Vector2::new(scene.sheet.width_mm, scene.sheet.height_mm) / 2.0;
        let away = middle - scene.light.lamp_mm.xy();
        Self {
            scene,
            viewer: Viewer::new(&scene.camera),
            shade: Shade::new(scene),
            canvas: Canvas::new(strokes::paints(&scene.marks, scene.seed)),
            relief: Relief::new(scene),
            outline,
            tops,
            away: away.try_normalize(1e-9).unwrap_or_else(Vector2::zeros),
        }
    }

    /// The upper and the lower half of one row of pixels, gathered along the row.
    fn half_rows(&self, row: i64, width: usize, filter: &[f32; 4]) -> [Vec<f32>; 2] {
        let mut out = [vec![0.0; width * 3], vec![0.0; width * 3]];
        let mut before = self.pixel(-1, row);
        let mut here = self.pixel(0, row);
        for column in 0..width {
            let after = self.pixel(column as i64 + 1, row);
            for (half, line) in out.iter_mut().enumerate() {
                let (left, right) = (2 * half, 2 * half + 1);
                for c in 0..3 {
                    line[column * 3 + c] = filter[0] * before[right][c]
                        + filter[1] * here[left][c]
                        + filter[2] * here[right][c]
                        + filter[3] * after[left][c];
                }
            }
            before = here;
            here = after;
        }
        out
    }

    fn pixel(&self, column: i64, row: i64) -> Quarters {
        let ray = self.viewer.ray(column, row);
        let face = ray.patch(0.0);
        let bench = ray.patch(-self.scene.sheet.thickness_mm);
        let size = face.pixel_mm();
        let near_edge = 2.0 * size + 0.3;

        let mut light = self.shade.light(face.at);
        let mut busy = false;
        // Things on top, from the highest: those that this pixel may see or whose shadow it may feel.
        let mut tops: [Option<(&Top, Patch)>; 8] = [None; 8];
        let mut count = 0;
        let mut dim = 1.0;
        let mut hidden = false;
        for top in &self.tops {
            let patch = ray.patch(top.height_mm);
            let reach = top.radius_mm + SHADOW_MM + size;
            if (patch.at - top.centre).norm_squared() > reach * reach || count == tops.len() {
                continue;
            }
            let local = top.local(&patch, &ray);
            busy |= top.is_busy(&local);
            dim *= top.shadow(local.at, self.away);
            hidden |= top.hides(&local);
            tops[count] = Some((top, local));
            count += 1;
        }
        let inside = self.outline.depth(face.at);
        let near = self.canvas.near(face.at);
        let on_sheet = inside > -near_edge;
        busy |= inside.abs() < near_edge || self.outline.depth(bench.at).abs() < near_edge;
        busy |= on_sheet && !near.is_empty();
        let pitted = on_sheet && self.relief.is_near(face.at, size);
        busy |= pitted;

        let top_light = light;
        light = light.map(|c| c * dim);
        // What is under a card or thing need not be worked out.
        let (bare, shine) = if on_sheet && !hidden {
            let glare = self.shade.glare(face.at);
            let bare = self.shade.face(face.at, size, light).map(|c| c + glare);
            (bare, glare)
        } else {
            ([0.0; 3], 0.0)
        };
        let (below, flank) = if (inside < near_edge || pitted) && !hidden {
            let shadow = if pitted {
                1.0
            } else {
                self.contact_shadow(bench.at)
            };
            let light = light.map(|c| c * shadow);
            let below = self.shade.bench(bench.at, light);
            (below, self.shade.side(bench.at, light))
        } else {
            ([0.0; 3], [0.0; 3])
        };
        let sheets: [Option<[[f32; 3]; 2]>; 8] = std::array::from_fn(|i| {
            tops[i].as_ref().map(|(top, local)| match top.look {
                Look::Card(_) => [
                    self.shade.paper(local.at, top_light),
                    self.shade.toner(local.at, top_light),
                ],
                Look::Thing(_) => [top_light; 2],
            })
        });

        let (quarters, parts) = match (busy, pitted || (on_sheet && near.has_spot())) {
            (true, true) => (4, SPOT_PARTS),
            (true, false) => (4, PARTS),
            (false, _) => (1, 1),
        };
        let side = if busy { 2 * parts } else { 1 };
        let share = 1.0 / side as f64;
        let mut out = [[0.0f32; 3]; 4];
        for part in 0..quarters * parts * parts {
            let [i, j] = [part % side, part / side];
            let offset = [i, j].map(|i| (i as f64 + 0.5) * share - 0.5);
            let sum = &mut out[(j / parts) * 2 + i / parts];
            let mut left = 1.0f32;
            for (top, colours) in tops.iter().zip(&sheets).take(count) {
                let (Some((top, local)), Some(colours)) = (top, colours) else {
                    continue;
                };
                let (cover, colour) = top.see(local, offset, share, colours);
                for c in 0..3 {
                    sum[c] += left * cover * colour[c];
                }
                left *= 1.0 - cover;
                if left < 1e-4 {
                    break;
                }
            }
            if left < 1e-4 {
                continue;
            }
            let at = face.sub(offset);
            let sheet = if busy && inside.abs() < near_edge {
                self.outline.cover(&face, offset, share) as f32
            } else {
                f32::from(inside > 0.0)
            };
            let mut under = [0.0f32; 3];
            if sheet > 0.0 {
                let mut here = bare;
                if busy {
                    let burr = self.burr(at, size * share);
                    here = here.map(|c| c * burr);
                    here = near.over(here, light, shine, [at.x, at.y, size * share]);
                    if pitted {
                        let part = relief::Part {
                            face: at,
                            bench: bench.sub(offset),
                            size_mm: size * share,
                            light,
                            below,
                            wall: flank,
                        };
                        here = self.relief.over(here, &part);
                    }
                }
                for c in 0..3 {
                    under[c] += sheet * here[c];
                }
            }
            if sheet < 1.0 {
                // The side shows where the ray passes outside the face and inside the foot.
                let wall = if busy {
                    (self.outline.cover(&bench, offset, share) as f32 - sheet).max(0.0)
                } else {
                    0.0
                };
                for c in 0..3 {
                    under[c] += wall * flank[c] + (1.0 - sheet - wall) * below[c];
                }
            }
            for c in 0..3 {
                sum[c] += left * under[c];
            }
        }
        if busy {
            let weight = 1.0 / (parts * parts) as f32;
            out.map(|quarter| quarter.map(|c| c * weight))
        } else {
            [out[0]; 4]
        }
    }

    /// Light left on the bench at `at` beside the sheet: a tight dark line and a longer soft shadow on
    /// the side away from the lamp.
    fn contact_shadow(&self, at: Vector2<f64>) -> f32 {
        let depth = self.scene.sheet.contact_shadow;
        let thick = self.scene.sheet.thickness_mm.max(0.05);
        let gap = (-self.outline.depth(at)).max(0.0);
        let tight = (-gap / (0.35 * thick)).exp();
        let cast = (-self.outline.depth(at - self.away * (0.8 * thick))).max(0.0);
        let soft = (1.0 - cast / (0.9 * thick)).clamp(0.0, 1.0);
        (1.0 - depth * (0.65 * tight).max(0.8 * soft)) as f32
    }

    /// Brightness of the burr and the rounded edge at `at`, relative to the face.
    fn burr(&self, at: Vector2<f64>, part_mm: f64) -> f32 {
        let strength = self.scene.sheet.burr;
        let (edge, depth, along) = self.outline.nearest(at);
        let width = 0.12 + part_mm;
        if strength <= 0.0 || depth > 3.0 * width {
            return 1.0;
        }
        // The rounded edge looks towards the lamp on one side and away from it on the other.
        let facing = -self.outline.normals[edge].dot(&self.away);
        let line = (-(depth / width).powi(2)).exp();
        let tone = strength * (0.9 * facing + 0.6 * f64::from(self.shade.burr(edge, along)));
        (1.0 + line * tone).max(0.1) as f32
    }
}

/// The sheet's outline: four straight edges.
struct Outline {
    starts: [Vector2<f64>; 4],
    ways: [Vector2<f64>; 4],
    /// Outward.
    normals: [Vector2<f64>; 4],
}

impl Outline {
    fn new(scene: &Scene) -> Self {
        let starts = scene.sheet.corners().map(|p| p.vec());
        let ways = std::array::from_fn(|i| (starts[(i + 1) % 4] - starts[i]).normalize());
        Self {
            starts,
            ways,
            normals: ways.map(|w: Vector2<f64>| Vector2::new(w.y, -w.x)),
        }
    }

    /// How far inside `at` is, mm; negative outside.
    fn depth(&self, at: Vector2<f64>) -> f64 {
        self.nearest(at).1
    }

    /// The nearest edge, the depth inside it, and how far along it.
    fn nearest(&self, at: Vector2<f64>) -> (usize, f64, f64) {
        let mut best = (0, f64::INFINITY, 0.0);
        for i in 0..4 {
            let v = at - self.starts[i];
            let depth = -self.normals[i].dot(&v);
            if depth < best.1 {
                best = (i, depth, self.ways[i].dot(&v));
            }
        }
        best
    }

    /// Share of one part of the pixel that lies inside.
    fn cover(&self, patch: &Patch, offset: [f64; 2], share: f64) -> f64 {
        let at = patch.sub(offset);
        (0..4)
            .map(|i| {
                let n = self.normals[i];
                let size = share * n.dot(&patch.right).hypot(n.dot(&patch.down));
                (0.5 - n.dot(&(at - self.starts[i])) / size).clamp(0.0, 1.0)
            })
            .product()
    }
}

/// Reach of the shadow of something that stands so far above what is under it, mm.
fn shadow_of(lift_mm: f64) -> f64 {
    (0.35 + 0.8 * lift_mm).min(SHADOW_MM)
}

/// Something that lies on top: a card or a thing.
struct Top<'a> {
    centre: Vector2<f64>,
    axis: Vector2<f64>,
    scale: [f64; 2],
    height_mm: f64,
    radius_mm: f64,
    curl: f64,
    /// Reach of a card's shadow: longer where it stands above what is under it.
    shadow_mm: f64,
    look: Look<'a>,
}

enum Look<'a> {
    Card(CardFace),
    Thing(&'a Clutter),
}

impl<'a> Top<'a> {
    fn card(card: &'a PlacedCard, scene: &Scene, outline: &Outline) -> Option<Self> {
        let layout = Layout::of(card.number)?;
        let [w, h] = layout.size_mm;
        let under = if outline.depth(card.centre.vec()) > 0.0 {
            0.0
        } else {
            -scene.sheet.thickness_mm
        };
        let lift = (card.height_mm - under).max(0.0);
        Some(Self {
            centre: card.centre.vec(),
            axis: Vector2::new(card.turn_rad.cos(), card.turn_rad.sin()),
            scale: card.print_scale,
            height_mm: card.height_mm,
            radius_mm: (w / 2.0).hypot(h / 2.0) * 1.05 + card.cut_wide_mm.iter().sum::<f64>(),
            curl: card.curl_per_mm2(),
            shadow_mm: shadow_of(lift),
            look: Look::Card(CardFace::new(&layout, card.cut_wide_mm)),
        })
    }

    fn clutter(thing: &'a Clutter) -> Self {
        let [w, h] = thing.kind.half_size_mm();
        let shadow_mm = if thing.kind.is_flat() {
            shadow_of(thing.height_mm)
        } else {
            SHADOW_MM
        };
        Self {
            centre: thing.at,
            axis: Vector2::new(thing.turn_rad.cos(), thing.turn_rad.sin()),
            scale: [1.0; 2],
            height_mm: thing.height_mm,
            radius_mm: w.hypot(h),
            curl: 0.0,
            shadow_mm,
            look: Look::Thing(thing),
        }
    }

    /// The pixel's view in the top's own millimetres (as designed, for a card).
    fn local(&self, patch: &Patch, ray: &super::camera::PixelRay) -> Patch {
        let turn = |v: Vector2<f64>| {
            Vector2::new(self.axis.dot(&v), self.axis.x * v.y - self.axis.y * v.x)
        };
        let mut flat = Patch {
            at: turn(patch.at - self.centre),
            right: turn(patch.right),
            down: turn(patch.down),
        };
        if self.curl != 0.0 {
            // Where the ray meets z = c x²: a few rounds on the plane at the height found last.
            for _ in 0..6 {
                let lifted = ray.patch(self.height_mm + self.curl * flat.at.x.powi(2));
                flat.at = turn(lifted.at - self.centre);
            }
            // A step of a pixel moves the place, that its height, and that the place again.
            let x = flat.at.x;
            let lean = turn(ray.lean());
            let slope = 2.0 * self.curl * x;
            for step in [&mut flat.right, &mut flat.down] {
                step.x /= 1.0 - slope * lean.x;
                step.y += slope * lean.y * step.x;
            }
            // The paper is longer than its shadow.
            flat.at.x = x + 2.0 / 3.0 * self.curl.powi(2) * x.powi(3);
            let stretch = 1.0 + 2.0 * (self.curl * x).powi(2);
            flat.right.x *= stretch;
            flat.down.x *= stretch;
        }
        let shrink = |v: Vector2<f64>| Vector2::new(v.x / self.scale[0], v.y / self.scale[1]);
        Patch {
            at: shrink(flat.at),
            right: shrink(flat.right),
            down: shrink(flat.down),
        }
    }

    /// Whether it covers the whole pixel.
    fn hides(&self, local: &Patch) -> bool {
        let margin = 2.0 * local.pixel_mm();
        match &self.look {
            Look::Card(face) => face.depth(local.at) > margin,
            Look::Thing(thing) => things::depth(thing.kind, local.at) > margin,
        }
    }

    fn is_busy(&self, local: &Patch) -> bool {
        match &self.look {
            Look::Card(face) => face.is_busy(local.at, local.pixel_mm()),
            Look::Thing(_) => true,
        }
    }

    /// Light that its shadow leaves on what lies under it.
    fn shadow(&self, at: Vector2<f64>, away: Vector2<f64>) -> f32 {
        let away = Vector2::new(
            self.axis.dot(&away),
            self.axis.x * away.y - self.axis.y * away.x,
        );
        let ([w, h], reach, depth) = match &self.look {
            Look::Card(face) => (face.half, self.shadow_mm, 0.35),
            Look::Thing(thing) => (thing.kind.half_size_mm(), self.shadow_mm, 0.6),
        };
        let round = match &self.look {
            Look::Card(_) => 0.0,
            Look::Thing(thing) => things::corner_radius(thing.kind),
        };
        let gap = |p: Vector2<f64>| {
            let q = Vector2::new(p.x.abs() - (w - round), p.y.abs() - (h - round));
            (q.sup(&Vector2::zeros()).norm() - round).max(0.0)
        };
        let gap = gap(at - away * (reach * 0.5));
        (1.0 - depth * (1.0 - gap / reach).max(0.0)) as f32
    }

    /// Share of one part of the pixel that it covers, and its colour there.
    fn see(
        &self,
        local: &Patch,
        offset: [f64; 2],
        share: f64,
        colours: &[[f32; 3]; 2],
    ) -> (f32, [f32; 3]) {
        let at = local.sub(offset);
        let size = [
            share * local.right.x.hypot(local.down.x),
            share * local.right.y.hypot(local.down.y),
        ];
        match &self.look {
            Look::Card(face) => {
                let cover = face.cover(at, size);
                if cover <= 0.0 {
                    return (0.0, [0.0; 3]);
                }
                let dark = face.dark(at, size) as f32;
                let [paper, toner] = colours;
                let colour = std::array::from_fn(|c| paper[c] + (toner[c] - paper[c]) * dark);
                (cover as f32, colour)
            }
            Look::Thing(thing) => things::look(thing.kind, at, size[0].max(size[1]), colours[0]),
        }
    }
}
