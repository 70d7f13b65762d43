//! The solved survey: what it found and how well.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector, Matrix2, Matrix2xX, Vector2};

use super::assemble::{Assembled, CardId, Case, mean};
use super::budget::{Parts, Source};
use super::input::LineId;
use super::lens::{LENS_UNKNOWNS, Lens};
use super::model::{Index, LinePose, State, meet_face};
use super::observe::length;
use super::prior::{LensSource, Note};
use super::solve::Settled;
use super::view::{Landed, Model, View};
use crate::frame::{Card, Cov2, Face, Pixel, Point, Ray, Rigid};

/// Step of numerical derivatives along each axis of the covariance, in standard deviations: the bend of the
/// functions shows in the square of it, rounding in its inverse.
const STEP_SIGMAS: f64 = 0.01;

/// A card that took part.
#[derive(Debug, Clone)]
pub struct SurveyedCard {
    /// Its number.
    pub number: u16,
    /// Where it was seen: photo, and place in that photo's list of cards.
    pub seen: Vec<(usize, usize)>,
    /// Usable corners, all photos together.
    pub saddles_seen: usize,
    /// Those not switched off as outliers.
    pub saddles_used: usize,
    /// RMS distance of those from where the solve puts them, px.
    pub rms_px: f64,
    /// Where it lies. Multiply a place on the card by the print scale first.
    pub face_from_card: Rigid<Face, Card>,
    /// Height of the print over the face, mm.
    pub height_mm: f64,
}

/// A card that was left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// Its number.
    pub number: u16,
    /// Where it was seen: photo, and place in that photo's list of cards.
    pub seen: Vec<(usize, usize)>,
    /// Why, with numbers.
    pub reason: String,
}

/// A straight line of the face.
#[derive(Debug, Clone)]
pub struct FaceLine {
    /// Its name.
    pub id: LineId,
    /// Its middle where it was seen.
    pub middle: Point<Face>,
    /// Its direction, length 1, from the first point given to the last.
    pub direction: Vector2<f64>,
    /// Its ends where it was seen.
    pub ends: [Point<Face>; 2],
    /// Points given and points not switched off as outliers.
    pub points: [usize; 2],
    /// RMS distance of the latter, px.
    pub rms_px: f64,
    /// By how much the stated standard deviations of its points were too small (1: not).
    pub noise_factor: f64,
    /// For each photo that shows it, how far off all its points there are in the middle, mm: the photo, and the
    /// median of their distances to the left of the line's direction.
    pub off_mm: Vec<(usize, f64)>,
}

impl FaceLine {
    /// Where it crosses another line; `None` for lines that run alike.
    #[must_use]
    pub fn meet(&self, other: &Self) -> Option<Point<Face>> {
        let sine = self.direction.perp(&other.direction);
        let along = (other.middle - self.middle).perp(&other.direction) / sine;
        along
            .is_finite()
            .then(|| self.middle + self.direction * along)
    }
}

/// A solved survey. Positions are in the `Face` frame; the first card of `cards` is its gauge.
#[derive(Debug, Clone)]
pub struct Survey {
    /// RMS distance of the checker corners from where the solve puts them, px.
    pub rms_px: f64,
    /// Observations and expected values, less unknowns.
    pub dof: usize,
    /// By how much the stated covariances of the checker corners were too small, as a factor on standard
    /// deviations (1: not). All covariances here include it, and the lines' own factors.
    pub noise_factor: f64,
    /// The same, of each photo by itself.
    pub photo_rms_px: Vec<f64>,
    /// The cards that took part; the gauge first.
    pub cards: Vec<SurveyedCard>,
    /// The cards that did not.
    pub left_out: Vec<LeftOut>,
    /// The lines, by id.
    pub lines: Vec<FaceLine>,
    /// Print scale across and down.
    pub scale: [f64; 2],
    /// Its standard uncertainty.
    pub scale_u: [f64; 2],
    /// Where the camera data came from.
    pub lens_source: LensSource,
    /// Millimetres per pixel amid the cards, first photo.
    pub mm_per_px: f64,
    /// What the user should know.
    pub warnings: Vec<Note>,
    /// Standard deviation of the face's height, mm.
    pub flatness_mm: f64,
    pub(super) state: State,
    pub(super) index: Index,
    pub(super) cov: DMatrix<f64>,
    pub(super) parts: Parts,
    model: Model,
}

/// What was told on the way.
pub(super) struct Told {
    pub(super) left_out: Vec<LeftOut>,
    pub(super) warnings: Vec<Note>,
}

pub(super) fn finish(
    case: &Case,
    list: &[CardId],
    (whole, settled): (Assembled, Settled),
    told: Told,
) -> Survey {
    let Assembled {
        problem,
        cards: ids,
        lines: line_ids,
        ..
    } = whole;
    let state = settled.state;
    let model = Model::new(&state, &line_ids);
    let (rms_px, used) = problem.rms_px(&state, None);
    let cards: Vec<SurveyedCard> = ids
        .iter()
        .enumerate()
        .map(|(k, id)| {
            let (rms_px, saddles_used) = problem.rms_px(&state, Some(k));
            let [x, y, angle] = state.cards[k];
            let mut of_card = problem.saddles.iter().filter(|s| s.card == k);
            SurveyedCard {
                number: list[*id].number,
                seen: list[*id].seen.clone(),
                saddles_seen: of_card.clone().count(),
                saddles_used,
                rms_px,
                face_from_card: Rigid::new(angle, Point::new(x, y)),
                height_mm: of_card.next().map_or(0.0, |s| problem.height(&state, s)),
            }
        })
        .collect();
    let lines: Vec<FaceLine> = line_ids
        .iter()
        .enumerate()
        .map(|(k, id)| {
            let pose = &state.lines[k];
            let (middle, direction) = (pose.middle(), pose.direction());
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            let (mut sum, mut on, mut all) = (0.0, 0, 0);
            let mut off: BTreeMap<usize, Vec<f64>> = BTreeMap::new();
            for (o, foot) in problem.points.iter().zip(&state.feet) {
                if o.line != k {
                    continue;
                }
                all += 1;
                let ray = state.lens(o.photo).ray_from_pixel(Point::at(o.at));
                if let Some(face) = ray.and_then(|r| meet_face(&state.poses[o.photo], r.vec(), 0.0))
                {
                    let left = pose.normal().dot(&(face - middle)) - pose.off;
                    off.entry(o.photo).or_default().push(left);
                }
                let mut foot = *foot;
                if let (true, Some((miss, _))) = (o.on, problem.point(&state, o, &mut foot)) {
                    on += 1;
                    sum += miss * miss;
                    low = low.min(foot);
                    high = high.max(foot);
                }
            }
            FaceLine {
                id: *id,
                middle: Point::at(middle),
                direction,
                ends: [low, high].map(|t| Point::at(middle + direction * t)),
                points: [all, on],
                rms_px: (sum / f64::max(f64::from(on as u32), 1.0)).sqrt(),
                noise_factor: problem.factors[1 + k],
                off_mm: off
                    .into_iter()
                    .map(|(photo, mut all)| {
                        all.sort_by(f64::total_cmp);
                        (photo, all[all.len() / 2])
                    })
                    .collect(),
            }
        })
        .collect();
    let rows = 2 * used
        + lines.iter().map(|l| l.points[1]).sum::<usize>()
        + problem.lengths.len()
        + problem.index.pose(0)
        + usize::from(problem.index.paper.is_some())
        + usize::from(problem.index.bench.is_some())
        + (0..lines.len())
            .filter(|&k| problem.index.off(k).is_some())
            .count();
    let photo_rms_px = (0..problem.index.photos)
        .map(|photo| problem.photo_rms_px(&state, photo))
        .collect();
    let amid = mean(cards.iter().map(|c| c.face_from_card.origin.vec()));
    let mut warnings = told.warnings;
    for c in &told.left_out {
        warnings.push(Note {
            code: "card-left-out",
            text: format!("card {} was left out: {}", c.number, c.reason),
        });
    }
    let var = |i: usize| {
        let at = problem.index.scale() + i;
        settled.cov[(at, at)].max(0.0).sqrt()
    };
    Survey {
        rms_px,
        dof: rows.saturating_sub(problem.index.count),
        noise_factor: problem.factors[0],
        photo_rms_px,
        cards,
        left_out: told.left_out,
        lines,
        scale: state.scale,
        scale_u: [var(0), var(1)],
        lens_source: case.cameras.source,
        mm_per_px: model.views()[0]
            .mm_per_px(Point::at(amid))
            .unwrap_or(f64::NAN),
        warnings,
        flatness_mm: case.options.flatness_mm,
        parts: Parts::of(&problem, &state, &settled.cov),
        index: problem.index,
        cov: settled.cov,
        state,
        model,
    }
}

impl Survey {
    /// The maps and lines by themselves.
    #[must_use]
    pub fn model(&self) -> &Model {
        &self.model
    }

    /// The map of photo `photo`; `None` if there is no such photo.
    #[must_use]
    pub fn view(&self, photo: usize) -> Option<&View> {
        self.model.views().get(photo)
    }

    /// The first photo's map; a survey has at least one photo.
    fn first(&self) -> &View {
        &self.model.views()[0]
    }

    /// The solved lens of the first photo.
    #[must_use]
    pub fn lens(&self) -> &Lens {
        self.state.lens(0)
    }

    /// Covariance of all unknowns: for each camera its lens ([`super::LENS_NAMES`]), print scale (2), per photo the turn
    /// (rad, camera frame, applied from the left), shift (mm, 2) and ln (depth / f), height of the print, bench height, the cards but the first
    /// (x, y, angle), what the points of some lines are off together, the lines (angle, offset).
    #[must_use]
    pub fn covariance(&self) -> &DMatrix<f64> {
        &self.cov
    }

    /// This survey as it would be were the print scale known for sure: only the covariance changes.
    #[must_use]
    pub fn knowing_print(&self) -> Self {
        let at = self.index.scale();
        self.knowing(&[at, at + 1])
    }

    /// This survey as it would be were it known for sure how low the cards beside the sheet lie.
    #[must_use]
    pub fn knowing_height(&self) -> Self {
        self.knowing(self.index.bench.as_slice())
    }

    /// This survey as it would be were it known for sure how the lenses bend what is straight (k1 and k2).
    #[must_use]
    pub fn knowing_bend(&self) -> Self {
        let of_lens = |l: usize| [3, 4].map(|k| LENS_UNKNOWNS * l + k);
        let all: Vec<usize> = (0..self.state.lenses.len()).flat_map(of_lens).collect();
        self.knowing(&all)
    }

    /// The covariance of the unknowns given that those of `known` hold, by the rule for the conditional
    /// covariance of a normal distribution, one at a time.
    fn knowing(&self, known: &[usize]) -> Self {
        let mut sure = self.clone();
        for &i in known {
            let with = sure.cov.column(i).into_owned();
            if with[i] > KNOWN_ALREADY * self.cov[(i, i)] {
                sure.cov -= &with * with.transpose() / with[i];
            }
        }
        sure
    }

    /// [`View::pixel_from_face`] of the first photo.
    #[must_use]
    pub fn pixel_from_face(&self, p: Point<Face>) -> Option<Point<Pixel>> {
        self.first().pixel_from_face(p)
    }

    /// [`View::face_from_pixel`] of the first photo.
    #[must_use]
    pub fn face_from_pixel(&self, p: Point<Pixel>) -> Option<Point<Face>> {
        self.first().face_from_pixel(p)
    }

    /// [`View::ray_from_pixel`] of the first photo.
    #[must_use]
    pub fn ray_from_pixel(&self, p: Point<Pixel>) -> Option<Point<Ray>> {
        self.first().ray_from_pixel(p)
    }

    /// [`View::local_scale`] of the first photo.
    #[must_use]
    pub fn local_scale(&self, p: Point<Face>) -> Option<Matrix2<f64>> {
        self.first().local_scale(p)
    }

    /// [`View::view_angle`] of the first photo.
    #[must_use]
    pub fn view_angle(&self, p: Point<Face>) -> f64 {
        self.first().view_angle(p)
    }

    /// A line of the face; `None` if it was not given.
    #[must_use]
    pub fn line(&self, id: LineId) -> Option<&FaceLine> {
        let k = self.lines.binary_search_by_key(&id, |l| l.id).ok()?;
        self.lines.get(k)
    }

    /// Adds to a line's offset what all its points may be off together, standard deviation in mm: that moves the
    /// line whole and tells nothing of its direction or of the lens, so it has no place in the points' own.
    pub fn doubt_line(&mut self, id: LineId, sd_mm: f64) {
        if let Some((at, _)) = self.model.line_pose(id) {
            let place = self.index.line(at) + 1;
            self.cov[(place, place)] += sd_mm * sd_mm;
            self.parts.add(Source::Datum, place, sd_mm * sd_mm);
        }
    }

    /// Adds a line that no photo shows: through a place of the face, in a direction (length 1), with the standard
    /// deviations of its offset (mm) and its angle (rad). `id` must be higher than that of every other line.
    pub fn place_line(
        &mut self,
        id: LineId,
        through: Point<Face>,
        direction: Vector2<f64>,
        [offset_sd_mm, angle_sd_rad]: [f64; 2],
    ) {
        self.state.lines.push(LinePose {
            pivot: through.vec(),
            angle: direction.y.atan2(direction.x),
            offset: 0.0,
            off: 0.0,
        });
        let at = self.index.count;
        self.index.add_line();
        let count = self.index.count;
        self.cov.resize_mut(count, count, 0.0);
        self.parts.grow(count);
        for (place, sd) in [(at, angle_sd_rad), (at + 1, offset_sd_mm)] {
            self.cov[(place, place)] = sd * sd;
            self.parts.add(Source::Datum, place, sd * sd);
        }
        let mut ids: Vec<LineId> = self.lines.iter().map(|l| l.id).collect();
        ids.push(id);
        self.model = Model::new(&self.state, &ids);
    }

    /// Print scale across over that down, and its standard uncertainty: cards that lie turned to each other, or one seen
    /// aslant, show it even where nothing shows the size.
    #[must_use]
    pub fn print_ratio(&self) -> [f64; 2] {
        let [across, down] = self.scale;
        let at = self.index.scale();
        let by = Vector2::new(1.0 / across, -1.0 / down);
        let cov = self.cov.fixed_view::<2, 2>(at, at);
        let ratio = across / down;
        [ratio, ratio * by.dot(&(cov * by)).max(0.0).sqrt()]
    }

    /// Distance between two nearly parallel lines and its standard uncertainty, mm, each line measured from
    /// the middle of the other, averaged.
    #[must_use]
    pub fn line_distance(&self, a: LineId, b: LineId) -> Option<[f64; 2]> {
        let (ka, _) = self.model.line_pose(a)?;
        let (kb, _) = self.model.line_pose(b)?;
        let (mm, by) = length(&self.state.lines, [ka, kb]);
        let mut g = DVector::zeros(self.index.count);
        for (line, at) in [(ka, 0), (kb, 2)] {
            g[self.index.line(line)] += by[at];
            g[self.index.line(line) + 1] += by[at + 1];
        }
        Some([mm, g.dot(&(&self.cov * &g)).max(0.0).sqrt()])
    }

    /// A mark on the face and its covariance, mm², with the mark's own `cov_px` and the face's flatness.
    #[must_use]
    pub fn face_point(
        &self,
        photo: usize,
        p: Point<Pixel>,
        cov_px: Cov2,
    ) -> Option<(Point<Face>, Cov2)> {
        let landed = self.view(photo)?.land(p)?;
        let g = self.by_unknowns(photo, &landed);
        let cov = &g * &self.cov * g.transpose();
        Some((
            Point::at(landed.at),
            symmetric(cov + self.own_cov(&landed, cov_px)),
        ))
    }

    /// Derivative of a landed pixel by all unknowns.
    pub(super) fn by_unknowns(&self, photo: usize, landed: &Landed) -> Matrix2xX<f64> {
        let mut g = Matrix2xX::zeros(self.index.count);
        g.view_mut((0, self.index.lens(photo)), (2, landed.by_lens.ncols()))
            .copy_from(&landed.by_lens);
        g.view_mut((0, self.index.pose(photo)), (2, 6))
            .copy_from(&landed.by_pose);
        g
    }

    /// Covariance on the face of the mark's own: localisation and flatness.
    pub(super) fn own_cov(&self, landed: &Landed, cov_px: Cov2) -> Cov2 {
        let h = landed.by_height * self.flatness_mm;
        landed.by_pixel * cov_px * landed.by_pixel.transpose() + h * h.transpose()
    }

    /// Covariance of any function of the survey and of some measured pixels, by central differences along
    /// the axes of the covariance. Flatness is not in it. `None` where the function is not defined.
    pub fn derived_cov(
        &self,
        pixels: &[(Point<Pixel>, Cov2)],
        f: impl Fn(&Model, &[Point<Pixel>]) -> Option<Vector2<f64>>,
    ) -> Option<Cov2> {
        let at: Vec<Point<Pixel>> = pixels.iter().map(|p| p.0).collect();
        let ids: Vec<LineId> = self.lines.iter().map(|l| l.id).collect();
        let mut cov = Cov2::zeros();
        let mut add = |plus: Vector2<f64>, minus: Vector2<f64>| {
            let d = (plus - minus) / (2.0 * STEP_SIGMAS);
            cov += d * d.transpose();
        };
        let root = self.cov.clone().cholesky()?.l();
        for column in root.column_iter() {
            let step = column * STEP_SIGMAS;
            let moved = |step: &DVector<f64>| {
                f(&Model::new(&self.state.moved(&self.index, step), &ids), &at)
            };
            add(moved(&step)?, moved(&-step)?);
        }
        for (i, (p, own)) in pixels.iter().enumerate() {
            let eigen = own.symmetric_eigen();
            for k in 0..2 {
                let sd = eigen.eigenvalues[k].max(0.0).sqrt();
                let step = eigen.eigenvectors.column(k) * (sd * STEP_SIGMAS);
                let moved = |step: Vector2<f64>| {
                    let mut at = at.clone();
                    at[i] = *p + step;
                    f(&self.model, &at)
                };
                add(moved(step)?, moved(-step)?);
            }
        }
        Some(symmetric(cov))
    }
}

/// Where knowing one unknown leaves less than this share of another's variance, that is known with it, and what is left
/// is rounding: a photo shows the ratio of both print scales to a millionth, but not their size.
const KNOWN_ALREADY: f64 = 1e-4;

/// Without the rounding that tells (0, 1) from (1, 0).
pub(super) fn symmetric(m: Cov2) -> Cov2 {
    (m + m.transpose()) * 0.5
}
