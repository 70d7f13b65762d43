//! The faultless sheets that trouble is drawn into: small ones, of all faces, pens and lights, in photos from fair to poor.

use std::f64::consts::PI;
use std::path::Path;

use nalgebra::{Vector2, Vector3};
use punchready::frame::{Point, Sheet};
use punchready::plan::{self, Edge, Plan};
use punchready::synth::camera::{DIAGONAL_35MM, USUAL_FOCAL_35MM};
use punchready::synth::marking::{Hand, Marking, Style};
use punchready::synth::{
    Bench, Camera, Ink, Mark, PlacedCard, Rng, Scene, Sensor, Shape, SheetPiece, SoftShadow,
    Surface,
};

/// Linear RGB of a light green primer and of the blue film that sheets are sold under.
const LIGHT_GREEN: [f32; 3] = [0.30, 0.38, 0.22];
const BLUE_FILM: [f32; 3] = [0.22, 0.40, 0.62];
/// Diagonal of the whole picture of a phone, px: 4032 x 3024.
const PHONE_DIAGONAL_PX: f64 = 5040.0;
/// Bench left round what must be in the picture, as a share of the picture.
const ROOM: f64 = 1.01;
/// Steps that spread any number of sheets evenly over many ranges at once: fractions of the square roots of primes (Richtmyer,
/// "The Evaluation of Definite Integrals, and a Quasi-Monte-Carlo Method", 1951, from memory).
const PRIMES: [f64; 11] = [2.0, 3.0, 5.0, 7.0, 11.0, 13.0, 19.0, 23.0, 29.0, 31.0, 41.0];

/// What a kind of trouble asks of the sheet that it is drawn into.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Needs {
    /// How the holes of rows are marked.
    pub(crate) rows: Option<Style>,
    /// How single holes are marked.
    pub(crate) singles: Option<Style>,
    /// Whether lines are ruled along the rows.
    pub(crate) ruled: Option<bool>,
    /// A card lies on the sheet.
    pub(crate) card_on: bool,
    /// Tolerance of the plan, mm.
    pub(crate) tolerance_mm: f64,
    /// Pixels per mm of the photo, from and to.
    pub(crate) px_per_mm: [f64; 2],
    /// Blur of the lens, px, from and to.
    pub(crate) blur_px: [f64; 2],
    /// The widest blur on the sheet, mm: `blur_px` is cut to it.
    pub(crate) blur_mm: f64,
}

/// What a person can be asked to photograph: the whole range of the bench.
pub(crate) const ANY: Needs = Needs {
    rows: None,
    singles: None,
    ruled: None,
    card_on: false,
    tolerance_mm: 0.8,
    px_per_mm: [5.0, 12.0],
    blur_px: [0.6, 2.0],
    blur_mm: 0.4,
};

/// A photo that a careful person would send: a dot of 0.6 mm is as wide in it as two standard deviations of the blur on
/// either side. From a worse one "cannot tell" is the right answer, so that nothing is asked of harmless sheets there.
pub(crate) const FAIR: Needs = Needs {
    blur_mm: 0.15,
    ..ANY
};

/// A sheet to draw, with all that is true of it.
#[derive(Debug, Clone)]
pub(crate) struct Base {
    /// The plan's file.
    pub(crate) plan_text: String,
    /// The plan.
    pub(crate) plan: Plan,
    /// What is drawn.
    pub(crate) scene: Scene,
    /// How it was marked out.
    pub(crate) hand: Hand,
    /// Pixels per mm in the middle of the photo.
    pub(crate) px_per_mm: f64,
    /// Quality of the JPEG.
    pub(crate) quality: u8,
    /// Another photo of the same sheet.
    pub(crate) second: Option<(Camera, Sensor)>,
    /// Chance of what is drawn in.
    pub(crate) rng: Rng,
    /// Places that are taken, with how far round them, mm.
    taken: Vec<(Point<Sheet>, f64)>,
}

/// Where sheet `index` of `kind` lies in range `axis`, 0 to 1: even over the sheets of a kind, and over the kinds.
fn spread(kind: u64, index: u64, axis: usize) -> f64 {
    /// The golden ratio's step, for the kinds.
    const GOLDEN: f64 = 0.618_033_988_75;
    let start = (kind as f64 * GOLDEN * (axis + 1) as f64).fract();
    (start + index as f64 * PRIMES[axis].sqrt()).fract()
}

fn within([low, high]: [f64; 2], share: f64) -> f64 {
    low + (high - low) * share
}

fn one_of<T: Clone>(all: &[T], share: f64) -> T {
    all[((share * all.len() as f64) as usize).min(all.len() - 1)].clone()
}

impl Base {
    /// Sheet `index` of the kind of this number.
    pub(crate) fn new(kind: u64, index: u64, needs: &Needs) -> Self {
        let seed = Rng::new((kind << 32) ^ index ^ 0x7a3b_0000).bits();
        let mut rng = Rng::new(seed);
        let share = |axis| spread(kind, index, axis);
        let (surface, ink) = face(share(0), share(1), &mut rng);
        let plan_text = plan_text(needs, share(2));
        let plan = plan::parse(&plan_text, Path::new("plan.toml")).unwrap();
        let styles = [Style::Tick, Style::Dot, Style::Cross];
        let rows = needs.rows.unwrap_or_else(|| one_of(&styles, share(3)));
        let ruled = needs.ruled.unwrap_or(rows != Style::Dot || share(4) < 0.6);
        let hand = Hand {
            scatter_mm: 0.08,
            line_scatter_mm: 0.05,
            rows,
            singles: needs
                .singles
                .unwrap_or_else(|| one_of(&[Style::Cross, Style::Dot], share(5))),
            ruled,
            dot_mm: rng.between(0.65, 1.0),
            ink,
            seed,
            ..Hand::default()
        };
        let mut marks = Marking::of(&plan, &hand).marks;
        widen(&mut marks, &mut rng);
        // As many of each octave: a photo from twice as far is as likely.
        let [from, to] = needs.px_per_mm.map(f64::ln);
        let px_per_mm = within([from, to], share(6)).exp();
        let [low, high] = needs.blur_px;
        let most = high.min(needs.blur_mm * px_per_mm).max(low);
        let cards = vec![card(&plan, needs)];
        let mut scene = Scene {
            camera: camera(
                &plan,
                needs.card_on,
                px_per_mm,
                [share(7), share(8)],
                &mut rng,
            ),
            sheet: SheetPiece {
                thickness_mm: plan.thickness_mm.unwrap_or(1.0),
                ..SheetPiece::sized(plan.width_mm, plan.height_mm)
            },
            bench: one_of(&[Bench::Wood, Bench::Dark, Bench::Grey], rng.unit()),
            surface,
            cards,
            marks,
            sensor: Sensor {
                blur_px: within([low, most], share(9)),
                full_well: 10f64.powf(rng.between(3.2, 4.0)),
                read_noise: rng.between(0.001, 0.003),
                sharpen: rng.between(0.0, 0.6),
                ..Sensor::default()
            },
            seed,
            ..Scene::default()
        };
        light(&plan, share(10), &mut rng, &mut scene);
        Self {
            plan_text,
            scene,
            hand,
            px_per_mm,
            quality: rng.between(86.0, 95.0) as u8,
            second: None,
            taken: Vec::new(),
            rng,
            plan,
        }
    }

    /// The mark of a hole, by the hole's name.
    pub(crate) fn mark_of(&mut self, hole: &str) -> &mut Mark {
        let marks = &mut self.scene.marks;
        let named = |m: &&mut Mark| m.name.as_deref() == Some(hole);
        marks.iter_mut().find(named).unwrap()
    }

    /// Where the mark of a hole is.
    pub(crate) fn place_of(&mut self, hole: &str) -> Point<Sheet> {
        self.mark_of(hole).at()
    }

    /// Draws the mark in this sheet's pen.
    pub(crate) fn draw(&mut self, mut mark: Mark) {
        mark.ink = self.hand.ink;
        self.scene.marks.push(mark);
    }

    /// A hole of a row, but for its first and last, or a single hole (`row` false).
    pub(crate) fn any_hole(&mut self, row: bool) -> String {
        let holes = &self.plan.holes;
        let inner: Vec<&str> = holes
            .iter()
            .enumerate()
            .filter(|(i, h)| {
                let same = |j: usize| holes.get(j).is_some_and(|o| o.row == h.row);
                h.row.is_some() == row && (!row || (*i > 0 && same(i - 1) && same(i + 1)))
            })
            .map(|(_, h)| h.name.as_str())
            .collect();
        one_of(&inner, self.rng.unit()).to_owned()
    }

    /// Direction along the row of a hole, and square to it, away from the sheet's edge; along x for a single hole.
    pub(crate) fn ways(&self, hole: &str) -> [Vector2<f64>; 2] {
        let row = self.plan.hole(hole).and_then(|h| h.row.as_deref());
        let row = self.plan.rows.iter().find(|r| Some(r.name.as_str()) == row);
        match row.map(|r| r.along) {
            Some(Edge::Left) => [Vector2::y(), Vector2::x()],
            Some(Edge::Right) => [Vector2::y(), -Vector2::x()],
            Some(Edge::Top) => [Vector2::x(), -Vector2::y()],
            _ => [Vector2::x(), Vector2::y()],
        }
    }

    /// A place in the open, `clear_mm` from holes, ruled lines, edges, cards and what was put there before; taken now.
    pub(crate) fn open(&mut self, clear_mm: f64) -> Point<Sheet> {
        /// Nothing stands nearer than this to the sheet's edge, mm: what does is a kind of its own.
        const EDGE_MM: f64 = 4.0;
        let (w, h) = (self.plan.width_mm, self.plan.height_mm);
        let mut at = Point::new(w / 2.0, h / 2.0);
        for _ in 0..4000 {
            let margin = EDGE_MM.max(clear_mm);
            at = Point::new(
                self.rng.between(margin, w - margin),
                self.rng.between(margin, h - margin),
            );
            if self.is_clear(at, clear_mm) {
                break;
            }
        }
        self.taken.push((at, clear_mm));
        at
    }

    /// The same for something long, along x: the middle of a run of this length that is clear all along.
    pub(crate) fn open_run(&mut self, length_mm: f64, clear_mm: f64) -> Point<Sheet> {
        let (w, h) = (self.plan.width_mm, self.plan.height_mm);
        let half = length_mm / 2.0;
        let along = move |at: Point<Sheet>| {
            let steps = length_mm.ceil() as usize;
            (0..=steps)
                .map(move |i| at + Vector2::x() * (i as f64 / steps as f64 * length_mm - half))
        };
        let mut at = Point::new(w / 2.0, 0.75 * h);
        for _ in 0..4000 {
            at = Point::new(
                self.rng.between(half + clear_mm, w - half - clear_mm),
                self.rng.between(clear_mm, h - clear_mm),
            );
            if along(at).all(|p| self.is_clear(p, clear_mm)) {
                break;
            }
        }
        self.taken.extend(along(at).map(|p| (p, clear_mm)));
        at
    }

    /// The place on the nearest ruled line; `at` itself where none is ruled.
    pub(crate) fn on_line(&self, at: Point<Sheet>) -> Point<Sheet> {
        let lines = self.scene.marks.iter().filter_map(|m| match m.shape {
            Shape::Line { from, to, .. } => Some(nearest_on(at, from, to)),
            _ => None,
        });
        lines
            .min_by(|a, b| a.distance(at).total_cmp(&b.distance(at)))
            .unwrap_or(at)
    }

    fn is_clear(&self, at: Point<Sheet>, clear_mm: f64) -> bool {
        /// Half of the longest mark, mm.
        const MARK_MM: f64 = 3.0;
        let holes = self
            .plan
            .holes
            .iter()
            .all(|h| h.at.distance(at) > clear_mm + MARK_MM);
        let lines = self.scene.marks.iter().all(|m| match m.shape {
            Shape::Line { from, to, .. } => nearest_on(at, from, to).distance(at) > clear_mm,
            _ => true,
        });
        let cards = self.scene.cards.iter().all(|c| {
            let v = card_place(c, at);
            v.x.abs().max(v.y.abs()) > clear_mm + 1.5
        });
        let taken = &self.taken;
        holes && lines && cards && taken.iter().all(|(p, r)| p.distance(at) > r + clear_mm)
    }
}

/// How far `at` is outside of a card's half size along both its ways, mm: the larger one is above 0 off the card.
fn card_place(card: &PlacedCard, at: Point<Sheet>) -> Vector2<f64> {
    let (s, c) = card.turn_rad.sin_cos();
    let v = at - card.centre;
    let [w, h] = card_half_mm(card);
    Vector2::new(
        ((c * v.x + s * v.y).abs() - w).max(0.0),
        ((c * v.y - s * v.x).abs() - h).max(0.0),
    )
}

/// Half of a card's size, mm.
pub(crate) fn card_half_mm(card: &PlacedCard) -> [f64; 2] {
    let layout = punchready::card::layout::Layout::of(card.number).unwrap();
    layout.size_mm.map(|s| s / 2.0)
}

fn nearest_on(at: Point<Sheet>, from: Point<Sheet>, to: Point<Sheet>) -> Point<Sheet> {
    let along = to - from;
    let t = ((at - from).dot(&along) / along.norm_squared().max(1e-9)).clamp(0.0, 1.0);
    from + along * t
}

/// A face, and a pen that writes on it.
fn face(which: f64, pen: f64, rng: &mut Rng) -> (Surface, Ink) {
    let brushed = |grain_rad, contrast| Surface::Brushed {
        grain_rad,
        contrast,
    };
    let surface = one_of(
        &[
            Surface::Mill,
            Surface::Mill,
            brushed(0.0, 0.3),
            brushed(PI / 2.0, 0.45),
            brushed(0.15, 0.6),
            Surface::Primer,
            Surface::Plain(LIGHT_GREEN),
            Surface::Plain(BLUE_FILM),
            Surface::LayoutDye,
        ],
        which,
    );
    let ink = match surface {
        Surface::LayoutDye => Ink::scribed(),
        _ => {
            let black = Ink::default().colour;
            let colours = [
                black,
                black,
                [0.04, 0.05, 0.30],
                [0.35, 0.04, 0.04],
                [0.03, 0.16, 0.06],
            ];
            Ink {
                colour: one_of(&colours, pen),
                density: rng.between(0.82, 0.96),
                patchy: rng.between(0.05, 0.2),
                ..Ink::default()
            }
        }
    };
    (surface, ink)
}

/// One pen on one sheet: all lines of one width, all ticks of another.
fn widen(marks: &mut [Mark], rng: &mut Rng) {
    let (line, stroke) = (rng.between(0.35, 0.5), rng.between(0.38, 0.55));
    for mark in marks {
        match &mut mark.shape {
            Shape::Line { width_mm, .. } => *width_mm = line,
            Shape::Tick { width_mm, .. } | Shape::Cross { width_mm, .. } => *width_mm = stroke,
            _ => {}
        }
    }
}

/// Two rows whose lines cross near a corner, and two single holes.
fn plan_text(needs: &Needs, which: f64) -> String {
    let tolerance = needs.tolerance_mm;
    // Name, edge, edge distance, first, pitch, count.
    let (size, seen, rows) = if needs.card_on {
        // The card hides a quarter of the face, as on the samples.
        let rows = [
            ("A", "bottom", 8.0, 17.0, 17.0, 7),
            ("L", "left", 9.0, 20.0, 11.0, 3),
        ];
        ([140.0, 92.0], 0.7, rows)
    } else if which < 0.5 {
        let rows = [
            ("A", "bottom", 8.0, 17.0, 14.0, 7),
            ("L", "left", 9.0, 20.0, 13.0, 3),
        ];
        ([120.0, 64.0], 0.98, rows)
    } else {
        let rows = [
            ("A", "bottom", 9.5, 13.0, 16.0, 7),
            ("R", "right", 8.0, 20.0, 12.0, 3),
        ];
        ([126.0, 60.0], 0.98, rows)
    };
    let [w, h]: [f64; 2] = size;
    let mut text = format!(
        "title = \"Practice piece\"\nunits = \"mm\"\n\n[sheet]\nwidth = {w:.1}\nheight = {h:.1}\nthickness = 1.0\n\n\
         [tolerance]\nposition = {tolerance}\n\n[seen]\nfraction = {seen}\n"
    );
    for (name, along, edge, first, pitch, count) in rows {
        text.push_str(&format!(
            "\n[[row]]\nname = \"{name}\"\nalong = \"{along}\"\nedge_distance = {edge:.1}\nfirst = {first:.1}\n\
             pitch = {pitch:.1}\ncount = {count}\n"
        ));
    }
    for (name, x, y) in [("P1", 0.42 * w, 31.0), ("P2", 0.72 * w, 24.0)] {
        text.push_str(&format!(
            "\n[[hole]]\nname = \"{name}\"\nx = {x:.1}\ny = {y:.1}\n"
        ));
    }
    text
}

/// A strip card above the sheet on scrap of its thickness, or on it.
fn card(plan: &Plan, needs: &Needs) -> PlacedCard {
    let (w, h) = (plan.width_mm, plan.height_mm);
    if needs.card_on {
        PlacedCard {
            height_mm: 0.1,
            ..PlacedCard::at(42, 0.53 * w, 0.75 * h, 0.02)
        }
    } else {
        PlacedCard::at(42, 0.5 * w, h + 18.0, 0.02)
    }
}

/// A phone held over the sheet: the picture is the part of its frame that shows sheet and card, enlarged, as it is saved
/// with a zoom of 2.
fn camera(
    plan: &Plan,
    card_on: bool,
    px_per_mm: f64,
    [lean, towards]: [f64; 2],
    rng: &mut Rng,
) -> Camera {
    let above = if card_on { 4.0 } else { 33.0 };
    let (low, high) = ([-5.0, -5.0], [plan.width_mm + 5.0, plan.height_mm + above]);
    let middle = Point::new((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0);
    let (tilt, direction) = (0.3 * lean, 2.0 * PI * towards);
    let roll = rng.between(-0.06, 0.06);
    let near = Camera::above(middle, px_per_mm, tilt, direction, roll, [1000, 1000]);
    let focal_px = USUAL_FOCAL_35MM * PHONE_DIAGONAL_PX / DIAGONAL_35MM;
    let further = focal_px / near.focal_px;
    let mut camera = Camera {
        position: near.look_at + (near.position - near.look_at) * further,
        focal_px,
        ..near
    };
    let centre = camera.principal;
    let reach = [(0, 0), (0, 1), (1, 0), (1, 1)].map(|(i, j)| {
        let corner = Vector3::new([low[0], high[0]][i], [low[1], high[1]][j], 0.0);
        camera.project(corner) - centre
    });
    let most = |f: fn(&Vector2<f64>) -> f64| reach.iter().map(f).fold(0.0, f64::max);
    let half_width = most(|v| v.x.abs()).max(most(|v| v.y.abs()) * 4.0 / 3.0) * ROOM;
    let units = (half_width / 2.0).ceil() as u32;
    (camera.width, camera.height) = (4 * units, 3 * units);
    camera.principal = Point::new(
        f64::from(camera.width) / 2.0,
        f64::from(camera.height) / 2.0,
    );
    camera
}

fn light(plan: &Plan, shaded: f64, rng: &mut Rng, scene: &mut Scene) {
    let l = &mut scene.light;
    l.level = rng.between(0.6, 1.0);
    l.gradient = [rng.between(-0.12, 0.12), rng.between(-0.12, 0.12)];
    l.sheen = rng.between(0.1, 0.4);
    let tints = [[1.02, 1.0, 0.96], [1.12, 1.0, 0.8], [0.92, 1.0, 1.12]];
    l.tint = one_of(&tints, rng.unit());
    l.lamp_mm = Vector3::new(rng.between(-900.0, 900.0), 900.0, 1200.0);
    if shaded < 0.25 {
        // The hand's or the phone's, from one side.
        l.shadows.push(SoftShadow {
            through: Point::new(
                rng.between(0.2, 0.8) * plan.width_mm,
                rng.between(0.2, 0.8) * plan.height_mm,
            ),
            towards_rad: rng.between(-PI, PI),
            softness_mm: rng.between(8.0, 30.0),
            depth: rng.between(0.15, 0.45),
        });
    }
}
