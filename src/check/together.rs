//! Which of several photos measure one piece together: those that share cards, and agree on where the cards and
//! the sheet's edges lie.

use super::{Edged, Given, reason, sharp};
use crate::card::SeenCard;
use crate::card::find::Found;
use crate::photo::Photo;
use crate::survey::{self, Cameras, Options, Priors, Sighting, StraightLine, Survey, Tie};
use crate::verdict::{Reason, Weight};

/// A photo whose corners miss the common face by so many times what they miss its own, and so many px more,
/// does not fit: a card curls a little otherwise for every view.
const TIMES_WORSE: f64 = 2.0;
const WORSE_PX: f64 = 0.15;
/// An edge that one photo puts so far off where all together have it, mm, has been moved between the photos, or is
/// another thing's; to that comes what a side wall hides.
const EDGE_OFF_MM: f64 = 0.3;
/// Standard deviations of a side wall's doubt that are let pass.
const WALL_SIGMAS: f64 = 3.0;

/// A photo, and what is known of its camera.
pub(super) struct Shot<'a> {
    pub(super) photo: &'a Photo,
    /// What the user calls it.
    pub(super) name: String,
    priors: Priors,
}

/// What the user calls a photo: its file name, and its whole path where several have the same (one from each camera's
/// folder).
fn name_of(photo: &Photo, photos: &[&Photo]) -> String {
    let path = &photo.path;
    let alike = photos
        .iter()
        .filter(|p| p.path.file_name() == path.file_name());
    match path.file_name() {
        Some(name) if alike.count() == 1 => name.to_string_lossy().into(),
        _ => path.display().to_string(),
    }
}

/// The photos in an order that does not depend on how they were given.
pub(super) fn in_order<'a>(photos: &[&'a Photo], given: &Given) -> Vec<Shot<'a>> {
    let mut shots: Vec<Shot> = photos
        .iter()
        .enumerate()
        .map(|(i, &photo)| {
            let (width, height) = photo.grey.dimensions();
            let priors = given
                .cameras
                .get(i)
                .cloned()
                .unwrap_or_else(|| Priors::from_camera(&photo.camera, width, height));
            Shot {
                photo,
                name: name_of(photo, photos),
                priors: match given.print_scale {
                    Some(scale) => priors.with_scale(scale),
                    None => priors,
                },
            }
        })
        .collect();
    shots.sort_by(|a, b| a.photo.path.cmp(&b.photo.path));
    shots
}

/// The cameras of some of the photos, one each.
pub(super) fn cameras(shots: &[Shot], kept: &[usize]) -> Cameras {
    if let [only] = kept {
        return Cameras::one(&shots[*only].priors);
    }
    // Photos of the same phone at the same zoom, held the same way, have what is unknown of the lens in common.
    let like = |k: usize| {
        let c = &shots[k].photo.camera;
        let known = c.make.is_some() || c.model.is_some();
        let same = |&j: &usize| {
            let o = &shots[j].photo.camera;
            let as_taken = |c: &crate::photo::Camera| {
                (
                    c.focal_mm,
                    c.focal_35mm,
                    c.digital_zoom,
                    c.exif_size,
                    c.orientation,
                )
            };
            (&o.make, &o.model) == (&c.make, &c.model)
                && as_taken(o) == as_taken(c)
                && shots[j].photo.grey.dimensions() == shots[k].photo.grey.dimensions()
        };
        let first = if known {
            kept.iter().find(|&j| same(j))
        } else {
            None
        };
        *first.unwrap_or(&k)
    };
    let each: Vec<(Priors, usize)> = kept
        .iter()
        .map(|&k| (shots[k].priors.clone(), like(k)))
        .collect();
    Cameras::of_shots(&each)
}

/// Whether each photo is sharp enough for marks to show.
pub(super) fn sharp(shots: &[Shot], found: &[Found]) -> Vec<Result<(), Reason>> {
    shots
        .iter()
        .zip(found)
        .map(|(s, f)| sharp::sharp_enough(&s.photo.grey, &f.cards))
        .collect()
}

/// The photos that are measured together, and their survey by the cards alone.
pub(super) struct Together {
    /// The photos, by their place in the list of all.
    pub(super) kept: Vec<usize>,
    /// Their survey: its photo `i` is `kept[i]`.
    pub(super) survey: Survey,
    /// The others and why.
    pub(super) left_out: Vec<LeftOut>,
    /// Groups of photos that share no card with these.
    pub(super) apart: Vec<Vec<usize>>,
    /// What joins photos that share no card; photos by their place in the list of all.
    ties: Vec<Tie>,
    /// Misfit of each photo's corners to its own survey, px, by its place in the list of all.
    alone_px: Vec<f64>,
}

/// A photo that is not measured.
#[derive(Debug, Clone)]
pub(super) struct LeftOut {
    pub(super) photo: usize,
    /// Whether the sheet cannot read as ready without it: it contradicts what the others show.
    pub(super) weight: Weight,
    pub(super) reason: Reason,
}

impl Together {
    /// The cards of each kept photo.
    pub(super) fn cards<'f>(&self, found: &'f [Found]) -> Vec<&'f [SeenCard]> {
        let of_photo = |k: &usize| found[*k].cards.as_slice();
        self.kept.iter().map(of_photo).collect()
    }

    /// The same survey with straight lines of the first photo in it.
    pub(super) fn with_lines(
        &self,
        shots: &[Shot],
        found: &[Found],
        lines: &[StraightLine],
    ) -> Option<Survey> {
        solve(shots, found, &self.kept, (lines, &self.ties)).ok()
    }

    /// The ties, with photos by their place in the survey.
    pub(super) fn ties(&self) -> Vec<Tie> {
        among(&self.ties, &self.kept)
    }

    /// The photos of a group that is apart, by themselves.
    pub(super) fn group(&self, shots: &[Shot], found: &[Found], group: &[usize]) -> Option<Self> {
        let alone_px = self.alone_px.clone();
        settled(
            shots,
            found,
            group.to_vec(),
            Vec::new(),
            (alone_px, Vec::new()),
        )
        .ok()
    }

    /// These photos and those of another group, as a card of one lies to a card of the other. `tie`: photos by their place
    /// in either survey.
    pub(super) fn with(
        &self,
        shots: &[Shot],
        found: &[Found],
        other: &Self,
        tie: Tie,
    ) -> Option<Self> {
        let mut kept = [self.kept.as_slice(), other.kept.as_slice()].concat();
        kept.sort_unstable();
        let mut left_out = self.left_out.clone();
        left_out.retain(|l| !kept.contains(&l.photo));
        let [(a, on_a), (b, on_b)] = tie.cards;
        let mut ties = self.ties.clone();
        ties.push(Tie {
            cards: [(self.kept[a], on_a), (other.kept[b], on_b)],
            ..tie
        });
        let mut more = settled(shots, found, kept, left_out, (self.alone_px.clone(), ties)).ok()?;
        let others = (self.apart.iter()).filter(|g| !g.iter().any(|k| other.kept.contains(k)));
        more.apart.extend(others.cloned());
        // A tie that does not hold drops photos again: then nothing is won.
        (more.kept.len() > self.kept.len()).then_some(more)
    }

    /// The photos but the one without which all is well, as `well` says; `None` where there is none such, or where
    /// there are several.
    pub(super) fn without_one(
        &self,
        shots: &[Shot],
        found: &[Found],
        mut well: impl FnMut(&Self) -> bool,
    ) -> Option<Self> {
        let mut good = Vec::new();
        let count = self.kept.len();
        for i in 0..count {
            let mut left_out = self.left_out.clone();
            let why = "with it no sheet is found, and without it one is: the sheet or a card was moved between the photos";
            let kept = without(shots, found, self.kept.clone(), &mut left_out, i, why);
            let known = (self.alone_px.clone(), self.ties.clone());
            let fewer = settled(shots, found, kept, left_out, known).ok()?;
            if well(&fewer) {
                good.push(fewer);
            }
            // Of two, [`without`] says itself which one stays.
            if count == 2 {
                break;
            }
        }
        if good.len() > 1 { None } else { good.pop() }
    }

    /// Fewer photos, if one of these has the sheet's edges elsewhere than the others.
    pub(super) fn without_off_edges(
        &self,
        shots: &[Shot],
        found: &[Found],
        edged: &Edged,
    ) -> Result<Option<Self>, Reason> {
        if self.kept.len() < 2 {
            return Ok(None);
        }
        let mut beyond = vec![0.0_f64; self.kept.len()];
        for line in &edged.survey.lines {
            let wall = edged.sides.doubts.iter().find(|(id, _)| *id == line.id);
            let wall_mm = WALL_SIGMAS * wall.map_or(0.0, |(_, sd)| *sd);
            for &(i, off_mm) in &line.off_mm {
                let over = off_mm.abs() - EDGE_OFF_MM - wall_mm;
                beyond[i] = beyond[i].max(over);
            }
        }
        let Some(worst) = (0..beyond.len())
            .filter(|&i| beyond[i] > 0.0)
            .max_by(|&a, &b| beyond[a].total_cmp(&beyond[b]))
        else {
            return Ok(None);
        };
        let why = "it has the sheet's edges elsewhere than the other photos: the sheet or a card was moved between them";
        let (kept, mut left_out) = (self.kept.clone(), self.left_out.clone());
        let kept = without(shots, found, kept, &mut left_out, worst, why);
        let known = (self.alone_px.clone(), self.ties.clone());
        settled(shots, found, kept, left_out, known).map(Some)
    }
}

/// The photos but the one at place `i`. Of two photos that contradict each other neither is the right one.
fn without(
    shots: &[Shot],
    found: &[Found],
    mut kept: Vec<usize>,
    left_out: &mut Vec<LeftOut>,
    mut i: usize,
    why: &str,
) -> Vec<usize> {
    let sure = kept.len() > 2;
    let text = if sure {
        format!("{} is left out: {why}", shots[kept[i]].name)
    } else {
        // The one that shows more stays, so that there is something to show.
        i = usize::from(corners(found, &kept[1..]) <= corners(found, &kept[..1]));
        let [a, b] = [0, 1].map(|i| &shots[kept[i]].name);
        format!(
            "the photos {a} and {b} contradict each other, so nothing can be proven, and {} is left out: the sheet or a card was moved between them; lay all still and take both again",
            shots[kept[i]].name
        )
    };
    left_out.push(LeftOut {
        photo: kept.remove(i),
        weight: if sure { Weight::Note } else { Weight::Blocks },
        reason: reason("photo-left-out", text),
    });
    kept
}

/// Checker corners in some of the photos.
fn corners(found: &[Found], photos: &[usize]) -> usize {
    let cards = photos.iter().flat_map(|&k| &found[k].cards);
    cards.map(|c| c.saddles.len()).sum()
}

/// Puts together the photos that share cards and agree on them.
pub(super) fn by_cards(
    shots: &[Shot],
    found: &[Found],
    sharp: Vec<Result<(), Reason>>,
) -> Result<Together, Reason> {
    let mut kept = Vec::new();
    let mut left_out: Vec<LeftOut> = Vec::new();
    let mut alone_px = vec![f64::NAN; shots.len()];
    for (photo, sharp) in sharp.into_iter().enumerate() {
        let twin = kept
            .iter()
            .find(|&&k: &&usize| shots[k].photo.grey == shots[photo].photo.grey);
        let alone = match (sharp, twin) {
            (Err(why), _) => Err(why),
            (_, Some(&twin)) => Err(reason(
                "photo-twice",
                format!("it is the same picture as {}", shots[twin].name),
            )),
            _ => solve(shots, found, &[photo], (&[], &[])).map_err(|e| reason("no-survey", e)),
        };
        match alone {
            Ok(survey) => {
                alone_px[photo] = survey.rms_px;
                kept.push(photo);
            }
            Err(why) if shots.len() == 1 => return Err(why),
            Err(why) => left_out.push(LeftOut {
                photo,
                weight: Weight::Note,
                reason: Reason {
                    code: why.code,
                    text: format!("{} is left out: {}", shots[photo].name, why.text),
                },
            }),
        }
    }
    if kept.is_empty() {
        // All for one reason or another; the first is told.
        let first = left_out.into_iter().next().map(|l| l.reason);
        return Err(first.unwrap_or_else(|| reason("no-photo", "no photo was given")));
    }
    settled(shots, found, kept, left_out, (alone_px, Vec::new()))
}

/// Of the photos those that hang together by cards and fit each other, and their survey.
fn settled(
    shots: &[Shot],
    found: &[Found],
    mut kept: Vec<usize>,
    mut left_out: Vec<LeftOut>,
    (alone_px, ties): (Vec<f64>, Vec<Tie>),
) -> Result<Together, Reason> {
    let mut apart = Vec::new();
    loop {
        let mut more;
        (kept, more) = linked(shots, (found, &ties), kept, &mut left_out);
        apart.append(&mut more);
        let solved = solve(shots, found, &kept, (&[], &ties));
        match solved {
            Err(e) if kept.len() < 2 => return Err(reason("no-survey", e)),
            Ok(survey) if kept.len() < 2 || over(&kept, &survey, &alone_px) <= 0.0 => {
                left_out.sort_by_key(|l| l.photo);
                return Ok(Together {
                    kept,
                    survey,
                    left_out,
                    apart,
                    ties,
                    alone_px,
                });
            }
            _ => {}
        }
        // The photo without which the others fit best. Where several leave the others in agreement the cards do not say
        // which was moved, and what little the misfits differ is noise: the last is taken, and the sheet's edges and
        // its size must then agree with the rest.
        let fit_without = |i: usize| {
            let others: Vec<usize> = kept.iter().copied().filter(|&k| k != kept[i]).collect();
            let survey = solve(shots, found, &others, (&[], &ties)).ok()?;
            Some((over(&others, &survey, &alone_px).max(0.0), i))
        };
        let worst = (0..kept.len())
            .filter_map(fit_without)
            .min_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
            .map_or(kept.len() - 1, |(_, i)| i);
        let why = "its cards do not lie as the other photos have them: a card or the sheet was moved between the photos";
        kept = without(shots, found, kept, &mut left_out, worst, why);
    }
}

/// By how much the photo that fits worst misses the common face more than it may, px.
fn over(kept: &[usize], survey: &Survey, alone_px: &[f64]) -> f64 {
    let of_photo = |(k, rms_px): (&usize, &f64)| rms_px - TIMES_WORSE * alone_px[*k] - WORSE_PX;
    let all = kept.iter().zip(&survey.photo_rms_px).map(of_photo);
    all.fold(f64::NEG_INFINITY, f64::max)
}

/// Of the photos those that hang together by cards or ties; the other groups are left out.
fn linked(
    shots: &[Shot],
    (found, ties): (&[Found], &[Tie]),
    kept: Vec<usize>,
    left_out: &mut Vec<LeftOut>,
) -> (Vec<usize>, Vec<Vec<usize>>) {
    let mut groups = groups(found, ties, &kept);
    // The largest counts, and of equal ones that which shows more corners.
    groups.sort_by_key(|g| std::cmp::Reverse((g.len(), corners(found, g))));
    let apart = groups.split_off(1.min(groups.len()));
    let kept = groups.pop().unwrap_or_default();
    for &photo in apart.iter().flatten() {
        left_out.push(LeftOut {
            photo,
            weight: Weight::Note,
            reason: reason(
                "photo-left-out",
                format!(
                    "{} is left out: it shares no card with the other photos; let neighbouring photos show a common card",
                    shots[photo].name
                ),
            ),
        });
    }
    (kept, apart)
}

/// Groups of photos that hang together by ties or card numbers; a number seen twice in one photo ties nothing.
fn groups(found: &[Found], ties: &[Tie], kept: &[usize]) -> Vec<Vec<usize>> {
    let numbers = |k: usize| {
        let cards = found[k].cards.iter();
        let usable = cards.filter(|c| c.saddles.len() >= survey::MIN_CARD_SADDLES);
        usable.map(|c| c.number)
    };
    let twice = |n: u16| {
        kept.iter()
            .any(|&k| numbers(k).filter(|&m| m == n).count() > 1)
    };
    let mut groups: Vec<Vec<usize>> = Vec::new();
    for &photo in kept {
        let tied = |group: &Vec<usize>| {
            let by_tie = |t: &Tie| {
                let [a, b] = t.cards.map(|(k, _)| k);
                (a == photo && group.contains(&b)) || (b == photo && group.contains(&a))
            };
            let by_card = |n| !twice(n) && group.iter().any(|&k| numbers(k).any(|m| m == n));
            ties.iter().any(by_tie) || numbers(photo).any(by_card)
        };
        let (with, mut rest): (Vec<_>, Vec<_>) = groups.into_iter().partition(tied);
        let mut joined: Vec<usize> = with.into_iter().flatten().collect();
        joined.push(photo);
        joined.sort_unstable();
        rest.push(joined);
        groups = rest;
    }
    groups
}

fn solve(
    shots: &[Shot],
    found: &[Found],
    kept: &[usize],
    (lines, ties): (&[StraightLine], &[Tie]),
) -> Result<Survey, survey::SurveyError> {
    let sightings: Vec<Sighting> = kept
        .iter()
        .enumerate()
        .map(|(camera, &k)| Sighting {
            cards: &found[k].cards,
            lines: if camera == 0 { lines } else { &[] },
            camera,
            ..Sighting::default()
        })
        .collect();
    let options = Options {
        ties: among(ties, kept),
        ..Options::default()
    };
    survey::survey_of(&sightings, &cameras(shots, kept), &options)
}

/// The ties between kept photos, these by their place in `kept`.
fn among(ties: &[Tie], kept: &[usize]) -> Vec<Tie> {
    let place = |(k, card): (usize, usize)| Some((kept.iter().position(|&j| j == k)?, card));
    let of_tie = |tie: &Tie| {
        let [a, b] = tie.cards.map(place);
        Some(Tie {
            cards: [a?, b?],
            ..*tie
        })
    };
    ties.iter().filter_map(of_tie).collect()
}
