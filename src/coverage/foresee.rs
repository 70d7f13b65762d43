//! What the photos would show, put through the real survey.

use nalgebra::{Matrix2, Vector3};

use super::lay::{LaidCard, Layout};
use super::{CoverageError, Phone};
use crate::card::layout::Layout as CardLayout;
use crate::card::{SeenCard, SeenSaddle};
use crate::check::edges;
use crate::frame::{Cov2, Pixel, Point, Sheet};
use crate::plan::{Edge, Plan};
use crate::sheet::{EDGES, line_of};
use crate::survey::{
    Cameras, KNOWN_SD_MM, KnownLength, Options, PAPER_MM, PrintScale, Priors, SheetDatum, Sighting,
    StraightLine, survey_of,
};
use crate::synth::Camera;
use crate::verdict::decision_rule::COVERAGE_FACTOR;

/// Noise of a checker corner and of an edge point in a good photo, px.
const SADDLE_PX: f64 = 0.05;
const EDGE_PX: f64 = 0.1;
/// Noise of a mark's own place, px: what ink and its rim leave open.
const MARK_PX: f64 = 0.2;
/// Distance of edge points, mm.
const EDGE_STEP_MM: f64 = 1.6;
/// A hand holds the camera straight to so much, degrees, each photo another way.
const TILT_DEG: f64 = 6.0;
/// Nothing is measured nearer to the picture's rim than this, px.
const RIM_PX: f64 = 10.0;

/// What will be known besides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Whether the cards' bars will be measured.
    pub bars: bool,
    /// Whether the sheet's longer side will be.
    pub side: bool,
}

/// How well the holes will be known.
#[derive(Debug, Clone, PartialEq)]
pub struct Foreseen {
    /// U of a mark at each hole, in the plan's order, mm; `None` where no photo shows it.
    pub expanded_mm: Vec<Option<f64>>,
}

impl Foreseen {
    /// The largest, with the hole's place in the plan's list.
    #[must_use]
    pub fn worst(&self) -> Option<(usize, f64)> {
        let known = self.expanded_mm.iter().enumerate();
        known
            .filter_map(|(i, u)| Some((i, (*u)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The least.
    #[must_use]
    pub fn best(&self) -> Option<f64> {
        self.expanded_mm
            .iter()
            .flatten()
            .copied()
            .min_by(f64::total_cmp)
    }
}

/// Foresees the uncertainty of every hole.
///
/// # Errors
/// [`CoverageError::Survey`] when the survey would refuse such photos.
pub fn foresee(
    plan: &Plan,
    phone: &Phone,
    layout: &Layout,
    known: Known,
) -> Result<Foreseen, CoverageError> {
    let size_mm = [plan.width_mm, plan.height_mm];
    let cameras: Vec<Camera> = (0..layout.photos.len())
        .map(|i| camera(phone, layout, i))
        .collect();
    let seen: Vec<(Vec<SeenCard>, Vec<usize>, Vec<StraightLine>)> = cameras
        .iter()
        .map(|camera| {
            let laid: Vec<(&LaidCard, SeenCard)> = layout
                .cards
                .iter()
                .filter_map(|c| Some((c, card(camera, c)?)))
                .collect();
            let beside = (0..laid.len()).filter(|&i| !laid[i].0.on_face).collect();
            // A plan that takes two marks as datum is for a face whose edges may be out of the photo.
            let edges = EDGES.into_iter().filter(|_| plan.datum.is_none());
            let lines = edges
                .filter_map(|e| edge(camera, e, size_mm, layout))
                .collect();
            (laid.into_iter().map(|(_, c)| c).collect(), beside, lines)
        })
        .collect();
    let priors = |camera: &Camera| {
        let facts = crate::photo::Camera {
            focal_35mm: Some(phone.focal_35mm),
            ..crate::photo::Camera::default()
        };
        let priors = Priors::from_camera(&facts, camera.width, camera.height);
        match PrintScale::from_bars([100.0, 100.0]) {
            Ok(scale) if known.bars => priors.with_scale(scale),
            _ => priors,
        }
    };
    let shots: Vec<(Priors, usize)> = cameras.iter().map(|c| (priors(c), 0)).collect();
    let joint = match shots.as_slice() {
        [(only, _)] => Cameras::one(only),
        _ => Cameras::of_shots(&shots),
    };
    let sightings: Vec<Sighting> = seen
        .iter()
        .enumerate()
        .map(|(camera, (cards, beside, lines))| Sighting {
            cards,
            beside,
            lines,
            camera,
        })
        .collect();
    let options = Options {
        // Drawn level with the face; it may be off as much as in a photo.
        paper_mm: [0.0, PAPER_MM[1]],
        bench_mm: [0.0, 0.0],
        known: side(plan, known),
        ..Options::default()
    };
    let told = |e: &dyn std::fmt::Display| CoverageError::Survey(e.to_string());
    let mut survey = survey_of(&sightings, &joint, &options).map_err(|e| told(&e))?;
    for edge in EDGES {
        edges::doubt_edge(&mut survey, line_of(edge, 0));
    }
    let datum = match &plan.datum {
        None => edges::datum(size_mm, 0),
        Some(names) => marks(plan, names, &cameras)?,
    };
    let frames = (0..cameras.len())
        .map(|i| survey.sheet_frame(&datum, i))
        .collect::<Result<Vec<_>, _>>()
        .map_err(|e| told(&e))?;
    let own = Cov2::identity() * (MARK_PX * MARK_PX);
    let of_hole = |at: Point<Sheet>| {
        cameras
            .iter()
            .zip(&frames)
            .filter_map(|(camera, frame)| {
                let pixel = shown(camera, Vector3::new(at.x, at.y, 0.0))?;
                let (_, cov) = frame.point(pixel, own)?;
                Some(COVERAGE_FACTOR * cov.symmetric_eigenvalues().max().max(0.0).sqrt())
            })
            .min_by(f64::total_cmp)
    };
    Ok(Foreseen {
        expanded_mm: plan.holes.iter().map(|h| of_hole(h.at)).collect(),
    })
}

/// The datum of two marks, as one photo will show them.
fn marks(
    plan: &Plan,
    names: &[String; 2],
    cameras: &[Camera],
) -> Result<SheetDatum, CoverageError> {
    let holes = names.each_ref().map(|n| plan.hole(n).map(|h| h.at));
    let (Some(a), Some(b), [camera]) = (holes[0], holes[1], cameras) else {
        return Err(CoverageError::Survey(
            "the plan takes its datum from two marks, which is done from one photo: hold the camera higher, so that one shows all of it".to_owned(),
        ));
    };
    let planned = [a, b];
    let [Some(a), Some(b)] = planned.map(|p| shown(camera, Vector3::new(p.x, p.y, 0.0))) else {
        return Err(CoverageError::Survey(
            "a datum mark would be out of the photo: hold the camera higher".to_owned(),
        ));
    };
    let own = Cov2::identity() * (MARK_PX * MARK_PX);
    Ok(SheetDatum::Marks {
        seen: [(a, own), (b, own)],
        planned,
    })
}

/// The longer side, where it will be measured.
fn side(plan: &Plan, known: Known) -> Vec<KnownLength> {
    let (edges, mm) = if plan.width_mm >= plan.height_mm {
        ([Edge::Left, Edge::Right], plan.width_mm)
    } else {
        ([Edge::Bottom, Edge::Top], plan.height_mm)
    };
    let length = KnownLength {
        between: edges.map(|e| line_of(e, 0)),
        mm,
        sd_mm: KNOWN_SD_MM,
    };
    // A length between edges tells nothing where no edge is seen.
    if known.side && plan.datum.is_none() {
        vec![length]
    } else {
        Vec::new()
    }
}

/// The camera of a photo, held by hand.
fn camera(phone: &Phone, layout: &Layout, photo: usize) -> Camera {
    let [long, short] = phone.size_px;
    let size = if layout.long_side_along_x {
        [long, short]
    } else {
        [short, long]
    };
    // Some other way each time, as the golden angle has it.
    let lean = 2.4 * photo as f64 - 1.4;
    let mut camera = Camera::above(
        layout.photos[photo],
        layout.px_per_mm,
        TILT_DEG.to_radians(),
        lean,
        0.0,
        size,
    );
    camera.focal_px = phone.focal_px();
    camera
}

/// Where a photo shows a place, if it does.
fn shown(camera: &Camera, world: Vector3<f64>) -> Option<Point<Pixel>> {
    let p = camera.project(world);
    let (w, h) = (f64::from(camera.width), f64::from(camera.height));
    (p.x > RIM_PX && p.y > RIM_PX && p.x < w - RIM_PX && p.y < h - RIM_PX).then_some(p)
}

/// A card as a photo shows it; `None` unless it shows all of it.
fn card(camera: &Camera, laid: &LaidCard) -> Option<SeenCard> {
    let layout = CardLayout::of(laid.number)?;
    let turn = if laid.upright {
        std::f64::consts::FRAC_PI_2
    } else {
        0.0
    };
    let (s, c) = f64::sin_cos(turn);
    let place = |x: f64, y: f64| {
        let world = Vector3::new(laid.at.x + c * x - s * y, laid.at.y + s * x + c * y, 0.0);
        shown(camera, world)
    };
    let mut outline = [Point::new(0.0, 0.0); 4];
    for (o, corner) in outline.iter_mut().zip(layout.outer_corners()) {
        *o = place(corner.x, corner.y)?;
    }
    let cov = Matrix2::identity() * (SADDLE_PX * SADDLE_PX);
    let saddles = layout
        .saddles
        .iter()
        .filter_map(|saddle| {
            Some(SeenSaddle {
                on_card: saddle.at,
                at: place(saddle.at.x, saddle.at.y)?,
                cov,
            })
        })
        .collect();
    Some(SeenCard {
        number: laid.number,
        saddles,
        outline,
    })
}

/// The points of an edge in a photo; `None` for too few of them.
fn edge(camera: &Camera, edge: Edge, [w, h]: [f64; 2], layout: &Layout) -> Option<StraightLine> {
    let (from, to) = match edge {
        Edge::Bottom => ([0.0, 0.0], [w, 0.0]),
        Edge::Top => ([0.0, h], [w, h]),
        Edge::Left => ([0.0, 0.0], [0.0, h]),
        Edge::Right => ([w, 0.0], [w, h]),
    };
    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
    let place = |t: f64| {
        let share = t / length;
        [0, 1].map(|i| from[i] + (to[i] - from[i]) * share)
    };
    let count = (length / EDGE_STEP_MM) as usize;
    let points: Vec<(Point<Pixel>, f64)> = (2..count.saturating_sub(2))
        .filter_map(|i| {
            let [x, y] = place(i as f64 * EDGE_STEP_MM);
            let covered = layout.cards.iter().any(|c| {
                let half = c.half_mm();
                (c.at.x - x).abs() < half[0] && (c.at.y - y).abs() < half[1]
            });
            let pixel = shown(camera, Vector3::new(x, y, 0.0))?;
            (!covered).then_some((pixel, EDGE_PX))
        })
        .collect();
    (points.len() >= 8).then(|| StraightLine {
        id: line_of(edge, 0),
        points,
    })
}
