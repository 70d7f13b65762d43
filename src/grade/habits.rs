//! What to change first: the slips behind what was lost, the costliest first, in plain and kind words.

use super::findings::Findings;
use super::score::Score;
use crate::frame::Point;
use crate::ink::RuledLine;
use crate::plan::{Plan, Row};
use crate::report::words::both;
use crate::sheet::Outline;
use crate::verdict::cause::{Cause, Slip, of_row};
use crate::verdict::decision_rule::COVERAGE_FACTOR;
use crate::verdict::{HoleResult, HoleState, Stray, StrayState};

/// Habits told to a student.
const TOLD: usize = 2;
/// A slip that cost less than this share of all points is not worth a word.
const WORTH: f64 = 0.005;
/// A slip that moves no mark by this share of the tolerance is no habit to speak of.
const NOTABLE: f64 = 0.4;

/// What sort of slip: for counting over the class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Habit {
    /// Holes without a mark.
    Missing,
    /// Marks where no hole is planned, left standing.
    LiveStrays,
    /// Stepped from mark to mark.
    Steps,
    /// The rule was not started from the edge.
    Start,
    /// Measured from the rule's 1 in line.
    InchLine,
    /// Measured from the wrong end.
    OtherEnd,
    /// Another unit than the drawing's.
    Unit,
    /// One step miscounted.
    Miscounted,
    /// The row's line too near to its edge, or too far.
    Beside,
    /// The row's line not level with its edge.
    Slant,
    /// Single marks out of place without a pattern.
    Scatter,
    /// Lines too thick.
    Thick,
    /// Lines ruled twice.
    Twice,
    /// Rings left out.
    NoRings,
}

impl Habit {
    /// What the instructor reads.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Missing => "holes left unmarked",
            Self::LiveStrays => "extra marks left standing",
            Self::Steps => "stepped from mark to mark: errors add up along the row",
            Self::Start => "row started from another place than the edge",
            Self::InchLine => "row an inch out: measured from the 1 in line",
            Self::OtherEnd => "row measured from the wrong end",
            Self::Unit => "row laid out in another unit",
            Self::Miscounted => "one step of a row miscounted",
            Self::Beside => "row too near to its edge or too far",
            Self::Slant => "row not level with its edge",
            Self::Scatter => "single marks out of place",
            Self::Thick => "thick lines",
            Self::Twice => "lines ruled twice",
            Self::NoRings => "rings left out",
        }
    }
}

/// A slip that was found, and what it is to change.
#[derive(Debug, Clone, PartialEq)]
pub struct Slipped {
    /// What sort.
    pub habit: Habit,
    /// The row, where it is one row's.
    pub row: Option<String>,
    /// What it cost, points.
    pub cost: f64,
    /// What was seen and what to do, for the student.
    pub advice: String,
}

/// All slips of a piece, the costliest first.
#[must_use]
pub fn slips(found: &Findings, plan: &Plan, score: &Score) -> Vec<Slipped> {
    let lost = |key: &str| -> f64 {
        let items = score.items.iter().filter(|i| i.key == key);
        items.filter_map(|i| Some(i.weight - i.points()?)).sum()
    };
    let mut all: Vec<Slipped> = Vec::new();
    let mut add = |habit, cost: f64, advice: String| {
        if cost > 0.0 {
            all.push(Slipped {
                habit,
                row: None,
                cost,
                advice,
            });
        }
    };
    let none = |state| found.holes.iter().filter(move |h| h.state == state).count();
    let missing = none(HoleState::Missing) + none(HoleState::Cancelled);
    let unmarked = |of: &dyn Fn(&str) -> bool| -> f64 {
        let items = score.items.iter().filter(|i| of(i.key));
        items.map(|i| i.weight * i.unmarked).sum()
    };
    add(
        Habit::Missing,
        unmarked(&|_| true),
        format!(
            "{} no mark. Before you put the pen away, count each row against the drawing, hole by hole.",
            if missing == 1 {
                "One hole has".to_owned()
            } else {
                format!("{missing} holes have")
            }
        ),
    );
    let live = found
        .strays
        .iter()
        .filter(|s| s.state == StrayState::Stray)
        .count();
    add(
        Habit::LiveStrays,
        if live > 0 { lost("strays") } else { 0.0 },
        format!(
            "{} left standing. Strike out a wrong mark with a large X the moment you see it: a mark that stands gets drilled.",
            if live == 1 {
                "One extra mark was".to_owned()
            } else {
                format!("{live} extra marks were")
            }
        ),
    );
    add(
        Habit::Thick,
        lost("lines.thin"),
        "The ruled lines are thick. Sharpen the pencil or take a finer pen: the middle of a thin line is easier to hit.".into(),
    );
    add(
        Habit::Twice,
        lost("lines.one_pass"),
        "A line was ruled twice. Hold the rule down with spread fingers and draw once, without going back.".into(),
    );
    add(
        Habit::NoRings,
        lost("rings"),
        "Rings are missing. Ring each hole that is asked for as soon as its mark is checked."
            .into(),
    );
    let caused = causes(found, plan);
    const OF_PLACES: [&str; 5] = [
        "position",
        "spacing",
        "edge_distance",
        "lines.parallel",
        "lines.straight",
    ];
    let placed =
        OF_PLACES.map(lost).iter().sum::<f64>() - unmarked(&|key| OF_PLACES.contains(&key));
    let share = shares(found, plan, &caused);
    for caused in caused {
        // The points lost to places are shared out by how much each row adds to what is out of place.
        let cost = placed * share(Some(&caused.row.name));
        if caused.reach_mm >= NOTABLE * plan.tolerance_mm && cost > 0.0 {
            all.push(slipped(&caused, cost, plan));
        }
    }
    let scattered = placed * share(None);
    if scattered > 0.0 && worst_off(found).is_some_and(|mm| mm > NOTABLE * plan.tolerance_mm) {
        all.push(Slipped {
            habit: Habit::Scatter,
            row: None,
            cost: scattered,
            advice: "Single marks are out of place without a pattern. Lay the rule on its edge so that its divisions touch \
                     the metal, look straight down on it, and set the mark with a sharp point."
                .into(),
        });
    }
    let least = WORTH * (score.judged + score.left);
    all.retain(|s| s.cost >= least);
    all.sort_by(|a, b| {
        b.cost
            .total_cmp(&a.cost)
            .then(a.habit.cmp(&b.habit))
            .then(a.row.cmp(&b.row))
    });
    all
}

/// The two to change first, each sort of slip once.
#[must_use]
pub fn first(slips: &[Slipped]) -> Vec<&Slipped> {
    let mut told: Vec<&Slipped> = Vec::new();
    for slip in slips {
        if told.len() < TOLD && told.iter().all(|t| t.habit != slip.habit) {
            told.push(slip);
        }
    }
    told
}

fn worst_off(found: &Findings) -> Option<f64> {
    let off = found.holes.iter().filter_map(|h| Some(h.off_mm()? - h.u()));
    off.reduce(f64::max)
}

/// A row that has a slip.
struct Caused<'p> {
    row: &'p Row,
    cause: Cause,
    /// How far it moves a mark at the most, mm.
    reach_mm: f64,
    /// The hole from which it was stepped, where that is a later one than the first.
    from: Option<&'p str>,
}

/// What explains each row that has a slip.
fn causes<'p>(found: &Findings, plan: &'p Plan) -> Vec<Caused<'p>> {
    let told = Told::of(found);
    plan.rows
        .iter()
        .filter_map(|row| {
            let (cause, told_from) = told.cause(plan, row)?;
            let last = row.stations_mm.last().copied().unwrap_or(0.0);
            let mut from = None;
            let reach_mm = match cause.slip {
                Slip::Steps(mm) => mm.abs() * (row.stations_mm.len() - 1) as f64,
                Slip::StepsFrom(k, mm) => {
                    let own: Vec<&str> = plan
                        .holes
                        .iter()
                        .filter(|h| h.row.as_ref() == Some(&row.name))
                        .map(|h| h.name.as_str())
                        .collect();
                    let at = own.iter().position(|n| Some(n) == told_from.get(k - 1))?;
                    from = Some(own[at]);
                    mm.abs() * (own.len() - 1 - at) as f64
                }
                Slip::Start(mm)
                | Slip::InchLine(mm)
                | Slip::From(_, mm)
                | Slip::Beside(mm)
                | Slip::LineSide(mm)
                | Slip::Slant(mm) => mm.abs(),
                Slip::Moved(along, across) => along.hypot(across),
                Slip::OtherEnd | Slip::Mirrored | Slip::Unit(_) | Slip::InchAs(_) => last,
                // The print of the card is not the student's.
                Slip::Scale(_) => return None,
            };
            Some(Caused {
                row,
                cause,
                reach_mm,
                from,
            })
        })
        .collect()
}

/// The findings as the causes of rows are looked for in them.
struct Told {
    holes: Vec<HoleResult>,
    strays: Vec<Stray>,
    lines: Vec<RuledLine>,
    outline: Outline,
}

impl Told {
    fn of(found: &Findings) -> Self {
        let place = |[x, y]: [f64; 2]| Point::new(x, y);
        let [width_mm, height_mm] = found
            .size_mm
            .map(|side| side.map(|[mm, u]| [mm, u / COVERAGE_FACTOR]));
        Self {
            holes: found
                .holes
                .iter()
                .map(|h| HoleResult {
                    name: h.name.clone(),
                    row: h.row.clone(),
                    planned: place(h.planned),
                    found: h.found.map(place),
                    uncertainty_mm: h.u_mm,
                    state: h.state,
                    unclear: false,
                    ringed: h.ringed,
                    kind: None,
                    probability: None,
                })
                .collect(),
            strays: found
                .strays
                .iter()
                .map(|s| Stray {
                    at: place(s.at),
                    uncertainty_mm: s.u_mm,
                    ringed: s.ringed,
                    state: s.state,
                    size_mm: 0.0,
                    why: None,
                    probability: None,
                })
                .collect(),
            lines: found
                .lines
                .iter()
                .map(|l| RuledLine {
                    ends: l.ends.map(place),
                    width_mm: l.width_mm,
                    u_mm: 0.0,
                })
                .collect(),
            outline: Outline {
                edges: Vec::new(),
                width_mm,
                height_mm,
            },
        }
    }

    /// What explains a row, and the names of the holes it was told from.
    fn cause(&self, plan: &Plan, row: &Row) -> Option<(Cause, Vec<&str>)> {
        let marks = (&self.holes[..], &self.strays[..]);
        of_row(plan, row, marks, &self.lines, &self.outline)
    }
}

/// How much of what is out of place is each explained row's, and how much is of all the rest (`None`): by the
/// squares of what is beyond doubt.
fn shares<'a>(
    found: &'a Findings,
    plan: &Plan,
    caused: &[Caused],
) -> impl Fn(Option<&str>) -> f64 + use<'a> {
    let explained: Vec<String> = caused
        .iter()
        .filter(|c| c.reach_mm >= NOTABLE * plan.tolerance_mm)
        .map(|c| c.row.name.clone())
        .collect();
    let square = |h: &super::findings::FoundHole| {
        let mm = h.off_mm().map_or(0.0, |mm| mm - h.u());
        if mm > 0.0 { mm * mm } else { 0.0 }
    };
    let all: f64 = found.holes.iter().map(square).sum();
    move |row| {
        let is_of = |name: Option<&str>| match row {
            Some(wanted) => name == Some(wanted),
            None => name.is_none_or(|n| explained.iter().all(|e| e != n)),
        };
        let sum: f64 = found
            .holes
            .iter()
            .filter(|h| is_of(h.row.as_deref()))
            .map(square)
            .sum();
        if all > 0.0 { sum / all } else { 0.0 }
    }
}

fn slipped(caused: &Caused, cost: f64, plan: &Plan) -> Slipped {
    let name = &caused.row.name;
    let mm = |v: f64| both(v.abs(), plan.units);
    let (habit, advice) = match caused.cause.slip {
        Slip::Steps(_) | Slip::StepsFrom(..) => (
            Habit::Steps,
            format!(
                "In row {name} {}small errors add up, to {} at its last hole. Leave the rule where it is, with its end on the edge, \
                 and mark every hole from there instead of stepping from mark to mark.",
                caused.from.map_or_else(String::new, |hole| format!(
                    "all is well up to {hole}, and from there "
                )),
                mm(caused.reach_mm)
            ),
        ),
        Slip::Start(v) => (
            Habit::Start,
            format!(
                "All of row {name} lies {} {}. Butt the rule against a block held on the end edge, so that it starts at zero.",
                mm(v),
                if v > 0.0 { "too far along" } else { "short" }
            ),
        ),
        Slip::InchLine(_) => (
            Habit::InchLine,
            format!(
                "All of row {name} is one inch out. When you measure from the rule's 1 in line, say the inch aloud and take it off each time."
            ),
        ),
        Slip::OtherEnd | Slip::Mirrored => (
            Habit::OtherEnd,
            format!(
                "Row {name} fits when measured from its other end. Put a small arrow at the end to start from before the first mark."
            ),
        ),
        Slip::Unit(_) | Slip::InchAs(_) => (
            Habit::Unit,
            format!(
                "Row {name} fits when its distances are taken in another unit. Before the first mark, say aloud which unit the drawing has and which side of the rule you read."
            ),
        ),
        Slip::Moved(along, across) => (
            Habit::Start,
            format!(
                "All of row {name} lies {} out in one direction. Find the corner that the drawing measures from, and butt both rules against its edges.",
                mm(along.hypot(across))
            ),
        ),
        Slip::LineSide(v) => (
            Habit::Beside,
            format!(
                "Row {name} stands on the wrong side of its ruled line, {} out. Put a small tick on the side of the line that counts, and set the marks there.",
                mm(v)
            ),
        ),
        Slip::From(_, v) => (
            Habit::Miscounted,
            format!(
                "In row {name} one step went wrong by {}, and all marks after it with it. Write the running distances down first, and tick each off.",
                mm(v)
            ),
        ),
        // A wrong scale is no slip of the hand, and was left out before.
        Slip::Beside(v) | Slip::Scale(v) => (
            Habit::Beside,
            format!(
                "Row {name} lies {} too {} its edge. Set a square or a marking gauge to the distance once, and check it against the rule.",
                mm(v),
                if v > 0.0 { "far from" } else { "near to" }
            ),
        ),
        Slip::Slant(v) => (
            Habit::Slant,
            format!(
                "Row {name} runs {} out of level from end to end. Measure its distance from the edge at both ends, then join the two points.",
                mm(v)
            ),
        ),
    };
    Slipped {
        habit,
        row: Some(name.clone()),
        cost,
        advice,
    }
}
