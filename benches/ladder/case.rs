//! One photo of the ladder, put together step by step: plan, hand, faults, scene, camera, what is said.
//!
//! Everything is drawn from the photo's seed, so that it is the same in every run.

use nalgebra::{Vector2, Vector3};
use punchready::card::layout::Layout;
use punchready::check::{Given, Stage};
use punchready::frame::{Point, Sheet};
use punchready::plan::{Edge, Hole, Plan};
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{
    Bench, Camera, ExifFacts, Ink, Mark, PlacedCard, RingStyle, Rng, Scene, Shape, SheetPiece,
    Surface,
};

/// A photo to make and to check.
#[derive(Debug, Clone)]
pub(crate) struct Case {
    /// The step of the ladder, from 1.
    pub(crate) step: usize,
    /// The photo's number within it, from 1.
    pub(crate) number: usize,
    /// What it shows, in a few words.
    pub(crate) title: String,
    pub(crate) plan: Plan,
    pub(crate) scene: Scene,
    pub(crate) exif: ExifFacts,
    pub(crate) given: Given,
    /// Why "cannot tell" is a right answer to this photo; `None`: a person could tell from it.
    pub(crate) excuse: Option<&'static str>,
    /// Marks that are crossed out by something else than a plain X.
    pub(crate) crossed_otherwise: Vec<Point<Sheet>>,
    /// Marks with one stroke through them, or scribbled out: void, or a question.
    pub(crate) questioned: Vec<Point<Sheet>>,
}

/// What the hand did wrong.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Fault {
    /// No mark for a hole.
    Missing,
    /// A mark this far off along its row, mm.
    Off(f64),
    /// A mark this far off across its row, mm.
    Across(f64),
    /// A dot that no hole asked for.
    Stray,
    /// The same with a ring round it.
    RingedStray,
    /// A dot this far from a hole's mark along the row, mm.
    Near(f64),
    /// A hole's mark is crossed out.
    Cancelled,
    /// A second mark for a hole, this far along the row, mm.
    Double(f64),
    /// A stray that is crossed out: harmless.
    CancelledStray,
    /// A ring round a hole's mark: harmless.
    RingedHole,
    /// The whole plan marked out from the wrong end.
    Mirrored,
}

/// Where a card lies: beside an edge, at this share of the edge's length.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Spot {
    Left(u16, f64),
    Right(u16, f64),
    Top(u16, f64),
    Bottom(u16, f64),
    /// On the face, at these shares of width and height.
    On(u16, f64, f64),
}

/// How the camera is held.
#[derive(Debug, Clone, Copy)]
pub(crate) struct View {
    /// Pixels per mm at the middle of the picture.
    pub(crate) px_per_mm: f64,
    /// From straight above, degrees.
    pub(crate) tilt: f64,
    /// Which way it leans, degrees from x.
    pub(crate) lean: f64,
    /// Turn of the picture's content, degrees anticlockwise.
    pub(crate) roll: f64,
    /// Shape of the picture, such as 4:3.
    pub(crate) aspect: [f64; 2],
}

impl View {
    pub(crate) fn above(px_per_mm: f64) -> Self {
        Self {
            px_per_mm,
            tilt: 4.0,
            lean: -80.0,
            roll: 1.0,
            aspect: [4.0, 3.0],
        }
    }

    pub(crate) fn tilted(px_per_mm: f64, tilt: f64, lean: f64) -> Self {
        Self {
            tilt,
            lean,
            ..Self::above(px_per_mm)
        }
    }

    pub(crate) fn rolled(self, roll: f64) -> Self {
        Self { roll, ..self }
    }

    pub(crate) fn portrait(self) -> Self {
        Self {
            aspect: [3.0, 4.0],
            ..self
        }
    }
}

/// A case before the camera is placed.
pub(crate) struct Draft {
    title: String,
    plan: Plan,
    hand: Hand,
    marking: Marking,
    pub(crate) scene: Scene,
    pub(crate) exif: ExifFacts,
    pub(crate) given: Given,
    pub(crate) excuse: Option<&'static str>,
    crossed_otherwise: Vec<Point<Sheet>>,
    questioned: Vec<Point<Sheet>>,
    rng: Rng,
}

impl Draft {
    /// The plan marked out by a careful hand on a mill-finish sheet, on wood, with bars of true size.
    pub(crate) fn new(title: &str, plan: &Plan, seed: u64) -> Self {
        let hand = Hand {
            scatter_mm: 0.08,
            line_scatter_mm: 0.05,
            seed,
            ..Hand::default()
        };
        Self {
            title: title.to_owned(),
            plan: plan.clone(),
            marking: Marking::of(plan, &hand),
            hand,
            scene: Scene {
                sheet: SheetPiece {
                    thickness_mm: plan.thickness_mm.unwrap_or(1.0),
                    ..SheetPiece::sized(plan.width_mm, plan.height_mm)
                },
                bench: Bench::Wood,
                surface: Surface::Mill,
                seed,
                ..Scene::default()
            },
            exif: ExifFacts::default(),
            given: Given {
                // Drawn level with the face: cards that are let in.
                card_thickness_mm: Some(0.0),
                cameras: Vec::new(),
                answers: None,
                print_scale: PrintScale::from_bars([100.0, 100.0]).ok(),
                card_below_mm: Some(0.0),
                known: Vec::new(),
                datum_corner: None,
                stage: Stage::Marked,
            },
            excuse: None,
            crossed_otherwise: Vec::new(),
            questioned: Vec::new(),
            rng: Rng::new(seed ^ 0x001a_dde2),
        }
    }

    /// Another hand; call it before the faults.
    pub(crate) fn hand(mut self, change: impl FnOnce(&mut Hand)) -> Self {
        change(&mut self.hand);
        self.marking = Marking::of(&self.plan, &self.hand);
        self
    }

    pub(crate) fn surface(mut self, surface: Surface) -> Self {
        self.scene.surface = surface;
        self
    }

    pub(crate) fn bench(mut self, bench: Bench) -> Self {
        self.scene.bench = bench;
        self
    }

    /// Anything else.
    pub(crate) fn with(mut self, change: impl FnOnce(&mut Self)) -> Self {
        change(&mut self);
        self
    }

    /// Why a refusal is right.
    pub(crate) fn excused(mut self, why: &'static str) -> Self {
        self.excuse = Some(why);
        self
    }

    pub(crate) fn marks(mut self, marks: impl IntoIterator<Item = Mark>) -> Self {
        for mark in marks {
            self.marking = self.marking.with(mark);
        }
        self
    }

    /// What lies under the marks: stamps, scratches.
    pub(crate) fn under(mut self, marks: impl IntoIterator<Item = Mark>) -> Self {
        for mark in marks {
            self.marking.marks.insert(0, mark);
        }
        self
    }

    fn chosen(&mut self) -> Hole {
        let n = self.plan.holes.len();
        self.plan.holes[(self.rng.unit() * n as f64) as usize % n].clone()
    }

    fn along(&self, hole: &Hole) -> Vector2<f64> {
        let row = self
            .plan
            .rows
            .iter()
            .find(|r| hole.row.as_deref() == Some(r.name.as_str()));
        match row.map(|r| r.along) {
            Some(Edge::Left | Edge::Right) => Vector2::y(),
            _ => Vector2::x(),
        }
    }

    /// A place in the open face, away from holes, lines and edges.
    fn open_place(&mut self) -> Point<Sheet> {
        let (w, h) = (self.plan.width_mm, self.plan.height_mm);
        let mut best = (f64::NEG_INFINITY, Point::new(w / 2.0, h / 2.0));
        for _ in 0..60 {
            let at = Point::new(
                self.rng.between(7.0, w - 7.0),
                self.rng.between(7.0, h - 7.0),
            );
            let clear = self
                .marking
                .marks
                .iter()
                .map(|m| match m.shape {
                    Shape::Line { from, to, .. } => {
                        let way = (to - from).normalize();
                        (at - from).perp(&way).abs()
                    }
                    _ => m.at().distance(at),
                })
                .fold(f64::INFINITY, f64::min);
            if clear > 9.0 {
                return at;
            }
            if clear > best.0 {
                best = (clear, at);
            }
        }
        best.1
    }

    /// Puts faults in, each at a place that the seed chooses.
    pub(crate) fn faults(mut self, faults: &[Fault]) -> Self {
        let mut taken: Vec<String> = Vec::new();
        for &fault in faults {
            let mut hole = self.chosen();
            while taken.contains(&hole.name) && taken.len() < self.plan.holes.len() {
                hole = self.chosen();
            }
            let name = hole.name.clone();
            let open = self.open_place();
            let along = self.along(&hole);
            let across = Vector2::new(-along.y, along.x);
            let sign = if self.rng.unit() < 0.5 { -1.0 } else { 1.0 };
            let m = self.marking.clone();
            let changed = match fault {
                Fault::Missing => m.drop_hole(&name),
                // From the planned place, so that the distance is what it says.
                Fault::Off(d) => m
                    .place(&name)
                    .map(|p| hole.at + along * (d * sign) - p)
                    .and_then(|by| {
                        m.shift(&name, by.dot(&along) * along.x, by.dot(&along) * along.y)
                    }),
                Fault::Across(d) => m.shift(&name, across.x * d * sign, across.y * d * sign),
                Fault::Stray => Ok(m.stray(open)),
                Fault::RingedStray => Ok(m.stray(open).ring(open, 7.0, RingStyle::Closed)),
                Fault::Near(d) => m.place(&name).map(|p| {
                    m.clone()
                        .stray(p + (along + across * 0.6).normalize() * (d * sign))
                }),
                Fault::Cancelled => m.cross_out_hole(&name),
                Fault::Double(d) => m.double(&name, along.x * d * sign, along.y * d * sign),
                Fault::CancelledStray => Ok(m.stray(open).cross_out(open)),
                Fault::RingedHole => m.ring_hole(&name),
                Fault::Mirrored => {
                    let mut m = m;
                    for mark in &mut m.marks {
                        let x = mark.at().x;
                        match &mut mark.shape {
                            Shape::Line { from, to, .. } => {
                                from.x = self.plan.width_mm - from.x;
                                to.x = self.plan.width_mm - to.x;
                            }
                            _ => mark.shift(self.plan.width_mm - 2.0 * x, 0.0),
                        }
                    }
                    Ok(m)
                }
            };
            match changed {
                Ok(m) => self.marking = m,
                Err(why) => unreachable!("a chosen hole has a mark: {why}"),
            }
            taken.push(name);
        }
        self
    }

    /// Marks that are crossed out by a scribble: several strokes to and fro.
    pub(crate) fn scribbled_out(mut self, hole: &str) -> Self {
        if let Ok(at) = self.marking.place(hole) {
            let corners: Vec<Point<Sheet>> = (0..7)
                .map(|i| {
                    let x = -2.7 + 0.9 * f64::from(i);
                    at + Vector2::new(x, if i % 2 == 0 { -2.6 } else { 2.6 })
                })
                .collect();
            for pair in corners.windows(2) {
                self.marking = self.marking.with(Mark::line(pair[0], pair[1]));
            }
            self.questioned.push(at);
        }
        self
    }

    /// One stroke is drawn through a hole's mark: a person reads that as crossed out, or asks.
    pub(crate) fn slashed(self, hole: &str, size_mm: f64) -> Self {
        self.slashed_in(hole, size_mm, Ink::default())
    }

    /// The same in another ink.
    pub(crate) fn slashed_in(mut self, hole: &str, size_mm: f64, ink: Ink) -> Self {
        if let Ok(at) = self.marking.place(hole) {
            let half: Vector2<f64> = Vector2::new(0.6, 0.8) * (size_mm / 2.0);
            let stroke = Mark::line(at + -half, at + half).inked(ink);
            self.marking = self.marking.with(stroke);
            self.questioned.push(at);
        }
        self
    }

    /// No mark for this hole.
    pub(crate) fn without(mut self, hole: &str) -> Self {
        if let Ok(m) = self.marking.clone().drop_hole(hole) {
            self.marking = m;
        }
        self
    }

    /// The mark of this hole is (dx, dy) mm from its planned place.
    pub(crate) fn slipped(mut self, hole: &str, dx: f64, dy: f64) -> Self {
        let planned = self
            .plan
            .holes
            .iter()
            .find(|h| h.name == hole)
            .map(|h| h.at);
        if let (Some(planned), Ok(at)) = (planned, self.marking.place(hole)) {
            let by = planned + Vector2::new(dx, dy) - at;
            if let Ok(m) = self.marking.clone().shift(hole, by.x, by.y) {
                self.marking = m;
            }
        }
        self
    }

    /// All strokes are this wide, mm: a scriber instead of a pen.
    pub(crate) fn thin(mut self, mm: f64) -> Self {
        for mark in &mut self.marking.marks {
            match &mut mark.shape {
                Shape::Tick { width_mm, .. }
                | Shape::Cross { width_mm, .. }
                | Shape::Ring { width_mm, .. }
                | Shape::CrossOut { width_mm, .. }
                | Shape::Line { width_mm, .. } => *width_mm = mm,
                _ => {}
            }
        }
        self
    }

    /// A hole's mark is crossed out with an X of this size, mm.
    pub(crate) fn crossed_sized(mut self, hole: &str, size_mm: f64) -> Self {
        if let Ok(at) = self.marking.place(hole) {
            self.marking = self
                .marking
                .with(Mark::cross_out(at.x, at.y).sized(size_mm));
        }
        self
    }

    /// A hole's mark is struck out with two strokes turned by `turn` rad from an even X, the second `ratio` times as
    /// long as the first.
    pub(crate) fn struck(self, hole: &str, size_mm: f64, turn: f64, ratio: f64) -> Self {
        self.struck_by(hole, [size_mm, size_mm * ratio], turn, Ink::default())
    }

    /// A hole's mark is struck out with an X in another ink.
    pub(crate) fn struck_in(self, hole: &str, size_mm: f64, ink: Ink) -> Self {
        self.struck_by(hole, [size_mm; 2], 0.0, ink)
    }

    fn struck_by(mut self, hole: &str, lengths_mm: [f64; 2], turn: f64, ink: Ink) -> Self {
        if let Ok(at) = self.marking.place(hole) {
            for (length, way) in lengths_mm.into_iter().zip([0.78, -0.78]) {
                let half =
                    Vector2::new(f64::cos(way + turn), f64::sin(way + turn)) * (length / 2.0);
                let stroke = Mark::line(at + -half, at + half).inked(ink);
                self.marking = self.marking.with(stroke);
            }
            self.crossed_otherwise.push(at);
        }
        self
    }

    /// A ring whose middle is (dx, dy) mm from a hole's mark.
    pub(crate) fn ringed_beside(
        mut self,
        hole: &str,
        size_mm: f64,
        [dx, dy]: [f64; 2],
        style: RingStyle,
    ) -> Self {
        if let Ok(at) = self.marking.place(hole) {
            self.marking = self.marking.ring(at + Vector2::new(dx, dy), size_mm, style);
        }
        self
    }

    /// A ring round a hole's mark.
    pub(crate) fn ringed(mut self, hole: &str, size_mm: f64, style: RingStyle) -> Self {
        if let Ok(at) = self.marking.place(hole) {
            self.marking = self.marking.ring(at, size_mm, style);
        }
        self
    }

    /// The plan says this thickness, mm.
    pub(crate) fn plan_thickness(&mut self, mm: f64) {
        self.plan.thickness_mm = Some(mm);
    }

    /// What is made with punch or drill at the marks of the holes that `which` names, and the stage that is said. What was
    /// struck out before is a question from then on.
    pub(crate) fn worked(
        mut self,
        stage: Stage,
        which: impl Fn(&str) -> bool,
        made: impl Fn(f64, f64) -> Mark,
    ) -> Self {
        self.given.stage = stage;
        self.questioned.append(&mut self.crossed_otherwise);
        for hole in &self.plan.holes {
            if let (true, Ok(at)) = (which(&hole.name), self.marking.place(&hole.name)) {
                let mark = made(at.x, at.y);
                self.marking = self.marking.clone().with(mark);
            }
        }
        self
    }

    /// Nothing is marked.
    pub(crate) fn blank(&mut self) {
        self.marking.marks.clear();
    }

    /// A slip 4.2 mm along the row was crossed out, and the right mark stands beside it.
    pub(crate) fn replaced_beside(&mut self) {
        let hole = self.chosen();
        let along = self.along(&hole);
        let slip = hole.at + along * 4.2;
        let m = self.marking.clone().stray(slip);
        self.marking = m.with(Mark::cross_out(slip.x, slip.y).sized(5.0));
    }

    /// Lays cards, each a little askew.
    pub(crate) fn cards(mut self, spots: &[Spot]) -> Self {
        /// Clear space between sheet and card, mm.
        const GAP_MM: f64 = 7.0;
        let (w, h) = (self.scene.sheet.width_mm, self.scene.sheet.height_mm);
        for &spot in spots {
            let askew = self.rng.between(-0.07, 0.07);
            let number = match spot {
                Spot::Left(n, _) | Spot::Right(n, _) | Spot::Top(n, _) | Spot::Bottom(n, _) => n,
                Spot::On(n, ..) => n,
            };
            let [long, short] = Layout::of(number).map_or([60.0; 2], |l| l.size_mm);
            let out = GAP_MM + short / 2.0 + long / 2.0 * askew.abs();
            let quarter = std::f64::consts::FRAC_PI_2;
            let (x, y, turn) = match spot {
                Spot::Left(_, t) => (-out, t * h, -quarter),
                Spot::Right(_, t) => (w + out, t * h, quarter),
                Spot::Top(_, t) => (t * w, h + out, 0.0),
                Spot::Bottom(_, t) => (t * w, -out, 0.0),
                Spot::On(_, s, t) => (s * w, t * h, 0.0),
            };
            self.scene
                .cards
                .push(PlacedCard::at(number, x, y, turn + askew));
        }
        self
    }

    /// The cards lie on the bench, and the user says so, or not.
    pub(crate) fn cards_on_bench(mut self, said: bool) -> Self {
        let below = self.scene.sheet.thickness_mm;
        for card in &mut self.scene.cards {
            card.height_mm = -below;
        }
        self.given.card_below_mm = said.then_some(below);
        self
    }

    /// The print is this much too large or small, and the user measured the bars, or not.
    pub(crate) fn printed(mut self, scale: [f64; 2], said: bool) -> Self {
        for card in &mut self.scene.cards {
            card.print_scale = scale;
        }
        let bars = scale.map(|s| 100.0 * s);
        self.given.print_scale = if said {
            PrintScale::from_bars(bars).ok()
        } else {
            None
        };
        self
    }

    /// Places the camera so that sheet and cards just fill the picture, and is done.
    pub(crate) fn shot(mut self, view: View) -> Case {
        self.scene.marks = self.marking.marks.clone();
        let (camera, margin) = (self.scene.camera.clone(), 9.0);
        self.scene.camera = framed(&self.scene, view, margin);
        self.scene.camera.k = camera.k;
        self.scene.camera.p = camera.p;
        Case {
            step: 0,
            number: 0,
            title: self.title,
            plan: self.plan,
            scene: self.scene,
            exif: self.exif,
            given: self.given,
            excuse: self.excuse,
            crossed_otherwise: self.crossed_otherwise,
            questioned: self.questioned,
        }
    }
}

impl Case {
    /// The camera is aimed (dx, dy) mm beside the middle, so that something is cut off.
    pub(crate) fn pushed(mut self, dx: f64, dy: f64) -> Self {
        let by = Vector3::new(dx, dy, 0.0);
        self.scene.camera.position += by;
        self.scene.camera.look_at += by;
        self
    }
}

/// A camera whose picture just holds the sheet and the cards, with `margin` mm round them.
fn framed(scene: &Scene, view: View, margin: f64) -> Camera {
    let mut world: Vec<Vector3<f64>> = scene
        .sheet
        .corners()
        .iter()
        .map(|p| Vector3::new(p.x, p.y, 0.0))
        .collect();
    for card in &scene.cards {
        if let Some(layout) = Layout::of(card.number) {
            world.extend(layout.outer_corners().map(|p| card.world(p)));
        }
    }
    let middle = world.iter().sum::<Vector3<f64>>() / world.len() as f64;
    let mut aim = Point::<Sheet>::new(middle.x, middle.y);
    let mut width = 2000.0_f64;
    let [a, b] = view.aspect;
    let place = |aim, width: f64| {
        let size = [width, width * b / a].map(|v| 8 * (v / 8.0).round() as u32);
        Camera::above(
            aim,
            view.px_per_mm,
            view.tilt.to_radians(),
            view.lean.to_radians(),
            view.roll.to_radians(),
            size,
        )
    };
    for _ in 0..25 {
        let camera = place(aim, width);
        let seen: Vec<Vector2<f64>> = world.iter().map(|&p| camera.project(p).vec()).collect();
        let low = seen.iter().fold(seen[0], |m, p| m.inf(p));
        let high = seen.iter().fold(seen[0], |m, p| m.sup(p));
        let room = 2.0 * margin * view.px_per_mm;
        let need = high - low + Vector2::repeat(room);
        width = need.x.max(need.y * a / b).min(6000.0);
        aim = Point::at(camera.back_to_plane(Point::at((low + high) / 2.0), 0.0));
    }
    place(aim, width)
}
