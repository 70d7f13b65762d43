//! Each item of the rubric, judged by what was found.

use super::super::findings::{Findings, FoundHole, FoundRow};
use super::super::rubric::{Banded, Benefit, Ringed, Rubric};
use crate::plan::length::show_planned;
use crate::plan::{Edge, Plan, Row};
use crate::report::words::both;
use crate::verdict::{HoleState, StrayState};

/// A ruled line this near to a row's planned place belongs to it, mm; it is wrong, but it is that row's.
const NEAR_ROW_MM: f64 = 4.0;
/// Two lines of a row that run side by side over this share of the shorter one were ruled one after the other.
const SIDE_BY_SIDE: f64 = 0.3;

/// An item before it has a name.
pub(super) struct Judged {
    pub(super) share: Option<f64>,
    /// Share of the points that holes without a mark have cost.
    pub(super) unmarked: f64,
    pub(super) figure: String,
    pub(super) doubt: Option<String>,
}

pub(super) fn left(why: &str) -> Judged {
    Judged {
        share: None,
        unmarked: 0.0,
        figure: why.to_owned(),
        doubt: None,
    }
}

/// What could not be measured of an item.
#[derive(Debug, Clone, Copy, Default)]
struct Gaps {
    /// Not shown by the photo: it does not count.
    unseen: usize,
    /// Left out by the student: it counts as nothing. If it did not count, leaving out a mark that is off would pay.
    unmarked: usize,
}

/// One thing measured: what it is called, its deviation and U, mm.
struct Deviation {
    name: String,
    mm: f64,
    u_mm: f64,
}

pub(super) struct Judge<'a> {
    pub(super) found: &'a Findings,
    pub(super) plan: &'a Plan,
    pub(super) rubric: &'a Rubric,
}

impl Judge<'_> {
    /// Whether so much was not seen that the item is not for the photo to judge.
    fn too_little(&self, unseen: usize, all: usize) -> bool {
        unseen as f64 > self.rubric.doubt.leave_over.share() * all as f64
    }

    fn mm(&self, mm: f64) -> String {
        both(mm, self.plan.units)
    }

    /// The mean share over deviations and what was left out, with the largest named.
    fn by_bands(&self, item: &Banded, all: &[Deviation], gaps: Gaps, what: &str) -> Judged {
        let Gaps { unseen, unmarked } = gaps;
        let counts = all.len() + unmarked;
        if counts == 0 || self.too_little(unseen, counts + unseen) {
            return left("the photo does not show enough of it");
        }
        let student = self.rubric.doubt.benefit == Benefit::Student;
        let counted = |d: &Deviation| {
            let off = if student { d.u_mm } else { 0.0 };
            (d.mm - off).max(0.0)
        };
        let tolerance = self.plan.tolerance_mm;
        let share = all
            .iter()
            .map(|d| item.share(counted(d), tolerance))
            .sum::<f64>()
            / counts as f64;
        let mean = all.iter().map(|d| d.mm).sum::<f64>() / all.len() as f64;
        let mut figure = match all.iter().reduce(|a, b| if b.mm > a.mm { b } else { a }) {
            Some(d) if share < 1.0 && all.len() > 1 => format!(
                "{what} {} on average; most at {}, {}",
                self.mm(mean),
                d.name,
                self.mm(d.mm)
            ),
            Some(d) => format!("{what} {} at most ({})", self.mm(d.mm), d.name),
            None => "nothing to measure".to_owned(),
        };
        if unmarked > 0 {
            figure += &format!("; {unmarked} for want of a mark counted as nothing");
        }
        let mut doubts = Vec::new();
        let cost = |d: &&Deviation| item.share(d.mm, tolerance) < item.share(counted(d), tolerance);
        let helped: Vec<&Deviation> = all.iter().filter(cost).collect();
        if !helped.is_empty() {
            let u = helped.iter().map(|d| d.u_mm).fold(0.0, f64::max);
            doubts.push(format!(
                "uncertainty of up to {u:.2} mm counted for you ({} of {})",
                helped.len(),
                all.len()
            ));
        }
        if unseen > 0 {
            doubts.push(format!("{unseen} not visible, not counted"));
        }
        Judged {
            share: Some(share),
            unmarked: unmarked as f64 / counts as f64,
            figure,
            doubt: (!doubts.is_empty()).then(|| doubts.join("; ")),
        }
    }

    pub(super) fn presence(&self) -> Judged {
        let holes = &self.found.holes;
        let of = |state| -> Vec<&str> {
            let those = holes.iter().filter(|h| h.state == state);
            those.map(|h| h.name.as_str()).collect()
        };
        let (missing, cancelled) = (of(HoleState::Missing), of(HoleState::Cancelled));
        let unseen = of(HoleState::Unseen);
        if self.too_little(unseen.len(), holes.len()) {
            return left("the photo does not show enough of the holes");
        }
        let judged = holes.len() - unseen.len();
        let marked = judged - missing.len() - cancelled.len();
        let mut figure = format!("{marked} of {judged} holes");
        if !missing.is_empty() {
            figure += &format!("; no mark at {}", some(&missing));
        }
        if !cancelled.is_empty() {
            figure += &format!("; crossed out and not marked again: {}", some(&cancelled));
        }
        Judged {
            share: Some(marked as f64 / judged.max(1) as f64),
            unmarked: 1.0 - marked as f64 / judged.max(1) as f64,
            figure,
            doubt: (!unseen.is_empty())
                .then(|| format!("{} not judged from the photo, not counted", some(&unseen))),
        }
    }

    fn unseen_holes(&self) -> usize {
        let unknown = |h: &&FoundHole| {
            h.state == HoleState::Unseen || (h.live().is_some() && h.u_mm.is_none())
        };
        self.found.holes.iter().filter(unknown).count()
    }

    pub(super) fn position(&self) -> Judged {
        let all: Vec<Deviation> = self
            .found
            .holes
            .iter()
            .filter_map(|h| {
                Some(Deviation {
                    name: h.name.clone(),
                    mm: h.off_mm()?,
                    u_mm: h.u_mm?,
                })
            })
            .collect();
        let gaps = Gaps {
            unseen: self.unseen_holes(),
            unmarked: self.found.holes.iter().filter(|h| is_unmarked(h)).count(),
        };
        self.by_bands(&self.rubric.position, &all, gaps, "out by")
    }

    pub(super) fn spacing(&self) -> Judged {
        let mut gaps = Gaps::default();
        let mut all = Vec::new();
        for pair in self.found.holes.windows(2) {
            let [a, b] = pair else { continue };
            if a.row.is_none() || a.row != b.row {
                continue;
            }
            if is_unmarked(a) || is_unmarked(b) {
                gaps.unmarked += 1;
                continue;
            }
            if [a, b].iter().any(|h| h.state == HoleState::Unseen) {
                gaps.unseen += 1;
            }
            let (Some(p), Some(q), Some(up), Some(uq)) = (a.live(), b.live(), a.u_mm, b.u_mm)
            else {
                continue;
            };
            let apart = |p: [f64; 2], q: [f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
            all.push(Deviation {
                name: format!("{} to {}", a.name, b.name),
                mm: (apart(p, q) - apart(a.planned, b.planned)).abs(),
                // As if independent; what two marks share would only lessen it.
                u_mm: up.hypot(uq),
            });
        }
        self.by_bands(&self.rubric.spacing, &all, gaps, "out by")
    }

    pub(super) fn edge_distance(&self) -> Judged {
        let mut gaps = Gaps::default();
        let mut all = Vec::new();
        for row in &self.plan.rows {
            if self.has_gap(row) {
                gaps.unmarked += 2;
                continue;
            }
            let Some(figures) = self.figures(row) else {
                continue;
            };
            match (figures.edge_distance_mm, figures.u_mm) {
                (Some(at), Some(u_mm)) => {
                    for (mm, end) in at.into_iter().zip(["start", "end"]) {
                        all.push(Deviation {
                            name: format!("the {end} of row {}", row.name),
                            mm: (mm - row.edge_distance_mm).abs(),
                            u_mm,
                        });
                    }
                }
                _ => gaps.unseen += 2,
            }
        }
        self.by_bands(&self.rubric.edge_distance, &all, gaps, "out by")
    }

    fn figures(&self, row: &Row) -> Option<&FoundRow> {
        self.found.rows.iter().find(|r| r.row == row.name)
    }

    /// Whether a hole of the row was left out. What is measured of a whole row is then not of this one: without the
    /// mark that is out of line the others would be a better row than with it.
    fn has_gap(&self, row: &Row) -> bool {
        self.found.of_row(&row.name).any(is_unmarked)
    }

    pub(super) fn straight(&self) -> Judged {
        let mut gaps = Gaps::default();
        let mut all = Vec::new();
        for row in &self.plan.rows {
            if row.stations_mm.len() < 3 {
                continue;
            }
            if self.has_gap(row) {
                gaps.unmarked += 1;
                continue;
            }
            let Some(figures) = self.figures(row) else {
                continue;
            };
            let us: Vec<f64> = self
                .found
                .of_row(&row.name)
                .filter_map(|h| h.u_mm)
                .collect();
            match figures.straightness_mm {
                Some(mm) if !us.is_empty() => all.push(Deviation {
                    name: format!("row {}", row.name),
                    mm,
                    u_mm: us.iter().sum::<f64>() / us.len() as f64,
                }),
                _ => gaps.unseen += 1,
            }
        }
        self.by_bands(&self.rubric.lines.straight, &all, gaps, "bowed by")
    }

    pub(super) fn parallel(&self) -> Judged {
        let mut gaps = Gaps::default();
        let mut all = Vec::new();
        for row in &self.plan.rows {
            if self.has_gap(row) {
                gaps.unmarked += 1;
                continue;
            }
            let Some(figures) = self.figures(row) else {
                continue;
            };
            match (figures.edge_distance_mm, figures.u_mm) {
                (Some([start, end]), Some(u_mm)) => all.push(Deviation {
                    name: format!("row {}", row.name),
                    mm: (end - start).abs(),
                    u_mm,
                }),
                _ => gaps.unseen += 1,
            }
        }
        self.by_bands(&self.rubric.lines.parallel, &all, gaps, "running out by")
    }

    /// The ruled lines of a row: how far each reaches along it, its place across, its width, mm.
    fn lines_of(&self, row: &Row) -> Vec<([f64; 2], f64, f64)> {
        let across = |p: [f64; 2]| match row.along {
            Edge::Bottom => p[1],
            Edge::Top => self.plan.height_mm - p[1],
            Edge::Left => p[0],
            Edge::Right => self.plan.width_mm - p[0],
        };
        let along = |p: [f64; 2]| if row.along.is_level() { p[0] } else { p[1] };
        let near = |p| (across(p) - row.edge_distance_mm).abs() <= NEAR_ROW_MM;
        let lines = self
            .found
            .lines
            .iter()
            .filter(|l| l.ends.iter().all(|&p| near(p)));
        lines
            .map(|l| {
                let [a, b] = l.ends.map(along);
                let middle = (across(l.ends[0]) + across(l.ends[1])) / 2.0;
                ([a.min(b), a.max(b)], middle, l.width_mm)
            })
            // A short line across the row is of another row.
            .filter(|([from, to], ..)| to - from > 2.0 * NEAR_ROW_MM)
            .collect()
    }

    pub(super) fn thin(&self) -> Judged {
        // Half a pixel of either side of the line may be paper or ink.
        let u_mm = self.found.mm_per_px.unwrap_or(0.0);
        let mut all = Vec::new();
        let mut without = 0;
        for row in &self.plan.rows {
            let widest = self.lines_of(row).into_iter().map(|l| l.2).reduce(f64::max);
            match widest {
                Some(mm) => all.push(Deviation {
                    name: format!("row {}", row.name),
                    mm,
                    u_mm,
                }),
                None => without += 1,
            }
        }
        if all.is_empty() {
            return left("no ruled line was found in the photo");
        }
        let gaps = Gaps {
            unseen: without,
            unmarked: 0,
        };
        self.by_bands(&self.rubric.lines.thin, &all, gaps, "wide by")
    }

    pub(super) fn one_pass(&self) -> Judged {
        let (mut ruled, mut without) = (0_usize, 0_usize);
        let mut twice: Vec<&str> = Vec::new();
        for row in &self.plan.rows {
            let lines = self.lines_of(row);
            if lines.is_empty() {
                without += 1;
                continue;
            }
            ruled += 1;
            let doubled = lines.iter().enumerate().any(|(i, (a, ..))| {
                lines[..i].iter().any(|(b, ..)| {
                    let shared = a[1].min(b[1]) - a[0].max(b[0]);
                    shared > SIDE_BY_SIDE * (a[1] - a[0]).min(b[1] - b[0])
                })
            });
            if doubled {
                twice.push(&row.name);
            }
        }
        if ruled == 0 || self.too_little(without, ruled + without) {
            return left("no ruled line was found in the photo for enough of the rows");
        }
        let figure = if twice.is_empty() {
            "one line for each row".to_owned()
        } else {
            format!("two lines side by side for row {}", some(&twice))
        };
        Judged {
            share: Some(1.0 - twice.len() as f64 / ruled as f64),
            unmarked: 0.0,
            figure,
            doubt: (without > 0).then(|| format!("no line found for {without}, not counted")),
        }
    }

    pub(super) fn strays(&self) -> Judged {
        if 1.0 - self.found.seen > self.rubric.doubt.leave_over.share() {
            return left("the photo does not show enough of the face");
        }
        let of = |state| {
            self.found
                .strays
                .iter()
                .filter(|s| s.state == state)
                .count()
        };
        let (live, crossed) = (of(StrayState::Stray), of(StrayState::Cancelled));
        let unsure = of(StrayState::Unsure);
        let rule = &self.rubric.strays;
        let lost = live as f64 * rule.live.share() + crossed as f64 * rule.crossed_out.share();
        Judged {
            share: Some((1.0 - lost).max(0.0)),
            unmarked: 0.0,
            figure: match (live, crossed) {
                (0, 0) => "none".to_owned(),
                (l, 0) => format!("{l} left standing"),
                (0, c) => format!("none left standing; {c} crossed out in time"),
                (l, c) => format!("{l} left standing; {c} crossed out in time"),
            },
            doubt: (unsure > 0).then(|| {
                format!(
                    "{unsure} unclear mark{} not counted",
                    if unsure == 1 { "" } else { "s" }
                )
            }),
        }
    }

    pub(super) fn rings(&self) -> Judged {
        let asked = |h: &&FoundHole| match &self.rubric.rings.holes {
            Ringed::None => false,
            Ringed::All => true,
            Ringed::These(names) => names.contains(&h.name),
        };
        let all: Vec<&FoundHole> = self.found.holes.iter().filter(asked).collect();
        let counts = |h: &&&FoundHole| h.live().is_some() || is_unmarked(h);
        let seen: Vec<&&FoundHole> = all.iter().filter(counts).collect();
        let unseen = all.iter().filter(|h| h.state == HoleState::Unseen).count();
        if seen.is_empty() || self.too_little(unseen, all.len()) {
            return left("the photo shows no marks at the holes to be ringed");
        }
        let without: Vec<&str> = seen
            .iter()
            .filter(|h| !h.ringed || is_unmarked(h))
            .map(|h| h.name.as_str())
            .collect();
        let ringed = seen.len() - without.len();
        let mut figure = format!("{ringed} of {}", seen.len());
        if !without.is_empty() {
            figure += &format!("; none round {}", some(&without));
        }
        Judged {
            share: Some(ringed as f64 / seen.len() as f64),
            unmarked: 0.0,
            figure,
            doubt: (unseen > 0).then(|| format!("{unseen} not visible, not counted")),
        }
    }

    /// What fails at once: only what is surely so.
    pub(super) fn fails(&self) -> Vec<String> {
        let rule = &self.rubric.fail;
        let mut told = Vec::new();
        let live = |ringed: bool| {
            let strays = self
                .found
                .strays
                .iter()
                .filter(|s| s.state == StrayState::Stray);
            strays.filter(|s| s.ringed || !ringed).count()
        };
        if rule.ringed_stray && live(true) > 0 {
            told.push("a ringed mark where no hole is planned: it would be drilled".to_owned());
        }
        if let Some(most) = rule.live_strays_over.filter(|m| live(false) > *m as usize) {
            let n = live(false);
            told.push(format!("{n} extra marks left standing, {most} at the most"));
        }
        let missing: Vec<&str> = self
            .found
            .holes
            .iter()
            .filter(|h| matches!(h.state, HoleState::Missing | HoleState::Cancelled))
            .map(|h| h.name.as_str())
            .collect();
        if let Some(most) = rule.missing_over.filter(|m| missing.len() > *m as usize) {
            let n = missing.len();
            told.push(format!("{n} holes without a mark, {most} at the most"));
        }
        if let Some(reach) = rule.off_over {
            let most = reach.mm(self.plan.tolerance_mm);
            let surely = |h: &&FoundHole| h.off_mm().is_some_and(|mm| mm - h.u() > most);
            let off: Vec<&str> = self
                .found
                .holes
                .iter()
                .filter(surely)
                .map(|h| h.name.as_str())
                .collect();
            if !off.is_empty() {
                told.push(format!(
                    "{} further than {} from its place",
                    some(&off),
                    self.mm(most)
                ));
            }
        }
        if let (Some(least), Some(rivet)) = (rule.edge_under, self.plan.rivet_mm) {
            let least_mm = least.0 * rivet;
            let near: Vec<&str> = self
                .found
                .holes
                .iter()
                .filter(|h| self.edge_at_most(h).is_some_and(|mm| mm < least_mm))
                .map(|h| h.name.as_str())
                .collect();
            if !near.is_empty() {
                told.push(format!(
                    "{} nearer to an edge than {} rivet diameters, {}",
                    some(&near),
                    least.0,
                    show_planned(least_mm, self.plan.units)
                ));
            }
        }
        told
    }

    /// The most that the mark's distance from its nearest edge can be, U granted, mm.
    fn edge_at_most(&self, hole: &FoundHole) -> Option<f64> {
        let [x, y] = hole.live()?;
        let u = hole.u_mm?;
        let far = |side: Option<[f64; 2]>, at: f64| side.map(|[mm, us]| mm - at + u.hypot(us));
        let [width, height] = self.found.size_mm;
        [Some(x + u), Some(y + u), far(width, x), far(height, y)]
            .into_iter()
            .flatten()
            .reduce(f64::min)
    }
}

/// Whether a hole has surely no mark that counts.
fn is_unmarked(hole: &FoundHole) -> bool {
    matches!(hole.state, HoleState::Missing | HoleState::Cancelled)
}

/// "A1, A2, A3 and 4 more".
fn some(names: &[&str]) -> String {
    /// More names than this would fill the sheet.
    const SHOWN: usize = 4;
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        few if few.len() <= SHOWN => {
            let (last, first) = (few[few.len() - 1], &few[..few.len() - 1]);
            format!("{} and {last}", first.join(", "))
        }
        many => format!(
            "{} and {} more",
            many[..SHOWN - 1].join(", "),
            many.len() + 1 - SHOWN
        ),
    }
}
