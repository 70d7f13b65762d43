//! The flat view: the sheet as if seen from straight above, at a fixed scale.

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

use crate::card::SeenCard;
use crate::frame::{Flat, Point, Sheet};
use crate::photo::{COLOUR_SCALE, Colour};
use crate::plan::Edge;
use crate::raster::pyramid::halve;
use crate::sheet::Outline;
use crate::survey::SheetFrame;

/// Finest scale of the flat view, px/mm; finer photos only cost time.
const FINEST_PX_PER_MM: f64 = 12.0;
/// Coarsest: below this a photo shows no marks anyhow.
const COARSEST_PX_PER_MM: f64 = 4.0;
/// Distance of the points at which the map is worked out exactly, px; between them it is linear, which
/// at a 45 degree tilt errs by less than 0.01 px.
const MESH: usize = 16;
/// The sheet's own rim (burr, shadow, rounding) is left out, mm.
const RIM_MM: f64 = 0.6;
/// So much round a card is left out too: its paper throws a shadow, mm.
pub(super) const ROUND_CARD_MM: f64 = 1.0;
/// Fewest photo pixels a millimetre, in the worst direction, with which a mark of 0.3 mm can be seen.
pub const MIN_PX_PER_MM: f64 = 3.5;

/// The flat view of a sheet.
#[derive(Debug, Clone)]
pub struct FlatView {
    /// Brightness; 0 where there is nothing to see.
    pub image: GrayImage,
    /// Its colour, at half the size.
    pub colour: Option<Colour>,
    /// Pixels a millimetre.
    pub px_per_mm: f64,
    /// Height of the sheet as planned, mm: y is down in the flat view and up on the sheet.
    height_mm: f64,
}

impl FlatView {
    /// Resamples the photo. `size_mm`: width and height of the sheet as planned.
    #[must_use]
    pub fn of(
        grey: &GrayImage,
        colour: Option<&Colour>,
        frame: &SheetFrame,
        outline: &Outline,
        cards: &[SeenCard],
        size_mm: [f64; 2],
    ) -> Self {
        let scale = scale(frame, size_mm).clamp(COARSEST_PX_PER_MM, FINEST_PX_PER_MM);
        let mut view = Self {
            image: GrayImage::default(),
            colour: None,
            px_per_mm: scale,
            height_mm: size_mm[1],
        };
        // Pixels skipped between samples would fold fine grain into false specks.
        let smallest = smallest_scale(frame, size_mm);
        let flat = |plane: &GrayImage, coarser: f64| {
            let mut copy: Option<GrayImage> = None;
            let mut shrunk = 1.0;
            while smallest / shrunk > 1.7 * scale {
                copy = Some(halve(copy.as_ref().unwrap_or(plane)));
                shrunk *= 2.0;
            }
            let size = size_mm.map(|mm| (mm * scale / coarser).ceil() as usize);
            resample(copy.as_ref().unwrap_or(plane), size, |node| {
                let node = Point::at(node * coarser);
                let p = frame.pixel_from_sheet(view.sheet_from_flat(node))?;
                Some(p.vec() / shrunk / coarser)
            })
        };
        let planes = [
            Some((grey, 1.0)),
            colour.map(|c| (&c.blue, COLOUR_SCALE)),
            colour.map(|c| (&c.red, COLOUR_SCALE)),
        ];
        let [image, blue, red] = planes.map(|p| p.map(|(plane, coarser)| flat(plane, coarser)));
        view.image = image.unwrap_or_default();
        view.colour = blue.zip(red).map(|(blue, red)| Colour { blue, red });
        view.clip_rim(outline);
        view.clip_cards(frame, cards);
        view
    }

    /// The place on the sheet of a place in the flat view.
    #[must_use]
    pub fn sheet_from_flat(&self, p: Point<Flat>) -> Point<Sheet> {
        Point::new(p.x / self.px_per_mm, self.height_mm - p.y / self.px_per_mm)
    }

    /// The way back.
    #[must_use]
    pub fn flat_from_sheet(&self, p: Point<Sheet>) -> Point<Flat> {
        Point::new(
            p.x * self.px_per_mm,
            (self.height_mm - p.y) * self.px_per_mm,
        )
    }

    /// Whether the flat view shows anything at `p`.
    #[must_use]
    pub fn shows(&self, p: Point<Flat>) -> bool {
        let (w, h) = (
            f64::from(self.image.width()),
            f64::from(self.image.height()),
        );
        p.x >= 0.0
            && p.y >= 0.0
            && p.x < w
            && p.y < h
            && self.image.get_pixel(p.x as u32, p.y as u32)[0] != 0
    }

    /// Blackens what lies beyond the measured edges (or the planned ones where none was measured).
    fn clip_rim(&mut self, outline: &Outline) {
        let w = self.image.width() as usize;
        let size = [w as f64 / self.px_per_mm, self.height_mm];
        let side = |edge: Edge| {
            let measured = outline
                .edges
                .iter()
                .find(|e| e.edge == edge)
                .map(|e| e.ends);
            measured.unwrap_or(match edge {
                Edge::Bottom => [Point::new(0.0, 0.0), Point::new(size[0], 0.0)],
                Edge::Top => [Point::new(0.0, size[1]), Point::new(size[0], size[1])],
                Edge::Left => [Point::new(0.0, 0.0), Point::new(0.0, size[1])],
                Edge::Right => [Point::new(size[0], 0.0), Point::new(size[0], size[1])],
            })
        };
        // Coordinate of an upright edge at a height, of a level one at a distance from the left.
        let upright = |ends: [Point<Sheet>; 2], y: f64| {
            ends[0].x + (ends[1].x - ends[0].x) * (y - ends[0].y) / (ends[1].y - ends[0].y)
        };
        let level = |ends: [Point<Sheet>; 2], x: f64| {
            ends[0].y + (ends[1].y - ends[0].y) * (x - ends[0].x) / (ends[1].x - ends[0].x)
        };
        let (left, right, bottom, top) = (
            side(Edge::Left),
            side(Edge::Right),
            side(Edge::Bottom),
            side(Edge::Top),
        );
        let (scale, height_mm) = (self.px_per_mm, self.height_mm);
        let clear: Vec<[f64; 2]> = (0..w)
            .map(|x| {
                let x_mm = (x as f64 + 0.5) / scale;
                [level(bottom, x_mm) + RIM_MM, level(top, x_mm) - RIM_MM]
            })
            .collect();
        let highest_bottom = clear.iter().map(|c| c[0]).fold(f64::MIN, f64::max);
        let lowest_top = clear.iter().map(|c| c[1]).fold(f64::MAX, f64::min);
        self.image
            .par_chunks_mut(w)
            .enumerate()
            .for_each(|(y, row)| {
                let y_mm = height_mm - (y as f64 + 0.5) / scale;
                let from = ((upright(left, y_mm) + RIM_MM) * scale).clamp(0.0, w as f64) as usize;
                let to =
                    ((upright(right, y_mm) - RIM_MM) * scale).clamp(from as f64, w as f64) as usize;
                row[..from].fill(0);
                row[to..].fill(0);
                if y_mm >= highest_bottom && y_mm <= lowest_top {
                    return;
                }
                for (v, [low, high]) in row.iter_mut().zip(&clear) {
                    if y_mm < *low || y_mm > *high {
                        *v = 0;
                    }
                }
            });
    }

    fn clip_cards(&mut self, frame: &SheetFrame, cards: &[SeenCard]) {
        let (w, h) = (
            f64::from(self.image.width()),
            f64::from(self.image.height()),
        );
        for card in cards {
            let Some(corners) = card
                .outline
                .iter()
                .map(|&p| {
                    frame
                        .sheet_from_pixel(p)
                        .map(|s| self.flat_from_sheet(s).vec())
                })
                .collect::<Option<Vec<_>>>()
            else {
                continue;
            };
            let margin = ROUND_CARD_MM * self.px_per_mm;
            let b = corners
                .iter()
                .fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, p| {
                    [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)]
                });
            let (x0, y0) = (
                (b[0] - margin).clamp(0.0, w) as u32,
                (b[1] - margin).clamp(0.0, h) as u32,
            );
            let (x1, y1) = (
                (b[2] + margin).clamp(0.0, w) as u32,
                (b[3] + margin).clamp(0.0, h) as u32,
            );
            for y in y0..y1 {
                for x in x0..x1 {
                    let p = Vector2::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
                    let within = (0..4).all(|i| {
                        let side = corners[(i + 1) % 4] - corners[i];
                        side.perp(&(p - corners[i])) >= -margin * side.norm()
                    });
                    if within {
                        self.image.put_pixel(x, y, image::Luma([0]));
                    }
                }
            }
        }
    }
}

/// A plane seen from above, width x height px; `to_source` says where in it a place of the outcome is.
fn resample(
    source: &GrayImage,
    [width, height]: [usize; 2],
    to_source: impl Fn(Vector2<f64>) -> Option<Vector2<f64>> + Sync,
) -> GrayImage {
    let columns = width.div_ceil(MESH) + 1;
    let node = |i: usize| Vector2::new((i % columns * MESH) as f64, (i / columns * MESH) as f64);
    let mesh: Vec<Option<Vector2<f64>>> = (0..columns * (height.div_ceil(MESH) + 1))
        .into_par_iter()
        .map(|i| to_source(node(i)))
        .collect();
    let mut raw = vec![0u8; width * height];
    raw.par_chunks_mut(width * MESH)
        .enumerate()
        .for_each(|(band, rows)| {
            for (dy, row) in rows.chunks_mut(width).enumerate() {
                resample_row(
                    source,
                    &mesh[band * columns..(band + 2) * columns],
                    (dy as f64 + 0.5) / MESH as f64,
                    row,
                );
            }
        });
    GrayImage::from_raw(width as u32, height as u32, raw).unwrap_or_default()
}

/// One row of the flat view; `v` is how far it lies between the upper and the lower row of the mesh.
fn resample_row(source: &GrayImage, mesh: &[Option<Vector2<f64>>], v: f64, out: &mut [u8]) {
    let columns = mesh.len() / 2;
    let (w, h) = (source.width() as usize, source.height() as usize);
    let raw = source.as_raw();
    let node = |i: usize| Some(mesh[i]? * (1.0 - v) + mesh[columns + i]? * v);
    let mut next = node(0);
    for (tile, chunk) in out.chunks_mut(MESH).enumerate() {
        let before = std::mem::replace(&mut next, node(tile + 1));
        let (Some(left), Some(right)) = (before, next) else {
            continue;
        };
        let step = (right - left) / MESH as f64;
        // To whole-number pixel centres for the samples below, in 65536ths of a pixel: photos have less than 32768 a side.
        // Truncated above 0, which is rounding: where the processor has no rounding of its own that is a function's call.
        const ABOVE: f64 = 2_147_483_648.0;
        let fixed = |v: f64| ((v * 65_536.0 + 0.5 + ABOVE) as i64 - ABOVE as i64) as i32;
        let (mut x, mut y) = (
            fixed(left.x + step.x / 2.0 - 0.5),
            fixed(left.y + step.y / 2.0 - 0.5),
        );
        let (dx, dy) = (fixed(step.x), fixed(step.y));
        for o in chunk {
            let (column, line) = ((x >> 16) as usize, (y >> 16) as usize);
            // A negative one is very large here.
            if column < w - 1 && line < h - 1 {
                let (u, t) = (x >> 8 & 255, y >> 8 & 255);
                let near = &raw[line * w + column..][..w + 2];
                let [a, b, c, d] = [near[0], near[1], near[w], near[w + 1]].map(i32::from);
                let top = (a << 8) + u * (b - a);
                let bottom = (c << 8) + u * (d - c);
                let value = ((top << 8) + t * (bottom - top) + (1 << 15)) >> 16;
                // 0 means nothing to see.
                *o = value.max(1) as u8;
            }
            x = x.wrapping_add(dx);
            y = y.wrapping_add(dy);
        }
    }
}

/// Derivative of the photo's pixel by the place on the sheet, px/mm.
pub(crate) fn jacobian(frame: &SheetFrame, at: Point<Sheet>) -> Option<Matrix2<f64>> {
    let see = |dx: f64, dy: f64| frame.pixel_from_sheet(Point::new(at.x + dx, at.y + dy));
    Some(Matrix2::from_columns(&[
        see(0.5, 0.0)? - see(-0.5, 0.0)?,
        see(0.0, 0.5)? - see(0.0, -0.5)?,
    ]))
}

/// Singular values of the photo's scale, px/mm, over a grid of places on the sheet.
fn scales(frame: &SheetFrame, size_mm: [f64; 2]) -> Vec<[f64; 2]> {
    (0..25)
        .filter_map(|i| {
            let at = Point::new(
                size_mm[0] * f64::from(i % 5) / 4.0,
                size_mm[1] * f64::from(i / 5) / 4.0,
            );
            let s = jacobian(frame, at)?.singular_values();
            Some([s.max(), s.min()])
        })
        .collect()
}

fn scale(frame: &SheetFrame, size_mm: [f64; 2]) -> f64 {
    scales(frame, size_mm)
        .iter()
        .map(|s| s[0])
        .fold(0.0, f64::max)
}

fn smallest_scale(frame: &SheetFrame, size_mm: [f64; 2]) -> f64 {
    scales(frame, size_mm)
        .iter()
        .map(|s| s[1])
        .fold(f64::MAX, f64::min)
}
