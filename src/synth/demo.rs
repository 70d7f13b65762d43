//! The demo scenario: the hatch cover of a small seaplane float, marked out on the bench. All of it is
//! invented.

use super::camera::Camera;
use super::marking::{Hand, Marking};
use super::marks::{Mark, Shape};
use super::scene::{Bench, PlacedCard, Scene, Sensor, SheetPiece, Surface};
use crate::frame::{Point, Sheet};
use crate::plan::Plan;

/// The demo plan as its author wrote it; the one in `fixtures/`, so that the two cannot drift apart.
pub const DEMO_PLAN: &str = include_str!("../../fixtures/hatch-cover.toml");

/// How far the misplaced mark is off, mm.
pub const OFF_MM: f64 = 1.2;

/// Which faults the demo photo has.
#[derive(Debug, Clone, PartialEq)]
pub struct Faults {
    /// The hole whose mark is off by [`OFF_MM`] along its row; `None` if the plan has no such row.
    pub off: Option<String>,
    /// The hole without a mark.
    pub missing: Option<String>,
    /// The live stray.
    pub stray: Point<Sheet>,
    /// The stray that is crossed out.
    pub cancelled: Point<Sheet>,
}

/// The demo's faults for `plan`: the fifth hole of the first row is off, the third of the second row
/// is missing, and two strays stand in the open face.
#[must_use]
pub fn faults(plan: &Plan) -> Faults {
    let hole = |row: usize, index: usize| {
        let name = Some(plan.rows.get(row)?.name.as_str());
        let mut holes = plan.holes.iter().filter(|h| h.row.as_deref() == name);
        Some(holes.nth(index)?.name.clone())
    };
    let (w, h) = (plan.width_mm, plan.height_mm);
    Faults {
        off: hole(0, 4),
        missing: hole(1, 2),
        stray: Point::new(0.62 * w, 0.45 * h),
        cancelled: Point::new(0.36 * w, 0.30 * h),
    }
}

/// The demo photo, with faults. 12 MP, the sheet filling most of it, three cards beside the sheet.
#[must_use]
pub fn scene(plan: &Plan) -> Scene {
    let faults = faults(plan);
    let mut marking = Marking::of(plan, &hand());
    let along_x = plan
        .rows
        .first()
        .is_none_or(|r| matches!(r.along, crate::plan::Edge::Bottom | crate::plan::Edge::Top));
    let (dx, dy) = if along_x {
        (OFF_MM, 0.0)
    } else {
        (0.0, OFF_MM)
    };
    if let Some(name) = &faults.off {
        marking = marking.clone().shift(name, dx, dy).unwrap_or(marking);
    }
    if let Some(name) = &faults.missing {
        marking = marking.clone().drop_hole(name).unwrap_or(marking);
    }
    marking = marking
        .stray(faults.stray)
        .stray(faults.cancelled)
        .cross_out(faults.cancelled);
    around(plan, marking)
}

/// The demo photo of a faultless marking.
#[must_use]
pub fn ready_scene(plan: &Plan) -> Scene {
    around(plan, Marking::of(plan, &hand()))
}

fn hand() -> Hand {
    Hand {
        scatter_mm: 0.08,
        line_scatter_mm: 0.05,
        seed: 11,
        ..Hand::default()
    }
}

/// The sheet with its marks, on the bench, with cards on scrap of the same thickness beside it.
fn around(plan: &Plan, marking: Marking) -> Scene {
    /// Clear space between sheet and card, mm.
    const GAP_MM: f64 = 6.0;
    let (w, h) = (plan.width_mm, plan.height_mm);
    let cards = vec![
        PlacedCard::at(7, w + GAP_MM + 33.0, 0.42 * h, 0.06),
        PlacedCard::at(12, 0.56 * w, h + GAP_MM + 33.0, -0.08),
        PlacedCard::at(45, -GAP_MM - 15.0, 0.5 * h, 1.55),
    ];
    // What must be in the picture: the sheet and the cards, with some bench round them.
    let (left, right) = (-GAP_MM - 32.0, w + GAP_MM + 70.0);
    let (low, high) = (-12.0, h + GAP_MM + 70.0);
    let size: [u32; 2] = [4032, 3024];
    let px_per_mm =
        0.96 * (f64::from(size[0]) / (right - left)).min(f64::from(size[1]) / (high - low));
    let centre = Point::new((left + right) / 2.0, (low + high) / 2.0);
    let mut marks = vec![
        Mark::stamp(0.10 * w, 0.78 * h, 0.0, "5052-H32 .040 ALUMINUM LOT 20718"),
        Mark::scratch(
            Point::new(0.50 * w, 0.70 * h),
            Point::new(0.66 * w, 0.62 * h),
        ),
        Mark::new(Shape::Smudge {
            at: Point::new(0.80 * w, 0.70 * h),
            length_mm: 22.0,
            strength: 0.06,
        }),
    ];
    marks.extend(marking.marks);
    Scene {
        camera: Camera::above(centre, px_per_mm, 0.12, -1.4, 0.02, size)
            .with_distortion(0.012, -0.015, 0.0002, -0.0001),
        sheet: SheetPiece {
            thickness_mm: plan.thickness_mm.unwrap_or(1.0),
            ..SheetPiece::sized(w, h)
        },
        bench: Bench::Wood,
        surface: Surface::Mill,
        cards,
        marks,
        sensor: Sensor {
            blur_px: 0.9,
            ..Sensor::default()
        },
        seed: 20_718,
        ..Scene::default()
    }
}
