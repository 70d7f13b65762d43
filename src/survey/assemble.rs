//! From what was seen to a list of observations, for all photos or some of them.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

use super::error::SurveyError;
use super::input::{LineId, Options, Sighting, TIE_SD};
use super::lens::LENS_UNKNOWNS;
use super::model::Index;
use super::observe::{Expected, LengthSeen, PointSeen, Problem, SaddleSeen, TieSeen};
use super::prior::Cameras;
use super::{MIN_CARD_SADDLES, MIN_SADDLES};

/// Smallest standard deviation of a saddle that is believed, px: better is not to be had from 8 bits.
const MIN_SADDLE_SD_PX: f64 = 1e-4;

/// One printed card, wherever it was seen.
#[derive(Debug, Clone)]
pub(super) struct CardId {
    pub(super) number: u16,
    /// (photo, place in that photo's list), ascending.
    pub(super) seen: Vec<(usize, usize)>,
    /// Most usable saddles in one photo.
    pub(super) most: usize,
    pub(super) dropped: bool,
}

/// All cards, the one that should be the gauge first: well seen ones by number, then the others.
///
/// A number that appears twice in some photo stands for several cards which nothing ties between photos,
/// so each sighting of it becomes a card of its own.
pub(super) fn list_cards(seen: &[Sighting]) -> Vec<CardId> {
    let mut by_number: BTreeMap<u16, Vec<(usize, usize)>> = BTreeMap::new();
    for (photo, s) in seen.iter().enumerate() {
        for (place, card) in s.cards.iter().enumerate() {
            by_number
                .entry(card.number)
                .or_default()
                .push((photo, place));
        }
    }
    let mut cards = Vec::new();
    for (number, seen_at) in by_number {
        let twice = seen_at.windows(2).any(|w| w[0].0 == w[1].0);
        let groups: Vec<Vec<(usize, usize)>> = if twice {
            seen_at.into_iter().map(|s| vec![s]).collect()
        } else {
            vec![seen_at]
        };
        for group in groups {
            let most = group
                .iter()
                .map(|&(p, i)| seen[p].cards[i].saddles.iter().filter(usable).count())
                .max()
                .unwrap_or(0);
            cards.push(CardId {
                number,
                seen: group,
                most,
                dropped: most < MIN_CARD_SADDLES,
            });
        }
    }
    cards.sort_by_key(|c| (c.most < MIN_SADDLES, c.number, c.seen[0]));
    cards
}

fn usable(s: &&crate::card::SeenSaddle) -> bool {
    s.at.x.is_finite()
        && s.at.y.is_finite()
        && s.on_card.x.is_finite()
        && s.on_card.y.is_finite()
        && whitening(&s.cov).is_some()
}

/// W with WᵀW the inverse of `cov`; `None` unless that is positive definite.
fn whitening(cov: &Matrix2<f64>) -> Option<Matrix2<f64>> {
    let symmetric =
        (cov + cov.transpose()) * 0.5 + Matrix2::identity() * (MIN_SADDLE_SD_PX * MIN_SADDLE_SD_PX);
    let l = symmetric.cholesky()?.l();
    l.try_inverse().filter(|w| w.iter().all(|v| v.is_finite()))
}

/// A problem and what its numbers mean.
#[derive(Debug, Clone)]
pub(super) struct Assembled {
    pub(super) problem: Problem,
    /// Its cards, as places in the list of all cards.
    pub(super) cards: Vec<usize>,
    /// Its lines.
    pub(super) lines: Vec<LineId>,
    /// Its photos, as places in the list of sightings.
    pub(super) photos: Vec<usize>,
}

/// Everything that stays the same through one survey.
pub(super) struct Case<'a> {
    pub(super) seen: &'a [Sighting<'a>],
    pub(super) cameras: &'a Cameras,
    pub(super) options: &'a Options,
}

impl Case<'_> {
    /// The problem of these photos and the cards not dropped.
    pub(super) fn assemble(
        &self,
        cards: &[CardId],
        photos: &[usize],
        with_lines: bool,
    ) -> Result<Assembled, SurveyError> {
        let mut saddles = Vec::new();
        let mut used = Vec::new();
        let mut bench_unknown = false;
        for (id, card) in cards.iter().enumerate().filter(|(_, c)| !c.dropped) {
            let mut any = false;
            for &(photo, place) in &card.seen {
                let Some(local) = photos.iter().position(|p| *p == photo) else {
                    continue;
                };
                let beside = self.seen[photo].beside.contains(&place);
                bench_unknown |= beside && self.options.bench_mm[1] > 0.0;
                for s in self.seen[photo].cards[place].saddles.iter().filter(usable) {
                    let Some(whiten) = whitening(&s.cov) else {
                        continue;
                    };
                    any = true;
                    saddles.push(SaddleSeen {
                        photo: local,
                        card: used.len(),
                        on_card: s.on_card.vec(),
                        beside,
                        at: s.at.vec(),
                        whiten,
                        on: true,
                    });
                }
            }
            if any {
                used.push(id);
            }
        }
        let mut lines: Vec<LineId> = Vec::new();
        let mut points = Vec::new();
        if with_lines {
            for photo in photos {
                lines.extend(self.seen[*photo].lines.iter().map(|l| l.id));
            }
            lines.sort_unstable();
            lines.dedup();
            for (local, photo) in photos.iter().enumerate() {
                for l in self.seen[*photo].lines {
                    let line = lines.binary_search(&l.id).unwrap_or(0);
                    for &(at, sigma) in &l.points {
                        if at.x.is_finite() && at.y.is_finite() && sigma.is_finite() && sigma > 0.0
                        {
                            points.push(PointSeen {
                                photo: local,
                                line,
                                at: at.vec(),
                                sigma,
                                on: true,
                            });
                        }
                    }
                }
            }
            for (k, id) in lines.iter().enumerate() {
                let count = points.iter().filter(|p| p.line == k).count();
                if count < 2 {
                    return Err(SurveyError::NoSuchLine {
                        line: *id,
                        points: count,
                    });
                }
            }
        }
        let mut cameras: Vec<usize> = photos.iter().map(|p| self.seen[*p].camera).collect();
        let of_photo = cameras.clone();
        cameras.sort_unstable();
        cameras.dedup();
        let camera = of_photo
            .iter()
            .map(|c| cameras.binary_search(c).unwrap_or(0))
            .collect();
        let off_of = |id: &LineId| {
            let told = self.options.line_off_mm.iter().find(|(l, _)| l == id);
            told.map_or(0.0, |(_, sd)| *sd)
        };
        let lines_off: Vec<f64> = lines.iter().map(off_of).collect();
        let index = Index::new(
            camera,
            [self.options.paper_mm[1] > 0.0, bench_unknown],
            used.len(),
            &lines_off.iter().map(|sd| *sd > 0.0).collect::<Vec<_>>(),
        );
        let p = self.cameras;
        let at = |i: usize| LENS_UNKNOWNS * cameras[i / LENS_UNKNOWNS] + i % LENS_UNKNOWNS;
        let n = LENS_UNKNOWNS * cameras.len();
        let lens_cov = DMatrix::from_fn(n, n, |i, j| p.cov[(at(i), at(j))]);
        let determinant = lens_cov.determinant();
        let lens_weight = lens_cov
            .cholesky()
            .ok_or(SurveyError::BadValue {
                what: "the covariance of the camera profile",
                value: determinant,
                wanted: "positive definite",
            })?
            .inverse();
        let factors = vec![1.0; 1 + lines.len()];
        let ties = self.ties(cards, &used);
        Ok(Assembled {
            problem: Problem {
                index,
                saddles,
                points,
                ties,
                lengths: if with_lines {
                    self.lengths(&lines)?
                } else {
                    Vec::new()
                },
                expected: Expected {
                    lenses: DVector::from_iterator(
                        n,
                        cameras.iter().flat_map(|c| p.lenses[*c].unknowns()),
                    ),
                    lens_weight,
                    scale: p.scale.mean,
                    scale_sd: p.scale.sd,
                    paper: self.options.paper_mm,
                    bench: self.options.bench_mm,
                    lines_off,
                },
                factors,
            },
            cards: used,
            lines,
            photos: photos.to_vec(),
        })
    }

    /// The ties between cards of the problem, `used` as places in the list of all.
    fn ties(&self, cards: &[CardId], used: &[usize]) -> Vec<TieSeen> {
        let place = |seen| used.iter().position(|id| cards[*id].seen.contains(&seen));
        let of_tie = |tie: &super::input::Tie| {
            let lies = tie.first_from_second;
            Some(TieSeen {
                cards: [place(tie.cards[0])?, place(tie.cards[1])?],
                lies: [lies.origin.x, lies.origin.y, lies.angle_rad],
                sd: TIE_SD,
            })
        };
        self.options.ties.iter().filter_map(of_tie).collect()
    }

    fn lengths(&self, lines: &[LineId]) -> Result<Vec<LengthSeen>, SurveyError> {
        let mut lengths = Vec::new();
        for k in &self.options.known {
            let [a, b] = k.between;
            let place = |id: LineId| {
                lines
                    .binary_search(&id)
                    .map_err(|_| SurveyError::NoSuchLine {
                        line: id,
                        points: 0,
                    })
            };
            if a == b {
                return Err(SurveyError::BadValue {
                    what: "the second line of a known length",
                    value: f64::from(b.0),
                    wanted: "another line than the first",
                });
            }
            lengths.push(LengthSeen {
                lines: [place(a)?, place(b)?],
                mm: k.mm,
                sd: k.sd_mm,
            });
        }
        Ok(lengths)
    }

    /// Refuses settings no solve can use.
    pub(super) fn check(&self) -> Result<(), SurveyError> {
        let o = self.options;
        let positive = |what, value: f64| {
            if value.is_finite() && value > 0.0 {
                Ok(())
            } else {
                Err(SurveyError::BadValue {
                    what,
                    value,
                    wanted: "a positive number",
                })
            }
        };
        for k in &o.known {
            positive("a known length (mm)", k.mm)?;
            positive("the standard deviation of a known length (mm)", k.sd_mm)?;
        }
        for i in 0..2 {
            positive("the print scale", self.cameras.scale.mean[i])?;
            positive(
                "the standard deviation of the print scale",
                self.cameras.scale.sd[i],
            )?;
        }
        for lens in &self.cameras.lenses {
            positive("the focal length of the camera (px)", lens.f_px)?;
        }
        let cameras = self.cameras.lenses.len();
        if let Some(s) = self.seen.iter().find(|s| s.camera >= cameras) {
            return Err(SurveyError::BadValue {
                what: "the camera of a photo",
                value: s.camera as f64,
                wanted: "one of the cameras given, counted from 0",
            });
        }
        let not_negative = [
            ("the height of the print (mm)", o.paper_mm[0]),
            (
                "the standard deviation of the print's height (mm)",
                o.paper_mm[1],
            ),
            (
                "the standard deviation of the bench height (mm)",
                o.bench_mm[1],
            ),
            ("the flatness (mm)", o.flatness_mm),
        ];
        let lines_off = o
            .line_off_mm
            .iter()
            .map(|(_, sd)| ("what a line may be off (mm)", *sd));
        for (what, value) in not_negative.into_iter().chain(lines_off) {
            if !(value.is_finite() && value >= 0.0) {
                return Err(SurveyError::BadValue {
                    what,
                    value,
                    wanted: "zero or a positive number",
                });
            }
        }
        if !o.bench_mm[0].is_finite() {
            return Err(SurveyError::BadValue {
                what: "the height of the bench (mm)",
                value: o.bench_mm[0],
                wanted: "a number",
            });
        }
        Ok(())
    }
}

/// Middle of a set of points.
pub(super) fn mean(points: impl Iterator<Item = Vector2<f64>>) -> Vector2<f64> {
    let (sum, n) = points.fold((Vector2::zeros(), 0.0), |(s, n), p| (s + p, n + 1.0));
    sum / f64::max(n, 1.0)
}
