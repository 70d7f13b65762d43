//! What the check said against what is true.

use nalgebra::{Matrix2, Vector2, Vector3};
use punchready::card::layout::Layout;
use punchready::check::Stage;
use punchready::frame::{Point, Sheet};
use punchready::ink::MarkKind;
use punchready::synth::{Scene, TrueMark, truth_of};

use crate::case::Case;
use crate::child::Answer;

/// A found mark further than this from every true one is none of them, mm.
const MATCH_MM: f64 = 1.5;
/// The middle of a cross-out is only roughly that of the mark below it, mm.
const MATCH_CROSSED_MM: f64 = 3.5;
/// A second live mark this near to a hole makes it a double one, mm.
const DOUBLE_MM: f64 = 2.5;
/// A mark this near to the limit cannot be told from a photo, mm.
const LIMIT_MM: f64 = 0.25;
/// An error worth a line in the list, mm.
const LARGE_MM: f64 = 0.3;
/// What is unsure further than this from every true mark is not about one, mm.
const NOISE_MM: f64 = 5.0;
/// Radiance added by glare from which ink no longer shows.
const BURNT: f64 = 0.45;

/// A true mark, with what the bench knows beyond the renderer.
#[derive(Debug, Clone)]
struct Real {
    mark: TrueMark,
    /// No longer meant.
    crossed: bool,
    /// By one stroke or a scribble: to be named crossed out, or unsure.
    questioned: bool,
    hidden: bool,
}

/// What a photo's sheet truly is.
#[derive(Debug)]
pub(crate) struct Truth {
    marks: Vec<Real>,
    /// Why the sheet is not ready; empty when it is.
    pub(crate) faults: Vec<String>,
    /// Some fault is plain, not a matter of hundredths.
    plain: bool,
    /// A mark is near the limit.
    close: bool,
    /// A hole or a part of the face is hidden.
    hidden: Option<String>,
}

impl Truth {
    pub(crate) fn of(case: &Case) -> Self {
        let truth = truth_of(&case.scene);
        // From the punch on, what the pen left is no mark.
        let counts = |kind: MarkKind| {
            let worked = matches!(kind, MarkKind::Hole | MarkKind::Dimple);
            worked || case.given.stage == Stage::Marked
        };
        let among = |places: &[Point<Sheet>], mark: &TrueMark| {
            places.iter().any(|p| p.distance(mark.at) < 1.0)
        };
        let marks: Vec<Real> = truth
            .marks
            .into_iter()
            .filter(|m| counts(m.kind))
            .map(|mark| (among(&case.questioned, &mark), mark))
            .map(|(questioned, mark)| Real {
                crossed: mark.crossed_out || questioned || among(&case.crossed_otherwise, &mark),
                questioned,
                hidden: is_hidden(&case.scene, mark.at),
                mark,
            })
            .collect();
        let mut out = Self {
            marks,
            faults: Vec::new(),
            plain: false,
            close: false,
            hidden: None,
        };
        out.judge(case);
        out
    }

    fn live(&self) -> impl Iterator<Item = &Real> {
        self.marks.iter().filter(|r| !r.crossed)
    }

    /// Distance of the live mark nearest to `at`, mm; infinite if there is none.
    fn nearest(&self, at: Point<Sheet>) -> f64 {
        self.live()
            .map(|r| r.mark.at.distance(at))
            .fold(f64::INFINITY, f64::min)
    }

    fn judge(&mut self, case: &Case) {
        let (plan, tolerance) = (&case.plan, case.plan.tolerance_mm);
        let mut faults = Vec::new();
        let mut used = 0;
        for hole in &plan.holes {
            let d = self.nearest(hole.at);
            let near = self
                .live()
                .filter(|r| r.mark.at.distance(hole.at) < DOUBLE_MM);
            let (near, crossed) = (
                near.count(),
                self.marks
                    .iter()
                    .any(|r| r.crossed && r.mark.at.distance(hole.at) < DOUBLE_MM),
            );
            self.close |= (d - tolerance).abs() < LIMIT_MM;
            self.plain |= d > tolerance + LIMIT_MM || near > 1;
            if near > 1 {
                faults.push(format!("{} has {near} marks", hole.name));
            } else if d > tolerance {
                let why = if crossed {
                    "is cancelled".to_owned()
                } else if d < 4.0 {
                    format!("is {d:.2} mm off")
                } else {
                    "is missing".to_owned()
                };
                faults.push(format!("{} {why}", hole.name));
            }
            used += near;
            if is_hidden(&case.scene, hole.at) {
                self.hidden = Some(format!("{} is hidden", hole.name));
            }
        }
        let live = self.live().count();
        if live > used {
            self.plain = true;
            faults.push(format!("{} stray", live - used));
        }
        let sheet = &case.scene.sheet;
        let over = [
            sheet.width_mm - plan.width_mm,
            sheet.height_mm - plan.height_mm,
        ];
        if over.iter().any(|d| d.abs() > tolerance) {
            faults.push(format!("sheet is {:+.1} x {:+.1} mm", over[0], over[1]));
        }
        let n = 40;
        let hidden = (0..n * n)
            .filter(|i| {
                let at = |k: usize, of: f64| (k as f64 + 0.5) / f64::from(n) * of;
                let (x, y) = ((*i % n) as usize, (*i / n) as usize);
                is_hidden(
                    &case.scene,
                    Point::new(at(x, plan.width_mm), at(y, plan.height_mm)),
                )
            })
            .count();
        let share = 1.0 - hidden as f64 / f64::from(n * n);
        if share < plan.seen_fraction {
            self.hidden = Some(format!(
                "{:.0} % of the face is hidden",
                100.0 * (1.0 - share)
            ));
        }
        self.faults = faults;
    }

    /// Whether the marks and the sheet are as planned.
    pub(crate) fn ready(&self) -> bool {
        self.faults.is_empty()
    }

    /// Why "cannot tell" is right.
    pub(crate) fn excuse(&self, case: &Case) -> Option<String> {
        if let Some(why) = case.excuse {
            return Some(why.to_owned());
        }
        if self.plain {
            return None;
        }
        if self.close {
            return Some("a mark lies near the limit".to_owned());
        }
        self.hidden.clone()
    }
}

/// Whether something lies over `at`, or glare burns it out, or it is out of the picture.
fn is_hidden(scene: &Scene, at: Point<Sheet>) -> bool {
    let p = scene.camera.project(Vector3::new(at.x, at.y, 0.0));
    let inside = p.x > 0.0
        && p.y > 0.0
        && p.x < scene.camera.width.into()
        && p.y < scene.camera.height.into();
    let turned = |v: Vector2<f64>, turn: f64| {
        let (s, c) = turn.sin_cos();
        Vector2::new(c * v.x + s * v.y, c * v.y - s * v.x)
    };
    let within = |middle: Vector2<f64>, turn: f64, half: [f64; 2]| {
        let v = turned(at.vec() - middle, turn);
        v.x.abs() < half[0] && v.y.abs() < half[1]
    };
    let card = scene.cards.iter().any(|c| {
        let half = Layout::of(c.number).map_or([0.0; 2], |l| l.size_mm.map(|s| s / 2.0 + 1.0));
        within(c.centre.vec(), c.turn_rad, half)
    });
    let thing = scene.clutter.iter().any(|c| {
        let half = c.kind.half_size_mm().map(|s| s + 1.0);
        within(c.at, c.turn_rad, half)
    });
    let burnt = scene.light.glare.iter().any(|g| {
        let v = turned(at - g.at, g.turn_rad);
        let q = (v.x / g.radius_mm[0]).powi(2) + (v.y / g.radius_mm[1]).powi(2);
        g.peak * (-0.5 * q).exp() > BURNT
    });
    !inside || card || thing || burnt
}

/// The score of one photo.
#[derive(Debug, Default)]
pub(crate) struct Score {
    /// Errors of live marks, mm.
    pub(crate) errors: Vec<f64>,
    /// Error components within U, and all.
    pub(crate) covered: [usize; 2],
    /// Live true marks in the open that were found, and all.
    pub(crate) recall: [usize; 2],
    /// Live found marks that are true, and all.
    pub(crate) precision: [usize; 2],
    /// Rings and cross-outs named right, and all.
    pub(crate) named: [usize; 2],
    /// Strays in the open that were told, as marks or as unsure ink, and all; those told as marks.
    pub(crate) strays: [usize; 2],
    pub(crate) strays_named: usize,
    /// A live mark was found where nothing was drawn; something was unsure there.
    pub(crate) noise_live: bool,
    pub(crate) noise_unsure: bool,
    pub(crate) unsure: usize,
    pub(crate) verdict: String,
    pub(crate) truth_ready: bool,
    /// Told right, or refused with an excuse.
    pub(crate) false_ready: bool,
    pub(crate) false_alarm: bool,
    pub(crate) refused: bool,
    pub(crate) excuse: Option<String>,
    /// Holes that are fine and in the open, and are said to be surely wrong.
    pub(crate) holes_wronged: usize,
    pub(crate) dangers: Vec<String>,
    pub(crate) lines: Vec<String>,
    pub(crate) total_ms: f64,
    pub(crate) peak_mb: f64,
    pub(crate) px_per_mm: f64,
    pub(crate) crashed: bool,
}

impl Score {
    /// A child that gave no answer.
    pub(crate) fn crash(why: &str) -> Self {
        Self {
            crashed: true,
            verdict: "crash".into(),
            lines: vec![format!("the check gave no answer: {why}")],
            ..Self::default()
        }
    }

    pub(crate) fn of(case: &Case, truth: &Truth, said: &Answer) -> Self {
        let mut score = Self {
            unsure: said.unsure.len(),
            verdict: said.verdict.clone(),
            truth_ready: truth.ready(),
            excuse: truth.excuse(case),
            total_ms: said.total_ms,
            peak_mb: said.peak_mb,
            px_per_mm: said.survey.map_or(0.0, |s| 1.0 / s[1]),
            ..Self::default()
        };
        score.match_marks(truth, said);
        score.judge_holes(case, truth, said);
        score.judge_verdict(truth, said);
        score
    }

    fn match_marks(&mut self, truth: &Truth, said: &Answer) {
        let real: Vec<&Real> = truth.live().collect();
        let found: Vec<_> = said.marks.iter().filter(|m| !m.crossed_out).collect();
        let at = |m: [f64; 2]| Point::<Sheet>::new(m[0], m[1]);
        let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
        for (i, r) in real.iter().enumerate() {
            for (j, m) in found.iter().enumerate() {
                let d = r.mark.at.distance(at(m.at));
                if d < MATCH_MM {
                    pairs.push((d, i, j));
                }
            }
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (mut of_real, mut of_found) = (vec![None; real.len()], vec![false; found.len()]);
        for (d, i, j) in pairs {
            if of_real[i].is_none() && !of_found[j] {
                of_real[i] = Some((d, j));
                of_found[j] = true;
            }
        }
        let unseen = |p: Point<Sheet>| {
            said.unseen.iter().any(|c| {
                (c[0] - p.x).abs() <= said.cell_mm / 2.0 && (c[1] - p.y).abs() <= said.cell_mm / 2.0
            })
        };
        // Ink that could not be named for its paleness is told as a stray where its shape is a mark's.
        let told_live: Vec<Point<Sheet>> = said
            .strays
            .iter()
            .filter(|(state, _)| state == "stray")
            .map(|(_, p)| at(*p))
            .filter(|p| found.iter().all(|m| at(m.at).distance(*p) > 0.1))
            .collect();
        let is_told = |p: Point<Sheet>| told_live.iter().any(|t| t.distance(p) < MATCH_MM);
        for (r, got) in real.iter().zip(&of_real) {
            let name = r.mark.name.as_deref().unwrap_or("a stray");
            if let Some((d, j)) = *got {
                let m = found[j];
                let e = at(m.at) - r.mark.at;
                self.errors.push(d);
                for (component, variance) in [(e.x, m.cov[0]), (e.y, m.cov[2])] {
                    self.covered[1] += 1;
                    self.covered[0] +=
                        usize::from(component.abs() <= 2.0 * variance.max(0.0).sqrt());
                }
                if d > LARGE_MM {
                    let cov = Matrix2::new(m.cov[0], m.cov[1], m.cov[1], m.cov[2]);
                    let u = 2.0 * (e.dot(&(cov * e)).max(0.0).sqrt() / d);
                    self.lines.push(format!(
                        "mark of {name} ({:?}, {:.1} mm) measured {d:.2} mm wrong ({:+.2}, {:+.2}), U {u:.2}",
                        r.mark.kind, r.mark.size_mm, e.x, e.y
                    ));
                }
                if r.mark.ringed || m.ringed {
                    self.named[1] += 1;
                    self.named[0] += usize::from(r.mark.ringed == m.ringed);
                    if r.mark.ringed != m.ringed {
                        let not = if m.ringed { "is not" } else { "is" };
                        self.lines
                            .push(format!("mark of {name} {not} ringed in truth"));
                    }
                }
            } else if !(r.hidden || r.mark.name.is_none() && is_told(r.mark.at)) {
                self.lines.push(if said.survey.is_none() {
                    continue;
                } else {
                    let p = r.mark.at;
                    let near = said
                        .unsure
                        .iter()
                        .find(|u| at(u.0).distance(p) < 4.0)
                        .map_or(String::new(), |u| format!(", unsure there: {}", u.1));
                    let blind = if unseen(p) {
                        ", place said to be unseen"
                    } else {
                        ""
                    };
                    format!(
                        "mark of {name} ({:?}, {:.1} mm) at ({:.1}, {:.1}) not found{near}{blind}",
                        r.mark.kind, r.mark.size_mm, p.x, p.y
                    )
                });
            }
            if !r.hidden && said.survey.is_some() {
                let is_stray = r.mark.name.is_none();
                let found = usize::from(got.is_some() || is_stray && is_told(r.mark.at));
                self.recall[1] += 1;
                self.recall[0] += found;
                if is_stray {
                    let told = found > 0
                        || said
                            .unsure
                            .iter()
                            .any(|u| at(u.0).distance(r.mark.at) < MATCH_CROSSED_MM);
                    self.strays[1] += 1;
                    self.strays[0] += usize::from(told);
                    self.strays_named += found;
                }
                if r.mark.ringed && got.is_none() {
                    self.named[1] += 1;
                }
            }
        }
        let (right, wrong): (Vec<Point<Sheet>>, Vec<Point<Sheet>>) = told_live
            .iter()
            .copied()
            .partition(|t| real.iter().any(|r| r.mark.at.distance(*t) < MATCH_MM));
        self.precision = [
            of_found.iter().filter(|&&f| f).count() + right.len(),
            found.len() + told_live.len(),
        ];
        for p in wrong {
            self.noise_live = true;
            self.lines.push(format!(
                "a stray told at ({:.1}, {:.1}), where in truth is no mark",
                p.x, p.y
            ));
        }
        for (m, _) in found.iter().zip(&of_found).filter(|(_, f)| !**f) {
            let p = at(m.at);
            let crossed = truth
                .marks
                .iter()
                .any(|r| r.crossed && r.mark.at.distance(p) < MATCH_MM);
            let what = if crossed {
                "a crossed-out mark"
            } else {
                "no mark"
            };
            self.noise_live |= !crossed;
            self.lines.push(format!(
                "{} found at ({:.1}, {:.1}), where in truth is {what}",
                m.kind, p.x, p.y
            ));
        }
        // Print, scratches, grain: what no hand drew as a mark, nor lies on one.
        // What was told to be writing was named.
        let open = said
            .unsure
            .iter()
            .filter(|u| u.1 != "writing or print" && !is_told(at(u.0)))
            .filter(|u| {
                let apart = |r: &Real| r.mark.at.distance(at(u.0)) > NOISE_MM;
                truth.marks.iter().all(apart)
            });
        let open: Vec<_> = open.collect();
        self.noise_unsure = !open.is_empty();
        if let Some((place, why)) = open.first() {
            self.lines.push(format!(
                "unsure in {} places where nothing was drawn; at ({:.1}, {:.1}): {why}",
                open.len(),
                place[0],
                place[1]
            ));
        }
        self.match_crossed(truth, said);
    }

    fn match_crossed(&mut self, truth: &Truth, said: &Answer) {
        if said.survey.is_none() {
            return;
        }
        let at = |m: [f64; 2]| Point::<Sheet>::new(m[0], m[1]);
        let crossed: Vec<_> = said.marks.iter().filter(|m| m.crossed_out).collect();
        let mut taken = vec![false; crossed.len()];
        for r in truth.marks.iter().filter(|r| r.crossed && !r.hidden) {
            let hit = (0..crossed.len())
                .find(|&j| !taken[j] && at(crossed[j].at).distance(r.mark.at) < MATCH_CROSSED_MM);
            self.named[1] += 1;
            let p = r.mark.at;
            let near = said.unsure.iter().find(|u| at(u.0).distance(p) < 5.0);
            if let Some(j) = hit {
                taken[j] = true;
                self.named[0] += 1;
            } else if r.questioned && near.is_some() {
                self.named[0] += 1;
            } else {
                let what = near.map_or("not even as unsure".to_owned(), |u| {
                    format!("unsure: {}", u.1)
                });
                self.lines.push(format!(
                    "cross-out at ({:.1}, {:.1}) not named; {what}",
                    p.x, p.y
                ));
            }
        }
        for (m, _) in crossed.iter().zip(&taken).filter(|(_, t)| !**t) {
            self.named[1] += 1;
            let p = at(m.at);
            self.lines.push(format!(
                "cross-out said at ({:.1}, {:.1}), where in truth is none",
                p.x, p.y
            ));
        }
    }

    fn judge_holes(&mut self, case: &Case, truth: &Truth, said: &Answer) {
        let tolerance = case.plan.tolerance_mm;
        for (hole, got) in case.plan.holes.iter().zip(&said.holes) {
            let d = truth.nearest(hole.at);
            let doubled = truth
                .live()
                .filter(|r| r.mark.at.distance(hole.at) < DOUBLE_MM)
                .count()
                > 1;
            if got.state == "good" && d > tolerance {
                let crossed = truth
                    .marks
                    .iter()
                    .any(|r| r.crossed && r.mark.at.distance(hole.at) < tolerance);
                let real = if crossed {
                    "crossed out".to_owned()
                } else if d > 6.0 {
                    "missing".to_owned()
                } else {
                    format!("{d:.3} mm off ({tolerance:.3} allowed)")
                };
                self.dangers
                    .push(format!("hole {} reported good, truth {real}", hole.name));
            } else if d <= tolerance
                && !doubled
                && !is_hidden(&case.scene, hole.at)
                && ["off", "missing", "double", "cancelled"].contains(&got.state.as_str())
            {
                self.holes_wronged += 1;
                self.lines.push(format!(
                    "hole {} reported {}, truth good ({d:.2} mm from plan; measured {:?} U {:?})",
                    hole.name,
                    got.state,
                    got.found
                        .map(|f| Point::<Sheet>::new(f[0], f[1]).distance(hole.at)),
                    got.u
                ));
            }
        }
    }

    fn judge_verdict(&mut self, truth: &Truth, said: &Answer) {
        let reasons: Vec<String> = said
            .reasons
            .iter()
            .map(|(code, text)| format!("{code}: {}", text.chars().take(150).collect::<String>()))
            .collect();
        let reasons = reasons.join(" | ");
        match (said.verdict.as_str(), truth.ready()) {
            ("ready", false) => {
                self.false_ready = true;
                self.dangers.push(format!(
                    "sheet reported ready, truth: {}",
                    truth.faults.join(", ")
                ));
            }
            ("not-ready", true) => {
                self.false_alarm = true;
                self.lines
                    .push(format!("reported not ready, truth ready; {reasons}"));
            }
            ("cannot-tell", _) => {
                self.refused = true;
                if self.excuse.is_none() {
                    let real = if truth.ready() {
                        "ready".to_owned()
                    } else {
                        truth.faults.join(", ")
                    };
                    self.lines
                        .push(format!("refused; truth: {real}; {reasons}"));
                }
            }
            _ => {}
        }
    }
}
