//! Where to mark: running distances, each from the same datum, and what the divisions of a rule cost.

use super::length::{MM_PER_INCH, nearest_fraction, show_planned};
use super::{Datum, Edge, Path, Plan, Run, Units, from_datum};

/// Rounding that takes more of the tolerance than this is worth avoiding.
pub const TOLERABLE_SHARE: f64 = 0.25;

/// The division of a steel rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Division {
    /// 1/64 in.
    Sixtyfourth,
    /// 1/32 in.
    ThirtySecond,
    /// 0.5 mm.
    HalfMillimetre,
}

impl Division {
    /// Its name: `1/64 in`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sixtyfourth => "1/64 in",
            Self::ThirtySecond => "1/32 in",
            Self::HalfMillimetre => "0.5 mm",
        }
    }

    fn step_mm(self) -> f64 {
        match self {
            Self::Sixtyfourth => MM_PER_INCH / 64.0,
            Self::ThirtySecond => MM_PER_INCH / 32.0,
            Self::HalfMillimetre => 0.5,
        }
    }

    /// The nearest mark of the rule, as read, and its error: rounded less exact, mm. A plus lies too far
    /// from the datum.
    #[must_use]
    pub fn round(self, mm: f64) -> (String, f64) {
        let nearest = (mm / self.step_mm()).round() * self.step_mm();
        let text = match self {
            Self::Sixtyfourth => nearest_fraction(mm / MM_PER_INCH, 64),
            Self::ThirtySecond => nearest_fraction(mm / MM_PER_INCH, 32),
            Self::HalfMillimetre => format!("{nearest:.1}"),
        };
        (text, nearest - mm)
    }

    /// The largest error that this division brings to `stations`, mm.
    #[must_use]
    pub fn worst(self, stations: impl Iterator<Item = f64>) -> f64 {
        stations.map(|s| self.round(s).1.abs()).fold(0.0, f64::max)
    }
}

/// One line of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The hole.
    pub hole: String,
    /// Distance from the table's datum, mm.
    pub station_mm: f64,
    /// It belongs to another run, or is drilled already.
    pub shared: bool,
}

/// Distances to mark from one datum.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// What it is of: `row A`, `circle R, x`.
    pub title: String,
    /// Where it lies: `along the bottom edge, 5/16 in (7.9 mm) from it`.
    pub place: String,
    /// What every distance is measured from: `the left edge`.
    pub datum: String,
    /// The distances, in order.
    pub lines: Vec<Line>,
    /// The far edge and the length up to it, where the datum is an edge.
    far: Option<(Edge, f64)>,
}

impl Table {
    /// Distances from a hole: there is no far edge to measure from instead.
    pub(super) fn from_hole(title: String, place: String, datum: String, lines: Vec<Line>) -> Self {
        Self {
            title,
            place,
            datum,
            lines,
            far: None,
        }
    }

    /// The largest error that a division brings, mm.
    #[must_use]
    pub fn worst(&self, division: Division) -> f64 {
        division.worst(self.lines.iter().map(|l| l.station_mm))
    }

    /// What to do when the division takes more than a quarter of the tolerance; `None` when it does not.
    #[must_use]
    pub fn advice(&self, division: Division, plan: &Plan) -> Option<String> {
        let allowed = TOLERABLE_SHARE * plan.tolerance_mm;
        if self.worst(division) <= allowed {
            return None;
        }
        let stations = || self.lines.iter().map(|l| l.station_mm);
        let mut ways: Vec<(f64, String)> = Vec::new();
        if let Some((edge, length)) = self.far {
            let worst = division.worst(stations().map(|s| length - s));
            let way = format!(
                "measure from the {} edge instead, to {}",
                edge.name(),
                division.name()
            );
            ways.push((worst, way));
        }
        // A hole by itself has no others.
        if let [first, _, ..] = &self.lines[..] {
            let worst = division.worst(stations().map(|s| s - first.station_mm));
            let way = format!(
                "set {} once with care, and measure the others from it to {}",
                first.hole,
                division.name()
            );
            ways.push((worst, way));
        }
        for (other, way) in [
            (Division::Sixtyfourth, "use a rule with 64ths of an inch"),
            (Division::HalfMillimetre, "use a rule with half millimetres"),
        ] {
            if other != division {
                ways.push((self.worst(other), way.into()));
            }
        }
        // The order above is that of least change.
        let best = ways.into_iter().find(|(worst, _)| *worst <= allowed);
        Some(match best {
            Some((worst, way)) => {
                format!("{way} (at most {})", share(worst, plan.tolerance_mm))
            }
            None => "no rule shows these places well: set them in decimals, with a height gauge or calliper"
                .into(),
        })
    }
}

/// "19 % of the tolerance"; rounded up, so that it is never understated.
#[must_use]
pub fn share(error_mm: f64, tolerance_mm: f64) -> String {
    let percent = (100.0 * error_mm / tolerance_mm - 1e-6).ceil().max(0.0);
    // Which of two zeros the larger is, no rule says; the sum is the one without a sign.
    format!("{:.0} % of the tolerance", percent + 0.0)
}

/// The tables of a plan: one for each straight run, two (x and y) for each circle and for the single holes. Where two marks
/// are the plan's datum, all are counted from these, as the check does.
#[must_use]
pub fn tables(plan: &Plan) -> Vec<Table> {
    if let Some(tables) = from_datum::tables(plan) {
        return tables;
    }
    let mut tables = Vec::new();
    for run in &plan.runs {
        match &run.path {
            Path::Line { .. } => tables.push(straight(plan, run)),
            Path::Circle {
                centre, radius_mm, ..
            } => {
                let place = format!(
                    "on a circle of {} round x {}, y {}{}",
                    show_planned(2.0 * radius_mm, plan.units),
                    show_planned(centre.x, plan.units),
                    show_planned(centre.y, plan.units),
                    chord(plan, run).unwrap_or_default()
                );
                let stops: Vec<(String, [f64; 2], bool)> = run
                    .stops
                    .iter()
                    .map(|s| (s.hole.clone(), [s.at.x, s.at.y], s.shared))
                    .collect();
                tables.extend(both_ways(
                    plan,
                    &format!("circle {}", run.name),
                    &place,
                    &stops,
                ));
            }
        }
    }
    let singles: Vec<(String, [f64; 2], bool)> = plan
        .holes
        .iter()
        .filter(|h| h.row.is_none())
        .map(|h| (h.name.clone(), [h.at.x, h.at.y], false))
        .collect();
    if !singles.is_empty() {
        tables.extend(both_ways(plan, "single holes", "", &singles));
    }
    tables
}

/// How far dividers are set to step a circle off, where all its steps are alike: "; from hole to hole 1.531 in".
fn chord(plan: &Plan, run: &Run) -> Option<String> {
    /// Steps that agree this well are alike, mm: rounding of the plan's own figures.
    const ALIKE_MM: f64 = 1e-6;
    let steps: Vec<f64> = run
        .stops
        .windows(2)
        .map(|pair| pair[0].at.distance(pair[1].at))
        .collect();
    let first = *steps.first()?;
    let alike = steps.iter().all(|s| (s - first).abs() < ALIKE_MM);
    alike.then(|| {
        format!(
            "; from hole to hole straight across, as dividers are set, {}",
            show_planned(first, plan.units)
        )
    })
}

fn straight(plan: &Plan, run: &Run) -> Table {
    let level = plan.rows.iter().find(|r| r.name == run.name);
    let place = match level {
        Some(row) => format!(
            "along the {} edge, {} from it",
            row.along.name(),
            show_planned(row.edge_distance_mm, plan.units)
        ),
        None => match (run.stops.first(), run.stops.last()) {
            (Some(a), Some(b)) => format!("on a straight line from {} to {}", a.hole, b.hole),
            _ => String::new(),
        },
    };
    let (datum, far) = match &run.datum {
        Datum::Edge(edge) => {
            let far = match edge {
                Edge::Left => Some((Edge::Right, plan.width_mm)),
                Edge::Bottom => Some((Edge::Top, plan.height_mm)),
                _ => None,
            };
            (format!("the {} edge", edge.name()), far)
        }
        Datum::Hole(name) => (format!("hole {name}"), None),
        Datum::Start => match &run.path {
            Path::Line { origin, .. } => (
                format!(
                    "the point x {}, y {}",
                    show_planned(origin.x, plan.units),
                    show_planned(origin.y, plan.units)
                ),
                None,
            ),
            Path::Circle { .. } => (String::new(), None),
        },
    };
    Table {
        title: format!("row {}", run.name),
        place,
        datum,
        lines: run
            .stops
            .iter()
            .map(|s| Line {
                hole: s.hole.clone(),
                station_mm: s.station_mm,
                shared: s.shared,
            })
            .collect(),
        far,
    }
}

fn both_ways(
    plan: &Plan,
    title: &str,
    place: &str,
    stops: &[(String, [f64; 2], bool)],
) -> [Table; 2] {
    [
        (0, "across", Edge::Left, Edge::Right, plan.width_mm),
        (1, "up", Edge::Bottom, Edge::Top, plan.height_mm),
    ]
    .map(|(axis, way, near, far, length)| Table {
        title: format!("{title}, {way}"),
        place: place.to_string(),
        datum: format!("the {} edge", near.name()),
        lines: stops
            .iter()
            .map(|(hole, at, shared)| Line {
                hole: hole.clone(),
                station_mm: at[axis],
                shared: *shared,
            })
            .collect(),
        far: Some((far, length)),
    })
}

/// An error for people: thousandths of an inch, or hundredths of a millimetre, with its sign; `0` where
/// there is none.
#[must_use]
pub fn show_error(mm: f64, units: Units) -> String {
    let (text, zero) = match units {
        Units::Inch => (format!("{:+.4}", mm / MM_PER_INCH), "0.0000"),
        Units::Millimetre => (format!("{mm:+.3}"), "0.000"),
    };
    if &text[1..] == zero { "0".into() } else { text }
}
