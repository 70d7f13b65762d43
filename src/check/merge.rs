//! One reading of the face from those of several photos.
//!
//! A mark that several photos show is one mark, its place the mean of theirs by their covariances; what the places
//! have in common (scale, datum, the face's height) is counted once. What one photo cannot name another may. Where
//! photos contradict each other, none is believed.

use nalgebra::{Matrix2, Vector2};

use crate::frame::{Cov2, Point, Sheet};
use crate::ink::{Doubt, Ink, Mark, RuledLine, Seen, Unsure};
use crate::plan::Plan;
use crate::report::{Shown, words};
use crate::survey::{Leaning, SheetFrame};
use crate::verdict::decision_rule::COVERAGE_FACTOR;
use crate::verdict::{Reason, Weight, pairing};

/// Two photos' places are of one mark within this and their uncertainties, mm: about half a mark.
const SAME_MM: f64 = 1.0;
/// However uncertain, no further than this, mm.
const SAME_CAP_MM: f64 = 3.0;
/// Squared distance over its own variance that two places of one mark do not reach: in the plane 1 in 3000 does.
const AGREE: f64 = 16.0;
/// Photos that contradict each other in so many marks, and in this share of those that both show, contradict each other
/// altogether.
const MANY: usize = 3;
const MOST: f64 = 0.5;
/// Round a mark so much must show, mm, before it was seen whole, or seen to be missing.
const ROUND_MM: f64 = 1.0;
/// Ink without a name is settled by another photo up to this extent, mm: more is writing or dirt.
const SETTLED_MM: f64 = 6.0;
/// Ruled lines are one within these, mm and rad, and with gaps up to this, mm.
const SAME_LINE_MM: f64 = 0.6;
const SAME_LINE_RAD: f64 = 0.01;
const LINE_GAP_MM: f64 = 5.0;

/// One photo's reading.
struct Reading<'a> {
    frame: &'a SheetFrame<'a>,
    name: &'a str,
    ink: Ink,
}

/// A mark's place as the sum of those in some photos: the frame's place in the list, the place, and its weight.
pub(super) type Blend = Vec<(usize, Point<Sheet>, Cov2)>;

/// The readings as one.
pub(super) struct Merged {
    pub(super) ink: Ink,
    /// Of each mark of `ink`, how its place was made.
    pub(super) blends: Vec<Blend>,
    /// What the photos contradict each other in.
    pub(super) findings: Vec<(Weight, Reason)>,
    /// What each photo shows; empty where there is but one.
    pub(super) shown: Vec<Shown>,
}

/// Puts the photos' readings together; `names` are the photos'. What they contradict each other in comes with it.
///
/// # Errors
/// Two photos that contradict each other in most marks: then one of them is of a sheet that was moved.
pub(super) fn merge(
    frames: &[SheetFrame],
    inks: Vec<Ink>,
    names: &[String],
    plan: &Plan,
) -> Result<Merged, Reason> {
    let mut readings: Vec<Reading> = frames
        .iter()
        .zip(inks)
        .zip(names)
        .map(|((frame, ink), name)| Reading { frame, name, ink })
        .collect();
    if readings.len() < 2 {
        let only = readings.pop().map(|r| r.ink);
        let size_mm = [plan.width_mm, plan.height_mm];
        let ink = only.unwrap_or_else(|| Ink::unseen(size_mm));
        let blend = |m: &Mark| vec![(0, m.at, Cov2::identity())];
        return Ok(Merged {
            blends: ink.marks.iter().map(blend).collect(),
            ink,
            findings: Vec::new(),
            shown: Vec::new(),
        });
    }
    let mut told = Told {
        plan,
        findings: Vec::new(),
        pairs: Vec::new(),
    };
    let mut marks = Vec::new();
    let mut contrary = Vec::new();
    for group in same_marks(&readings) {
        match joined(&readings, &group, &mut told) {
            Joined::Mark(m, blend) => marks.push((m, blend)),
            Joined::Unsure(u) => contrary.push(u),
        }
    }
    marks.sort_by(|(a, _), (b, _)| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
    let (marks, blends) = marks.into_iter().unzip();
    let mut unsure = unsettled(&readings);
    unsure.extend(contrary);
    unsure.sort_by(|a, b| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
    let ink = Ink {
        marks,
        lines: same_lines(readings.iter().flat_map(|r| &r.ink.lines)),
        unsure,
        seen: seen_by_any(&readings),
    };
    told.altogether(&readings)?;
    let shown = readings.into_iter().map(|r| Shown {
        unsure: r.ink.unsure.iter().map(|u| u.at).collect(),
        seen: r.ink.seen,
    });
    Ok(Merged {
        ink,
        blends,
        findings: told.findings,
        shown: shown.collect(),
    })
}

/// Contradictions, told by their place.
struct Told<'a> {
    plan: &'a Plan,
    findings: Vec<(Weight, Reason)>,
    /// Two photos that both show the place of a mark, and whether they agree on it.
    pairs: Vec<([usize; 2], bool)>,
}

impl Told<'_> {
    /// Whether some two photos contradict each other in most of the marks that both show.
    fn altogether(&self, readings: &[Reading]) -> Result<(), Reason> {
        for b in 0..readings.len() {
            for a in 0..b {
                let both = self.pairs.iter().filter(|(p, _)| *p == [a, b]);
                let (all, contrary) = both.fold((0, 0), |(all, contrary), (_, agree)| {
                    (all + 1, contrary + usize::from(!agree))
                });
                if contrary >= MANY && contrary as f64 > MOST * f64::from(all) {
                    let text = format!(
                        "the photos {} and {} contradict each other in {contrary} of the {all} marks that both show: the sheet or the cards were moved between them; lay all still and take both again, or leave one of them out",
                        readings[a].name, readings[b].name
                    );
                    let code = "photos-contradict";
                    return Err(Reason { code, text });
                }
            }
        }
        Ok(())
    }

    fn contradiction(&mut self, at: Point<Sheet>, what: &str) {
        let place = words::measured_place(at, self.plan.units);
        let sign = crate::plan::length::unit_sign(self.plan.units);
        let near = self
            .plan
            .holes
            .iter()
            .min_by(|a, b| a.at.distance(at).total_cmp(&b.at.distance(at)))
            .map_or_else(String::new, |h| format!(", near {}", h.name));
        let text = format!("at {place} {sign}{near} {what}: look at the place");
        let code = "photos-disagree";
        self.findings.push((Weight::Blocks, Reason { code, text }));
    }
}

fn widest_u(cov: &Cov2) -> f64 {
    COVERAGE_FACTOR * cov.symmetric_eigenvalues().max().max(0.0).sqrt()
}

/// Groups of marks that are one on the sheet: the photo and the mark's place in its list, at most one a photo.
fn same_marks(readings: &[Reading]) -> Vec<Vec<(usize, usize)>> {
    let mut groups: Vec<Vec<(usize, usize)>> = Vec::new();
    for (photo, reading) in readings.iter().enumerate() {
        let mark = |&(photo, i): &(usize, usize)| &readings[photo].ink.marks[i];
        let known: Vec<Vector2<f64>> = groups
            .iter()
            .map(|g| g.iter().map(|m| mark(m).at.vec()).sum::<Vector2<f64>>() / g.len() as f64)
            .collect();
        let here: Vec<Vector2<f64>> = reading.ink.marks.iter().map(|m| m.at.vec()).collect();
        let reach = |g: usize, m: usize| {
            let spread = groups[g].iter().map(|m| widest_u(&mark(m).cov));
            let u = spread.fold(0.0, f64::max) + widest_u(&reading.ink.marks[m].cov);
            (SAME_MM + u).min(SAME_CAP_MM)
        };
        let pairs = pairing::pair(&known, &here, reach, SAME_CAP_MM);
        for (m, group) in pairs.hole_of.into_iter().enumerate() {
            match group {
                Some(g) => groups[g].push((photo, m)),
                None => groups.push(vec![(photo, m)]),
            }
        }
    }
    groups
}

enum Joined {
    Mark(Mark, Blend),
    Unsure(Unsure),
}

/// The mark that a group is.
fn joined(readings: &[Reading], group: &[(usize, usize)], told: &mut Told) -> Joined {
    let mark = |&(photo, i): &(usize, usize)| &readings[photo].ink.marks[i];
    let radius = |m: &Mark| (m.size_mm / 2.0).max(ROUND_MM);
    let members: Vec<usize> = group.iter().map(|m| m.0).collect();
    // Cut off by a photo's rim, a mark's place and kind are the cut's: another photo knows better.
    let whole: Vec<(usize, usize)> = group
        .iter()
        .copied()
        .filter(|m| sees_round(&[&readings[m.0].ink.seen], mark(m).at, radius(mark(m))))
        .collect();
    let group = if whole.is_empty() { group } else { &whole };
    let (blend, mut cov, apart) = mean_place(readings, group, told);
    let at = Point::at(blend.iter().map(|(_, p, w)| w * p.vec()).sum());
    let names = |photos: &[usize]| {
        let names: Vec<&str> = photos.iter().map(|&p| readings[p].name).collect();
        names.join(", ")
    };
    let in_photos: Vec<usize> = group.iter().map(|m| m.0).collect();
    if let Some(by) = apart {
        told.contradiction(
            at,
            &format!(
                "the photos {} put one mark {} apart, more than their uncertainty",
                names(&in_photos),
                words::both(by.norm(), told.plan.units)
            ),
        );
        cov += by * by.transpose();
    }
    let surest = group
        .iter()
        .min_by(|a, b| widest_u(&mark(a).cov).total_cmp(&widest_u(&mark(b).cov)))
        .unwrap_or(&group[0]);
    let joined = Mark {
        at,
        cov,
        ringed: group.iter().any(|m| mark(m).ringed),
        // The photo that shows it best is as sure of it as any.
        probability: group
            .iter()
            .filter_map(|m| mark(m).probability)
            .max_by(f64::total_cmp),
        ..mark(surest).clone()
    };
    // Whoever sees the place well and shows nothing there contradicts.
    let without: Vec<usize> = (0..readings.len())
        .filter(|p| !members.contains(p))
        .filter(|&p| shows_nothing(&readings[p], &joined))
        .collect();
    for &p in &without {
        for &q in &in_photos {
            told.pairs.push(([p.min(q), p.max(q)], false));
        }
    }
    if !without.is_empty() {
        told.contradiction(
            at,
            &format!(
                "{} shows a mark, and {} shows none",
                names(&in_photos),
                names(&without)
            ),
        );
    }
    let crossed: Vec<usize> = group
        .iter()
        .filter(|m| mark(m).crossed_out)
        .map(|m| m.0)
        .collect();
    if !crossed.is_empty() && crossed.len() < group.len() {
        told.contradiction(
            at,
            &format!(
                "a mark is crossed out in {}, and not in the others",
                names(&crossed)
            ),
        );
        return Joined::Unsure(Unsure {
            at,
            cov,
            size_mm: joined.size_mm,
            why: Doubt::StruckInOnePhoto,
            writing: false,
            probability: None,
        });
    }
    Joined::Mark(joined, blend)
}

/// How the mean of the places by their covariances is made, its covariance, and how far the two furthest are apart where that is more
/// than chance.
///
/// Weights are from each photo's own covariance, so that the mean never lies outside of the places; its covariance is
/// that of the weighted sum with all that the places share.
fn mean_place(
    readings: &[Reading],
    group: &[(usize, usize)],
    told: &mut Told,
) -> (Blend, Cov2, Option<Vector2<f64>>) {
    let marks: Vec<(&Mark, usize)> = group
        .iter()
        .map(|&(photo, i)| (&readings[photo].ink.marks[i], photo))
        .collect();
    let (first, _) = marks[0];
    if marks.len() == 1 {
        return (
            vec![(marks[0].1, first.at, Cov2::identity())],
            first.cov,
            None,
        );
    }
    let leanings: Vec<Option<Leaning>> = marks
        .iter()
        .map(|(m, photo)| {
            let frame = readings[*photo].frame;
            frame.leaning(frame.pixel_from_sheet(m.at)?)
        })
        .collect();
    let frame = readings[marks[0].1].frame;
    let cov = |i: usize, j: usize| -> Cov2 {
        match (&leanings[i], &leanings[j]) {
            _ if i == j => marks[i].0.cov,
            (Some(a), Some(b)) => frame.shared(a, b),
            _ => Cov2::zeros(),
        }
    };
    let weights: Option<Vec<Cov2>> = marks.iter().map(|(m, _)| m.cov.try_inverse()).collect();
    let weights = weights.and_then(|w| {
        let all = w.iter().sum::<Cov2>().try_inverse()?;
        Some(w.into_iter().map(|w| all * w).collect::<Vec<Cov2>>())
    });
    let weights =
        weights.unwrap_or_else(|| vec![Matrix2::identity() / marks.len() as f64; marks.len()]);
    let mut all = Cov2::zeros();
    let mut apart: Option<Vector2<f64>> = None;
    for i in 0..marks.len() {
        for j in 0..marks.len() {
            all += weights[i] * cov(i, j) * weights[j].transpose();
            if i < j {
                let gap = marks[i].0.at - marks[j].0.at;
                let of_gap = cov(i, i) + cov(j, j) - cov(i, j) - cov(j, i);
                let far = of_gap
                    .try_inverse()
                    .is_none_or(|inverse| gap.dot(&(inverse * gap)) > AGREE);
                let pair = [marks[i].1.min(marks[j].1), marks[i].1.max(marks[j].1)];
                told.pairs.push((pair, !far));
                if far && apart.is_none_or(|a| gap.norm() > a.norm()) {
                    apart = Some(gap);
                }
            }
        }
    }
    let blend = marks.iter().zip(weights);
    let blend = blend.map(|((m, photo), w)| (*photo, m.at, w)).collect();
    (blend, (all + all.transpose()) / 2.0, apart)
}

/// Whether every cell within `radius` of `at` that lies on the sheet was seen by one of these. They have the same cells.
fn sees_round(by: &[&Seen], at: Point<Sheet>, radius: f64) -> bool {
    let Some(grid) = by.first() else { return false };
    let cells = |centre: f64, most: usize| {
        let first = ((centre - radius) / grid.cell_mm).floor().max(0.0) as usize;
        let last = ((centre + radius) / grid.cell_mm).floor().max(0.0) as usize;
        first..=last.min(most.saturating_sub(1))
    };
    cells(at.y, grid.rows).all(|row| {
        cells(at.x, grid.columns).all(|column| {
            let cell = row * grid.columns + column;
            by.iter().any(|seen| seen.cells[cell])
        })
    })
}

/// Whether a photo plainly shows that `mark` is not there.
fn shows_nothing(reading: &Reading, mark: &Mark) -> bool {
    let u = widest_u(&mark.cov);
    let reach = mark.size_mm / 2.0 + ROUND_MM + u;
    let unsure = reading
        .ink
        .unsure
        .iter()
        .any(|i| i.at.distance(mark.at) <= i.size_mm / 2.0 + reach);
    // A mark of its own near by is another one: it was not paired with this.
    !unsure && sees_round(&[&reading.ink.seen], mark.at, reach)
}

/// Ink that no photo can name. What one photo cannot and another reads as a mark is settled, and so is what lies
/// at the rim of what one photo shows and shows in another.
fn unsettled(readings: &[Reading]) -> Vec<Unsure> {
    let mut left: Vec<Unsure> = Vec::new();
    for (photo, reading) in readings.iter().enumerate() {
        for u in &reading.ink.unsure {
            let reach = u.size_mm / 2.0 + ROUND_MM;
            // The rim of glare, of a shadow or of the photo looks like ink. What others show of its place, each
            // without unnamed ink there, may be pieced together.
            let at_rim = !sees_round(&[&reading.ink.seen], u.at, reach);
            let others = readings.iter().enumerate().filter(|(p, _)| *p != photo);
            let named: Vec<&Ink> = others
                .map(|(_, other)| &other.ink)
                .filter(|ink| nothing_unnamed(ink, u.at, reach))
                .collect();
            let marked = |ink: &&Ink| {
                sees_round(&[&ink.seen], u.at, reach)
                    && ink.marks.iter().any(|m| m.at.distance(u.at) <= reach)
            };
            let seen: Vec<&Seen> = named.iter().map(|ink| &ink.seen).collect();
            let by_mark = !u.why.is_over_a_mark() && u.size_mm <= SETTLED_MM;
            let settled =
                at_rim && sees_round(&seen, u.at, reach) || by_mark && named.iter().any(marked);
            if settled {
                continue;
            }
            // The same ink in another photo is one place to look at.
            let same =
                |o: &&mut Unsure| o.at.distance(u.at) <= (o.size_mm + u.size_mm) / 2.0 + SAME_MM;
            match left.iter_mut().find(same) {
                // What one photo reads as writing and another cannot name is not surely writing.
                Some(o) if (u.writing, o.size_mm) >= (o.writing, u.size_mm) => {}
                Some(o) => *o = u.clone(),
                None => left.push(u.clone()),
            }
        }
    }
    left
}

/// Whether a photo has no unnamed ink within `reach` of a place.
fn nothing_unnamed(ink: &Ink, at: Point<Sheet>, reach: f64) -> bool {
    let near = |o: &Unsure| o.at.distance(at) <= reach + o.size_mm / 2.0;
    !ink.unsure.iter().any(near)
}

/// The ruled lines, those that are one made one.
fn same_lines<'l>(lines: impl Iterator<Item = &'l RuledLine>) -> Vec<RuledLine> {
    let mut out: Vec<RuledLine> = Vec::new();
    for line in lines {
        let joined = out.iter_mut().find_map(|known| {
            let along = (known.ends[1] - known.ends[0]).normalize();
            let own = (line.ends[1] - line.ends[0]).normalize();
            let places = line.ends.map(|e| along.dot(&(e - known.ends[0])));
            let off = line.ends.map(|e| along.perp(&(e - known.ends[0])).abs());
            let length = (known.ends[1] - known.ends[0]).norm();
            let (low, high) = (places[0].min(places[1]), places[0].max(places[1]));
            let near = low <= length + LINE_GAP_MM && high >= -LINE_GAP_MM;
            let same = along.perp(&own).abs() < SAME_LINE_RAD
                && off.iter().any(|o| *o < SAME_LINE_MM)
                && near;
            same.then(|| {
                // Out to whatever end of either lies furthest, each where it was seen.
                for (place, end) in places.into_iter().zip(line.ends) {
                    if place < 0.0 && place <= low {
                        known.ends[0] = end;
                    } else if place > length && place >= high {
                        known.ends[1] = end;
                    }
                }
                known.u_mm = known.u_mm.min(line.u_mm);
            })
        });
        if joined.is_none() {
            out.push(*line);
        }
    }
    out
}

/// What any photo shows.
fn seen_by_any(readings: &[Reading]) -> Seen {
    let mut seen = readings[0].ink.seen.clone();
    for reading in &readings[1..] {
        let other = &reading.ink.seen;
        for (cell, other) in seen.cells.iter_mut().zip(&other.cells) {
            *cell |= other;
        }
        // What no photo shows is told by the cause that is most worth telling: beyond one photo's rim another has glare.
        for (cause, other) in seen.blind.iter_mut().zip(&other.blind) {
            *cause = match (*cause, *other) {
                (Some(a), Some(b)) => Some(a.min(b)),
                _ => None,
            };
        }
    }
    seen
}
