//! A plan's edge distances, pitches and row distances against published figures.
//!
//! The aircraft's own drawing and approved data come before all of them; a finding says what a handbook
//! has, not what is airworthy. No plan is changed.
//!
//! | step | file |
//! | --- | --- |
//! | the figures and their sources | `published` |
//! | which rows make one seam; its distances | `layout` |
//! | distances against figures | this |
//! | the same for marks as found | `marked` |

mod layout;
mod marked;
mod published;

pub use layout::Layout;
pub use marked::{Marked, MarkedFinding, as_marked};
pub use published::{BOOKS, Book, Heads, Kind, RULES, Rows, Rule, Status};

use super::length::show_planned;
use super::{Head, Hole, Plan, drill};

/// The sentence that goes with every review.
pub const AUTHORITY: &str = "The aircraft's own drawing and approved data rule; these handbook figures are \
                             for when there is none.";

/// Rounding of lengths, mm: a distance of exactly 2 D is not under 2 D.
const ROUNDING_MM: f64 = 1e-6;

/// How grave a finding is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Gravity {
    /// Under a published least value, or two holes that cannot both be.
    Under,
    /// Beyond a published greatest or usual value.
    Beyond,
    /// Worth a look.
    Advice,
    /// Under a value that is only remembered from its document.
    Recalled,
}

/// One thing to look at.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// How grave.
    pub gravity: Gravity,
    /// What it is about: `row A`, `hole P1`.
    pub about: String,
    /// What was found, and the number that it is held against.
    pub text: String,
    /// The figures it is held against.
    pub rules: Vec<&'static Rule>,
}

impl Finding {
    /// The whole sentence, with document, paragraph and page.
    #[must_use]
    pub fn sentence(&self) -> String {
        cited(&format!("{}: {}", self.about, self.text), &self.rules)
    }
}

/// `text` with its sources. Figures that are only remembered are told as such.
fn cited(text: &str, rules: &[&'static Rule]) -> String {
    let join = |memory: bool| {
        let mut sources: Vec<&str> = Vec::new();
        for r in rules {
            if (r.status == Status::Memory) == memory && !sources.contains(&r.source) {
                sources.push(r.source);
            }
        }
        sources.join("; ")
    };
    let (read, remembered) = (join(false), join(true));
    let mut out = text.to_string();
    if !read.is_empty() {
        out.push_str(&format!(" per {read}"));
    }
    if !remembered.is_empty() {
        out.push_str(&format!(
            " (remembered from {remembered}; not verified, look it up)"
        ));
    }
    out
}

/// What a plan was found to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Review {
    /// Rivet diameter, mm; without it there are distances but no findings against figures.
    pub rivet_mm: Option<f64>,
    /// Distances of each run, in the plan's order.
    pub layouts: Vec<Layout>,
    /// Findings, the gravest first.
    pub findings: Vec<Finding>,
}

/// Holds a plan against the figures of `books`.
#[must_use]
pub fn review(plan: &Plan, books: &[Book]) -> Review {
    let layouts = layout::of(plan);
    let mut findings = Vec::new();
    if let Some(d) = plan.rivet_mm {
        let judge = Judge { plan, d, books };
        for run in &layouts {
            judge.run(run, &layouts, &mut findings);
        }
        judge.singles(&mut findings);
        if let Some(text) = plan
            .drill
            .as_ref()
            .and_then(|k| drill::advice(d, k, plan.units))
        {
            findings.push(Finding {
                gravity: Gravity::Advice,
                about: "rivet".into(),
                text,
                rules: Vec::new(),
            });
        }
        judge.crowding(&layouts, &mut findings);
        judge.thickness(&mut findings);
    }
    findings.sort_by_key(|f| f.gravity);
    Review {
        rivet_mm: plan.rivet_mm,
        layouts,
        findings,
    }
}

/// The figures of a kind that hold for this plan and a layout of `rows` rows.
fn applying(
    plan: &Plan,
    books: &[Book],
    kind: Kind,
    rows: usize,
) -> impl Iterator<Item = &'static Rule> {
    let flush = plan.head == Some(Head::Countersunk);
    let books = books.to_vec();
    RULES.iter().filter(move |r| {
        let head = match r.heads {
            Heads::Any => true,
            Heads::Protruding => !flush,
            Heads::Flush => flush,
        };
        r.kind == kind && head && r.rows.holds(rows) && books.contains(&r.book)
    })
}

/// The same figure of several documents makes one finding: figures by limit, the strictest first.
fn by_limit(mut rules: Vec<&'static Rule>) -> Vec<(f64, Vec<&'static Rule>)> {
    rules.sort_by(|a, b| b.multiple.total_cmp(&a.multiple));
    let mut groups: Vec<(f64, Vec<&'static Rule>)> = Vec::new();
    for rule in rules {
        match groups.last_mut() {
            Some((limit, group)) if *limit == rule.multiple => group.push(rule),
            _ => groups.push((rule.multiple, vec![rule])),
        }
    }
    groups
}

/// A row further from its edge than this, in rivet diameters, is in the middle of a skin (a rib's, a former's) and has no edge
/// distance: between it and the edge there is room for another row, at 10 D, the widest pitch of any of the documents.
const EDGE_ROW_D: f64 = 10.0;

struct Judge<'a> {
    plan: &'a Plan,
    d: f64,
    books: &'a [Book],
}

impl Judge<'_> {
    fn show(&self, mm: f64) -> String {
        format!(
            "{:.2} D, {}",
            mm / self.d,
            show_planned(mm, self.plan.units)
        )
    }

    /// Findings of a distance under the least value. Figures that are only remembered do not make it grave.
    fn least(
        &self,
        kind: Kind,
        (about, what): (&str, &str),
        (mm, rows): (f64, usize),
        findings: &mut Vec<Finding>,
    ) {
        let under = applying(self.plan, self.books, kind, rows)
            .filter(|r| mm < r.limit_mm(self.d) - ROUNDING_MM)
            .collect();
        for (limit, rules) in by_limit(under) {
            let recalled = rules.iter().all(|r| r.status == Status::Memory);
            findings.push(Finding {
                gravity: if recalled {
                    Gravity::Recalled
                } else {
                    Gravity::Under
                },
                about: about.into(),
                text: format!(
                    "{what} ({}) is under {limit} D{}",
                    self.show(mm),
                    for_rows(&rules, rows)
                ),
                rules,
            });
        }
    }

    /// Findings of a distance beyond a greatest value; remembered figures do not count.
    fn most(
        &self,
        kind: Kind,
        (about, what, word): (&str, &str, &str),
        (mm, rows): (f64, usize),
        findings: &mut Vec<Finding>,
    ) {
        let beyond = applying(self.plan, self.books, kind, rows)
            .filter(|r| r.status != Status::Memory)
            .filter(|r| mm > r.limit_mm(self.d) + ROUNDING_MM)
            .collect();
        for (limit, rules) in by_limit(beyond) {
            findings.push(Finding {
                gravity: Gravity::Beyond,
                about: about.into(),
                text: format!("{what} ({}) is {word} {limit} D", self.show(mm)),
                rules,
            });
        }
    }

    fn run(&self, run: &Layout, all: &[Layout], findings: &mut Vec<Finding>) {
        let about = format!("row {}", run.name);
        let rows = run.seam_rows;
        if let Some(mm) = run.edge_mm {
            self.least(
                Kind::EdgeLeast,
                (&about, "edge distance"),
                (mm, rows),
                findings,
            );
            if layout::is_outer(run, all) && mm <= EDGE_ROW_D * self.d {
                let what = (about.as_str(), "edge distance", "over");
                self.most(Kind::EdgeMost, what, (mm, rows), findings);
            }
        }
        if let Some(mm) = run.ends_mm.map(|e| e[0].min(e[1])) {
            self.least(
                Kind::EdgeLeast,
                (&about, "end distance"),
                (mm, rows),
                findings,
            );
        }
        if let Some([least, most]) = run.pitch_mm {
            self.least(Kind::PitchLeast, (&about, "pitch"), (least, rows), findings);
            let what = (about.as_str(), "pitch", "over");
            self.most(Kind::PitchMost, what, (most, rows), findings);
            let what = (about.as_str(), "pitch", "over the usual");
            self.most(Kind::PitchUsualHigh, what, (most, rows), findings);
        }
        // Two rows that are each other's nearest are told of once.
        let told = |other: &str| {
            let index = |name: &str| all.iter().position(|l| l.name == name);
            let back = all
                .iter()
                .any(|l| l.name == other && l.transverse.as_ref().is_some_and(|t| t.1 == run.name));
            back && index(other) < index(&run.name)
        };
        if let Some((mm, other)) = run.transverse.as_ref().filter(|t| !told(&t.1)) {
            let what = format!("distance from row {other}");
            self.least(
                Kind::TransverseLeast,
                (&about, &what),
                (*mm, rows),
                findings,
            );
        }
        if let Some(other) = run.side_by_side.as_ref().filter(|o| !told(o))
            && self.books.contains(&Book::Navy)
        {
            findings.push(Finding {
                gravity: Gravity::Advice,
                about,
                text: format!(
                    "stands side by side with row {other}; two or more rows are staggered, says NAVEDTRA \
                     14018, ch 13"
                ),
                rules: Vec::new(),
            });
        }
    }

    /// Edge distance of holes that belong to no row.
    fn singles(&self, findings: &mut Vec<Finding>) {
        for hole in self.plan.holes.iter().filter(|h| h.row.is_none()) {
            let mm = layout::nearest_edge(self.plan, hole.at);
            let about = format!("hole {}", hole.name);
            self.least(
                Kind::EdgeLeast,
                (&about, "edge distance"),
                (mm, 1),
                findings,
            );
        }
    }

    /// Holes too near to each other that are no neighbours of one row or seam: rows that meet at a
    /// corner or cross, single holes beside rows. The nearest pair of each two rows is told.
    fn crowding(&self, layouts: &[Layout], findings: &mut Vec<Finding>) {
        let plan = self.plan;
        let holes: Vec<&Hole> = plan.holes.iter().chain(&plan.drilled).collect();
        let group = |h: &Hole| h.row.clone().unwrap_or_else(|| h.name.clone());
        let seam = |h: &Hole| layouts.iter().find(|l| Some(&l.name) == h.row.as_ref());
        let reach = applying(plan, self.books, Kind::PitchLeast, 1)
            .filter(|r| r.status != Status::Memory)
            .map(|r| r.multiple)
            .fold(1.0, f64::max)
            * self.d;
        let mut nearest: Vec<([String; 2], f64, [&str; 2])> = Vec::new();
        for (i, a) in holes.iter().enumerate() {
            for b in &holes[i + 1..] {
                let mm = a.at.distance(b.at);
                if mm >= reach - ROUNDING_MM
                    || group(a) == group(b)
                    || layout::neighbours(plan, a, b)
                {
                    continue;
                }
                let one_seam = seam(a).zip(seam(b)).is_some_and(|(p, q)| p.seam == q.seam);
                if one_seam && mm >= self.d {
                    continue;
                }
                let mut key = [group(a), group(b)];
                key.sort();
                match nearest.iter_mut().find(|n| n.0 == key) {
                    Some(n) if mm < n.1 => (n.1, n.2) = (mm, [a.name.as_str(), b.name.as_str()]),
                    Some(_) => {}
                    None => nearest.push((key, mm, [a.name.as_str(), b.name.as_str()])),
                }
            }
        }
        for (_, mm, [a, b]) in nearest {
            let about = format!("holes {a} and {b}");
            if mm < self.d {
                findings.push(Finding {
                    gravity: Gravity::Under,
                    about,
                    text: format!(
                        "are {} apart: they would run into each other; is one rivet planned twice where \
                         rows cross?",
                        self.show(mm)
                    ),
                    rules: Vec::new(),
                });
            } else {
                let what = "spacing where two rows meet";
                self.least(Kind::PitchLeast, (&about, what), (mm, 1), findings);
            }
        }
    }

    /// A rivet far from the usual share of the sheet's thickness.
    fn thickness(&self, findings: &mut Vec<Finding>) {
        /// What still passes as "about 3": this project's reading.
        const ABOUT: std::ops::RangeInclusive<f64> = 2.0..=4.0;
        let Some(t) = self.plan.thickness_mm else {
            return;
        };
        let ratio = self.d / t;
        let rules: Vec<&'static Rule> =
            applying(self.plan, self.books, Kind::DiameterToThickness, 1).collect();
        if ABOUT.contains(&ratio) || rules.is_empty() {
            return;
        }
        findings.push(Finding {
            gravity: Gravity::Advice,
            about: "rivet".into(),
            text: format!(
                "its diameter is {ratio:.1} times the sheet's thickness; in a single-lap joint about 3 \
                 times"
            ),
            rules,
        });
    }
}

/// ", two rows" where the figure is for a number of rows.
fn for_rows(rules: &[&'static Rule], rows: usize) -> String {
    if rules.iter().all(|r| r.rows == Rows::Any) {
        return String::new();
    }
    match rows {
        1 => " for one row".into(),
        2 => " for two rows".into(),
        n => format!(" for {n} rows"),
    }
}
