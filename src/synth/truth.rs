//! Where everything truly is.

use image::RgbImage;
use nalgebra::{Vector2, Vector3};

use super::camera::Camera;
use super::marks::{Mark, Shape, line_pieces, on_line};
use super::scene::Scene;
use crate::card::layout::Layout;
use crate::frame::{Card, Pixel, Point, Sheet};
use crate::ink::MarkKind;

/// A rendered photo and its truth.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// The photo, upright, sRGB.
    pub image: RgbImage,
    /// The camera that took it.
    pub camera: Camera,
    /// Where everything truly is.
    pub truth: Truth,
}

/// Where everything truly is.
#[derive(Debug, Clone)]
pub struct Truth {
    /// Dots, ticks, crosses, dimples and holes, in drawing order.
    pub marks: Vec<TrueMark>,
    /// Ruled lines, mm.
    pub lines: Vec<[Point<Sheet>; 2]>,
    /// The cards.
    pub cards: Vec<TrueCard>,
    /// The sheet's corners in the photo: lower left, lower right, upper right, upper left.
    pub sheet_corners: [Point<Pixel>; 4],
}

/// A mark as it was drawn.
#[derive(Debug, Clone)]
pub struct TrueMark {
    /// The hole it was made for, if any.
    pub name: Option<String>,
    /// What it is.
    pub kind: MarkKind,
    /// Its centre: a dot's ink centroid, a tick's crossing with the ruled line nearest it, a cross's
    /// crossing. mm.
    pub at: Point<Sheet>,
    /// Where the photo shows `at`.
    pub px: Point<Pixel>,
    /// Size as drawn, mm.
    pub size_mm: f64,
    /// A ring goes round it.
    pub ringed: bool,
    /// A cross-out lies over it.
    pub crossed_out: bool,
    /// Its centre is on the sheet, in the picture, and not under a card or other thing. (Glare and
    /// shadow do not count.)
    pub in_view: bool,
}

/// A card in the photo.
#[derive(Debug, Clone)]
pub struct TrueCard {
    /// Its number.
    pub number: u16,
    /// Each saddle's designed place and where the photo shows it, in the layout's order.
    pub saddles: Vec<(Point<Card>, Point<Pixel>)>,
    /// Its outer corners in the photo: upper left, upper right, lower right, lower left of the card.
    pub outline: [Point<Pixel>; 4],
}

impl Rendered {
    /// Where a point of the marked face appears.
    #[must_use]
    pub fn pixel_from_sheet(&self, at: Point<Sheet>) -> Point<Pixel> {
        self.camera.project(Vector3::new(at.x, at.y, 0.0))
    }

    /// The point of the marked face that appears at `at`.
    #[must_use]
    pub fn sheet_from_pixel(&self, at: Point<Pixel>) -> Point<Sheet> {
        Point::at(self.camera.back_to_plane(at, 0.0))
    }

    /// Linear light (0 to 1, mean of the channels) of a pixel.
    #[must_use]
    pub fn linear(&self, column: u32, row: u32) -> f64 {
        let p = self.image.get_pixel(column, row).0;
        p.iter()
            .map(|&c| f64::from(super::sensor::linear(c)))
            .sum::<f64>()
            / 3.0
    }
}

pub(super) fn of(scene: &Scene) -> Truth {
    let camera = &scene.camera;
    let on_face = |p: Point<Sheet>| camera.project(Vector3::new(p.x, p.y, 0.0));
    let lines: Vec<[Point<Sheet>; 2]> = scene
        .marks
        .iter()
        .filter_map(|m| match m.shape {
            Shape::Line { from, to, .. } => Some([from, to]),
            _ => None,
        })
        .collect();
    let pieces: Vec<([Point<Sheet>; 2], f64)> = scene.marks.iter().flat_map(pieces).collect();
    let marks = scene
        .marks
        .iter()
        .filter_map(|mark| {
            let (kind, at, size_mm) = match mark.shape {
                Shape::Dot { at, diameter_mm } => (MarkKind::Dot, at, diameter_mm),
                Shape::Cross { at, length_mm, .. } => (MarkKind::Cross, at, length_mm),
                Shape::Dimple { at, diameter_mm } => (MarkKind::Dimple, at, diameter_mm),
                Shape::Hole { at, diameter_mm } => (MarkKind::Hole, at, diameter_mm),
                Shape::Tick {
                    at,
                    angle_rad,
                    length_mm,
                    width_mm,
                } => (
                    MarkKind::Tick,
                    crossing(at, angle_rad, [length_mm, width_mm], &pieces),
                    length_mm,
                ),
                _ => return None,
            };
            Some(TrueMark {
                name: mark.name.clone(),
                kind,
                at,
                px: on_face(at),
                size_mm,
                in_view: in_view(scene, at),
                ringed: scene.marks.iter().any(|m| match m.shape {
                    Shape::Ring {
                        at: middle,
                        diameter_mm,
                        ..
                    } => middle.distance(at) < 0.45 * diameter_mm,
                    _ => false,
                }),
                crossed_out: scene.marks.iter().any(|m| match m.shape {
                    Shape::CrossOut {
                        at: middle,
                        length_mm,
                        ..
                    } => middle.distance(at) < 0.35 * length_mm,
                    _ => false,
                }),
            })
        })
        .collect();
    let cards = scene
        .cards
        .iter()
        .filter_map(|card| {
            let layout = Layout::of(card.number)?;
            let see = |p: Point<Card>| camera.project(card.world(p));
            Some(TrueCard {
                number: card.number,
                saddles: layout.saddles.iter().map(|s| (s.at, see(s.at))).collect(),
                outline: layout.outer_corners().map(see),
            })
        })
        .collect();
    Truth {
        marks,
        lines,
        cards,
        sheet_corners: scene.sheet.corners().map(on_face),
    }
}

/// Whether the camera sees the place `at` of the face itself.
fn in_view(scene: &Scene, at: Point<Sheet>) -> bool {
    let camera = &scene.camera;
    let px = camera.project(Vector3::new(at.x, at.y, 0.0));
    let corners = scene.sheet.corners();
    let on_sheet = (0..4).all(|i| {
        let (along, v) = (corners[(i + 1) % 4] - corners[i], at - corners[i]);
        along.x * v.y - along.y * v.x >= 0.0
    });
    let in_picture =
        px.x >= 0.0 && px.y >= 0.0 && px.x <= camera.width.into() && px.y <= camera.height.into();
    // Where the line of sight passes a plane above the face, in the frame of a thing that lies there.
    let under = |centre: Vector2<f64>, turn: f64, height: f64, [w, h]: [f64; 2]| {
        let share = height / camera.position.z;
        let passes = at.vec() + (camera.position.xy() - at.vec()) * share - centre;
        let (s, c) = turn.sin_cos();
        let local = [c * passes.x + s * passes.y, c * passes.y - s * passes.x];
        height >= 0.0 && local[0].abs() <= w && local[1].abs() <= h
    };
    let hidden = scene.cards.iter().any(|card| {
        Layout::of(card.number).is_some_and(|layout| {
            let half = [0, 1].map(|i| layout.size_mm[i] / 2.0 * card.print_scale[i]);
            under(card.centre.vec(), card.turn_rad, card.height_mm, half)
        })
    }) || scene.clutter.iter().any(|thing| {
        let half = thing.kind.half_size_mm();
        under(thing.at, thing.turn_rad, thing.height_mm, half)
    });
    on_sheet && in_picture && !hidden
}

/// The straight pieces that a ruled line is drawn in, and its width; none for other marks.
fn pieces(mark: &Mark) -> Vec<([Point<Sheet>; 2], f64)> {
    let Shape::Line {
        from,
        to,
        bow_mm,
        width_mm,
        ..
    } = mark.shape
    else {
        return Vec::new();
    };
    let count = line_pieces(bow_mm);
    let at = |i: u32| {
        let t = f64::from(i) / f64::from(count);
        Point::at(on_line(from.vec(), to.vec(), bow_mm, t))
    };
    (0..count).map(|i| ([at(i), at(i + 1)], width_mm)).collect()
}

/// Where a tick crosses the ruled line nearest its middle; its middle if it reaches none.
fn crossing(
    at: Point<Sheet>,
    angle: f64,
    [length, width]: [f64; 2],
    lines: &[([Point<Sheet>; 2], f64)],
) -> Point<Sheet> {
    let way = Vector2::new(angle.cos(), angle.sin());
    lines
        .iter()
        .filter_map(|([from, to], line_width)| {
            let along = *to - *from;
            let across = way.x * along.y - way.y * along.x;
            let v = *from - at;
            let t = (v.x * along.y - v.y * along.x) / across;
            let s = (v.x * way.y - v.y * way.x) / across;
            let crosses = across.abs() > 0.3 * along.norm() && (0.0..=1.0).contains(&s);
            let touches = t.abs() < 0.5 * (length + width + line_width);
            (crosses && touches).then_some((t.abs(), at + way * t))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(at, |(_, p)| p)
}
