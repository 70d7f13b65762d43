//! Start values: from one card to a pose, from a pose to the other cards, from photo to photo.

use nalgebra::{Matrix3, Vector2, Vector3};

use super::assemble::{Assembled, CardId, Case, mean};
use super::error::SurveyError;
use super::homography::Homography;
use super::lens::Lens;
use super::model::{CardPose, LinePose, Pose, State, meet_face, nearest_rotation};
use super::observe::Problem;
use super::solve::{Effort, descend};
use crate::frame::{Card, Point, Ray};

/// With the focal length known better than this (ln f), one start is enough.
const F_KNOWN: f64 = 0.12;
/// Else starts at these standard deviations round the expected ln f.
const F_GRID: [f64; 5] = [0.0, -0.8, 0.8, -1.6, 1.6];
/// Steps to tell a good start from a bad one.
const ROUGH_STEPS: usize = 4;
/// Starts worth following to the end.
const FOLLOWED: usize = 2;
/// A start whose cost is this many times the best one's is not followed.
const HOPELESS: f64 = 20.0;
const FOLLOW_STEPS: usize = 25;

/// The best state of one photo, cards only.
pub(super) fn of_photo(
    case: &Case,
    cards: &[CardId],
    assembled: &Assembled,
) -> Result<State, SurveyError> {
    let problem = &assembled.problem;
    let number = |local: usize| cards[assembled.cards[local]].number;
    // The widest card in the picture gives the steadiest pose.
    let mut order: Vec<(f64, usize)> = (0..assembled.cards.len())
        .map(|c| (extent(problem, c), c))
        .collect();
    order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let camera = case.seen[assembled.photos[0]].camera;
    let expected = case.cameras.lenses[camera];
    let ln_f = expected.f_px.ln();
    let sd = case.cameras.ln_f_sd(camera);
    let grid: &[f64] = if sd < F_KNOWN { &[0.0] } else { &F_GRID };
    let mut why = SurveyError::NoCards;
    for (_, base) in order {
        let mut starts = Vec::new();
        for k in grid {
            let lens = Lens {
                f_px: (ln_f + k * sd).exp(),
                ..expected
            };
            match pose_of_card(case, problem, base, &lens) {
                Ok(both) => {
                    for pose in both {
                        if let Some(state) = place_cards(case, problem, base, &lens, pose) {
                            starts.push(state);
                        }
                    }
                }
                Err(Trouble::Mirrored) => {
                    return Err(SurveyError::Mirrored {
                        photo: assembled.photos[0],
                        card: number(base),
                    });
                }
                Err(Trouble::Fit(text)) => {
                    why = SurveyError::Flattened {
                        card: number(base),
                        why: text,
                    };
                }
            }
        }
        let mut tried: Vec<(f64, State)> = starts
            .iter()
            .filter_map(|s| descend(problem, s, Effort::steps(ROUGH_STEPS)).ok())
            .map(|(state, normal, _)| (normal.cost, state))
            .collect();
        tried.sort_by(|a, b| a.0.total_cmp(&b.0));
        let hopeless = tried.first().map_or(0.0, |t| HOPELESS * t.0);
        tried.retain(|t| t.0 <= hopeless);
        tried.truncate(FOLLOWED);
        let best = tried
            .iter()
            .filter_map(|(_, s)| descend(problem, s, Effort::steps(FOLLOW_STEPS)).ok())
            .min_by(|a, b| a.1.cost.total_cmp(&b.1.cost));
        if let Some((state, ..)) = best {
            return Ok(state);
        }
    }
    Err(why)
}

fn extent(problem: &Problem, card: usize) -> f64 {
    let mut low = Vector2::repeat(f64::INFINITY);
    let mut high = Vector2::repeat(f64::NEG_INFINITY);
    for s in problem.saddles.iter().filter(|s| s.card == card) {
        low = low.inf(&s.at);
        high = high.sup(&s.at);
    }
    let d = high - low;
    d.x * d.y
}

enum Trouble {
    Mirrored,
    Fit(String),
}

/// Pose with the base card as the frame, and its mirror image in depth: seen from afar a small card looks
/// nearly the same tilted to either side.
fn pose_of_card(
    case: &Case,
    problem: &Problem,
    base: usize,
    lens: &Lens,
) -> Result<[Pose; 2], Trouble> {
    let [sx, sy] = case.cameras.scale.mean;
    let mut pairs: Vec<(Point<Card>, Point<Ray>)> = Vec::new();
    let mut height = 0.0;
    for s in problem.saddles.iter().filter(|s| s.card == base) {
        let printed = Point::new(s.on_card.x * sx, s.on_card.y * sy);
        if let Some(ray) = lens.ray_from_pixel(Point::at(s.at)) {
            pairs.push((printed, ray));
        }
        height = case.options.paper_mm[0]
            + if s.beside {
                case.options.bench_mm[0]
            } else {
                0.0
            };
    }
    let h = Homography::fit(&pairs).map_err(|e| Trouble::Fit(e.to_string()))?;
    let h = h.matrix;
    let (h1, h2, h3) = (h.column(0), h.column(1), h.column(2));
    let scale = 2.0 / (h1.norm() + h2.norm()) * h3.z.signum();
    let (r1, r2, at) = (h1 * scale, h2 * scale, h3 * scale);
    let r3 = r1.cross(&r2);
    // The card's upright must point to the camera: against the line of sight.
    if r3.dot(&at) > 0.0 {
        return Err(Trouble::Mirrored);
    }
    let rotation = nearest_rotation(Matrix3::from_columns(&[
        r1.into_owned(),
        r2.into_owned(),
        r3,
    ]));
    let sight = at.normalize();
    let half_turn = sight * sight.transpose() * 2.0 - Matrix3::identity();
    let other = half_turn * rotation * Matrix3::from_diagonal(&Vector3::new(-1.0, -1.0, 1.0));
    Ok([rotation, other].map(|rotation| Pose {
        rotation,
        shift: at - rotation.column(2) * height,
    }))
}

/// Lays the other cards by the pose, then makes the first card the frame.
fn place_cards(
    case: &Case,
    problem: &Problem,
    base: usize,
    lens: &Lens,
    pose: Pose,
) -> Option<State> {
    let count = problem.saddles.iter().map(|s| s.card + 1).max()?;
    let mut state = State {
        lenses: vec![*lens],
        camera: vec![0],
        scale: case.cameras.scale.mean,
        poses: vec![pose],
        paper: case.options.paper_mm[0],
        bench: case.options.bench_mm[0],
        cards: vec![[0.0; 3]; count],
        lines: Vec::new(),
        feet: Vec::new(),
    };
    for card in (0..count).filter(|c| *c != base) {
        let mut pairs = Vec::new();
        for s in problem.saddles.iter().filter(|s| s.card == card) {
            let ray = lens.ray_from_pixel(Point::at(s.at))?;
            let face = meet_face(&pose, ray.vec(), problem.height(&state, s))?;
            let printed = Vector2::new(s.on_card.x * state.scale[0], s.on_card.y * state.scale[1]);
            pairs.push((printed, face));
        }
        state.cards[card] = lay(&pairs);
    }
    let first = state.cards[0];
    let to_first = inverse(first);
    for card in &mut state.cards {
        *card = chain(to_first, *card);
    }
    state.cards[0] = [0.0; 3];
    state.poses[0] = seen_from(pose, first);
    Some(state)
}

/// The rigid motion that lays `a` best on `b`.
fn lay(pairs: &[(Vector2<f64>, Vector2<f64>)]) -> CardPose {
    let a0 = mean(pairs.iter().map(|p| p.0));
    let b0 = mean(pairs.iter().map(|p| p.1));
    let (mut dot, mut cross) = (0.0, 0.0);
    for (a, b) in pairs {
        let (a, b) = (a - a0, b - b0);
        dot += a.dot(&b);
        cross += a.perp(&b);
    }
    let angle = cross.atan2(dot);
    let o = b0 - turn(angle, a0);
    [o.x, o.y, angle]
}

pub(super) fn turn(angle: f64, v: Vector2<f64>) -> Vector2<f64> {
    let (s, c) = angle.sin_cos();
    Vector2::new(c * v.x - s * v.y, s * v.x + c * v.y)
}

fn inverse([x, y, angle]: CardPose) -> CardPose {
    let o = turn(-angle, Vector2::new(-x, -y));
    [o.x, o.y, -angle]
}

/// First `b`, then `a`.
fn chain(a: CardPose, b: CardPose) -> CardPose {
    let o = turn(a[2], Vector2::new(b[0], b[1]));
    let angle = a[2] + b[2];
    [o.x + a[0], o.y + a[1], angle.sin().atan2(angle.cos())]
}

/// The same camera with the frame moved to where `frame` lies in the old one.
fn seen_from(pose: Pose, frame: CardPose) -> Pose {
    let [x, y, angle] = frame;
    let (s, c) = angle.sin_cos();
    let spin = Matrix3::new(c, -s, 0.0, s, c, 0.0, 0.0, 0.0, 1.0);
    Pose {
        rotation: pose.rotation * spin,
        shift: pose.shift + pose.rotation * Vector3::new(x, y, 0.0),
    }
}

/// One state of all photos from one state of each, joined by the cards they share, or by ties.
pub(super) fn join(whole: &Assembled, parts: &[(Assembled, State)]) -> Result<State, SurveyError> {
    if let [(_, only)] = parts {
        return Ok(only.clone());
    }
    let mut placed: Vec<Option<CardPose>> = vec![None; whole.cards.len()];
    placed[0] = Some([0.0; 3]);
    let local = |id: usize| whole.cards.iter().position(|c| *c == id);
    let mut poses: Vec<Option<Pose>> = vec![None; parts.len()];
    loop {
        let mut grew = false;
        for (photo, (part, state)) in parts.iter().enumerate() {
            if poses[photo].is_some() {
                continue;
            }
            let tie = part.cards.iter().enumerate().find_map(|(k, id)| {
                let there = placed[local(*id)?]?;
                Some(chain(there, inverse(state.cards[k])))
            });
            let tied = || {
                let place = |c: usize| {
                    let k = part.cards.iter().position(|id| *id == whole.cards[c])?;
                    Some(state.cards[k])
                };
                whole.problem.ties.iter().find_map(|t| {
                    let ways = [
                        (t.cards, t.lies),
                        ([t.cards[1], t.cards[0]], inverse(t.lies)),
                    ];
                    ways.into_iter().find_map(|([there, here], lies)| {
                        Some(chain(chain(placed[there]?, lies), inverse(place(here)?)))
                    })
                })
            };
            let Some(whole_from_part) = tie.or_else(tied) else {
                continue;
            };
            grew = true;
            poses[photo] = Some(seen_from(state.poses[0], inverse(whole_from_part)));
            for (k, id) in part.cards.iter().enumerate() {
                if let Some(c) = local(*id) {
                    placed[c].get_or_insert(chain(whole_from_part, state.cards[k]));
                }
            }
        }
        if !grew {
            break;
        }
    }
    let mut all = Vec::new();
    for (k, pose) in poses.into_iter().enumerate() {
        all.push(pose.ok_or(SurveyError::NotLinked {
            photo: whole.photos[k],
        })?);
    }
    // The middle focal length: one photo taken squarely says little of it.
    let camera = whole.problem.index.cameras().to_vec();
    let count = camera.iter().max().map_or(0, |c| c + 1);
    let lens_of = |c: usize| {
        let own = parts.iter().zip(&camera).filter(|(_, k)| **k == c);
        let mut lenses: Vec<Lens> = own.map(|((_, state), _)| state.lenses[0]).collect();
        lenses.sort_by(|a, b| a.f_px.total_cmp(&b.f_px));
        lenses[lenses.len() / 2]
    };
    Ok(State {
        lenses: (0..count).map(lens_of).collect(),
        camera,
        scale: parts[0].1.scale,
        poses: all,
        paper: parts.iter().map(|p| p.1.paper).sum::<f64>() / parts.len() as f64,
        bench: parts.iter().map(|p| p.1.bench).sum::<f64>() / parts.len() as f64,
        cards: placed.into_iter().map(Option::unwrap_or_default).collect(),
        lines: Vec::new(),
        feet: Vec::new(),
    })
}

/// Adds lines to a state, by the points of the photo that shows most of each; `None` if a line cannot be
/// brought to the face.
pub(super) fn add_lines(problem: &Problem, lines: usize, state: &mut State) -> Option<()> {
    let on_face = |photo: usize, at: Vector2<f64>, state: &State| {
        let ray = state.lens(photo).ray_from_pixel(Point::at(at))?;
        meet_face(&state.poses[photo], ray.vec(), 0.0)
    };
    let faces: Vec<Option<Vector2<f64>>> = problem
        .points
        .iter()
        .map(|o| on_face(o.photo, o.at, state))
        .collect();
    state.lines.clear();
    for line in 0..lines {
        let count = |photo: usize| {
            problem
                .points
                .iter()
                .filter(|o| o.line == line && o.photo == photo)
                .count()
        };
        let photo = (0..state.poses.len()).max_by_key(|p| (count(*p), usize::MAX - p))?;
        let points: Vec<Vector2<f64>> = problem
            .points
            .iter()
            .zip(&faces)
            .filter(|(o, _)| o.line == line && o.photo == photo)
            .filter_map(|(_, f)| *f)
            .collect();
        if points.len() < 2 {
            return None;
        }
        let middle = mean(points.iter().copied());
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for p in &points {
            let d = p - middle;
            xx += d.x * d.x;
            xy += d.x * d.y;
            yy += d.y * d.y;
        }
        let mut angle = 0.5 * f64::atan2(2.0 * xy, xx - yy);
        let d = Vector2::new(angle.cos(), angle.sin());
        if d.dot(&(points[points.len() - 1] - points[0])) < 0.0 {
            angle += std::f64::consts::PI;
        }
        let d = Vector2::new(angle.cos(), angle.sin());
        let along = points.iter().map(|p| d.dot(&(p - middle)));
        let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), t| {
            (l.min(t), h.max(t))
        });
        state.lines.push(LinePose {
            pivot: middle + d * ((low + high) / 2.0),
            angle,
            offset: 0.0,
            off: 0.0,
        });
    }
    state.feet = problem
        .points
        .iter()
        .zip(&faces)
        .map(|(o, f)| {
            let line = &state.lines[o.line];
            f.map_or(0.0, |f| line.direction().dot(&(f - line.pivot)))
        })
        .collect();
    Some(())
}
