//! The rubric: what is looked at, what it weighs, and what fails at once. A TOML file; [`STARTER`] is one with
//! comments.

mod values;

use std::fmt;
use std::path::Path;

use serde::Deserialize;

use crate::file;
use crate::plan::{Fault, Plan};
pub use values::{Band, Bands, Diameters, Percent, Reach, Ringed, Weight};

/// A rubric to start from, with comments.
pub const STARTER: &str = include_str!("starter.toml");
/// Largest rubric file, bytes.
const LARGEST_FILE: u64 = 1 << 18;

/// A rubric.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rubric {
    /// What it is called.
    #[serde(default)]
    pub title: String,
    /// What a score means.
    #[serde(default)]
    pub result: Outcome,
    /// What becomes of uncertainty.
    #[serde(default)]
    pub doubt: Doubt,
    /// Every hole has a mark.
    #[serde(default)]
    pub presence: Plain,
    /// Marks are in their places.
    #[serde(default)]
    pub position: Banded,
    /// Marks are as far from each other as planned.
    #[serde(default)]
    pub spacing: Banded,
    /// Rows are as far from their edges as planned.
    #[serde(default)]
    pub edge_distance: Banded,
    /// Rows and lines as drawn.
    #[serde(default)]
    pub lines: Lines,
    /// Marks where no hole is planned.
    #[serde(default)]
    pub strays: Strays,
    /// Rings asked for.
    #[serde(default)]
    pub rings: Rings,
    /// What the instructor gives by eye.
    #[serde(default, rename = "instructor")]
    pub by_eye: Vec<ByEye>,
    /// What fails at once.
    #[serde(default)]
    pub fail: Fails,
}

/// What a score means.
#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Outcome {
    /// Percent from which a piece passes.
    pub pass: Option<Percent>,
}

/// What becomes of uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Doubt {
    /// Who has the benefit of it.
    #[serde(rename = "for", default)]
    pub benefit: Benefit,
    /// Percent of an item that may be unseen before it is left to the instructor.
    #[serde(default = "leave_over")]
    pub leave_over: Percent,
}

impl Default for Doubt {
    fn default() -> Self {
        Self {
            benefit: Benefit::Student,
            leave_over: leave_over(),
        }
    }
}

fn leave_over() -> Percent {
    Percent(30.0)
}

/// Who has the benefit of a doubt.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Benefit {
    /// U is taken off every deviation.
    #[default]
    Student,
    /// Deviations count as measured.
    Measured,
}

/// An item with nothing but a weight.
#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plain {
    /// Points.
    pub weight: Weight,
}

/// An item whose points go by a deviation.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Banded {
    /// Points.
    pub weight: Weight,
    /// What a deviation is worth.
    pub bands: Bands,
    /// Steps instead of straight lines between the bands.
    #[serde(default)]
    pub steps: bool,
}

impl Banded {
    /// Share of the points, 0 to 1, for a deviation.
    #[must_use]
    pub fn share(&self, deviation_mm: f64, tolerance_mm: f64) -> f64 {
        let mut before: Option<(f64, f64)> = None;
        for band in &self.bands.0 {
            let (limit, share) = (band.up_to.mm(tolerance_mm), band.percent / 100.0);
            if deviation_mm <= limit {
                return match before {
                    Some((from, more)) if !self.steps && limit > from => {
                        more + (share - more) * (deviation_mm - from) / (limit - from)
                    }
                    _ => share,
                };
            }
            before = Some((limit, share));
        }
        0.0
    }
}

/// Quality of the lines.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Lines {
    /// Marks of a row lie on a straight line.
    pub straight: Banded,
    /// Rows run level with their edges.
    pub parallel: Banded,
    /// Ruled lines are thin.
    pub thin: Banded,
    /// Lines are ruled once.
    pub one_pass: Plain,
}

/// Marks where no hole is planned.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Strays {
    /// Points.
    pub weight: Weight,
    /// Percent of them that each costs that is left standing.
    #[serde(default = "all")]
    pub live: Percent,
    /// Percent of them that each costs that was crossed out in time.
    #[serde(default)]
    pub crossed_out: Percent,
}

impl Default for Strays {
    fn default() -> Self {
        Self {
            weight: Weight(0.0),
            live: all(),
            crossed_out: Percent(0.0),
        }
    }
}

fn all() -> Percent {
    Percent(100.0)
}

/// Rings asked for.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rings {
    /// Points.
    pub weight: Weight,
    /// Which holes.
    pub holes: Ringed,
}

/// An item that the instructor gives by eye.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ByEye {
    /// What it is called on the sheet.
    pub name: String,
    /// Points.
    pub weight: Weight,
}

/// What fails at once.
#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Fails {
    /// A ringed mark where no hole is planned.
    pub ringed_stray: bool,
    /// More live strays than this.
    pub live_strays_over: Option<u32>,
    /// More holes without a mark than this.
    pub missing_over: Option<u32>,
    /// A mark surely further off than this.
    pub off_over: Option<Reach>,
    /// A mark surely nearer to an edge than this, in rivet diameters.
    pub edge_under: Option<Diameters>,
}

/// A rubric that cannot be used: the file, and each fault with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum RubricError {
    /// The file cannot be read.
    Unreadable {
        /// The file.
        file: String,
        /// What the system says.
        why: String,
    },
    /// The file is no rubric that makes sense.
    Invalid {
        /// The file.
        file: String,
        /// What is wrong, and where.
        fault: Fault,
    },
}

impl fmt::Display for RubricError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { file, why } => write!(
                f,
                "{file}: cannot be read ({why}); expected a rubric; `punchready grade --new-rubric FILE` writes one to start from"
            ),
            Self::Invalid { file, fault } => {
                write!(f, "{file}:{}:{}: ", fault.line, fault.column)?;
                if !fault.key.is_empty() {
                    write!(f, "{}: ", fault.key)?;
                }
                write!(f, "{}", fault.text)?;
                if let Some(hint) = &fault.hint {
                    write!(f, "\n  hint: {hint}")?;
                }
                Ok(())
            }
        }
    }
}

impl std::error::Error for RubricError {}

/// Reads a rubric for a plan, whose holes it may name.
///
/// # Errors
/// [`RubricError`] with file, line, column and key.
pub fn read(path: &Path, plan: &Plan) -> Result<Rubric, RubricError> {
    let unreadable = |why: String| RubricError::Unreadable {
        file: path.display().to_string(),
        why,
    };
    let bytes = file::read(path, LARGEST_FILE)
        .map_err(|e| unreadable(e.to_string()))?
        .ok_or_else(|| unreadable(format!("it has more than {LARGEST_FILE} bytes")))?;
    let text = String::from_utf8(bytes).map_err(|_| unreadable("not UTF-8 text".to_owned()))?;
    parse(&text, path, plan)
}

/// Reads a rubric from its text.
///
/// # Errors
/// As [`read`].
pub fn parse(text: &str, path: &Path, plan: &Plan) -> Result<Rubric, RubricError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let invalid = |at: usize, text_of: String, hint: Option<String>| RubricError::Invalid {
        file: path.display().to_string(),
        fault: fault(text, at, text_of, hint),
    };
    let rubric: Rubric = toml::from_str(text).map_err(|e| {
        let at = e.span().map_or(0, |s| s.start);
        invalid(at, e.message().trim().replace('\n', "; "), None)
    })?;
    let find = |word: &str| text.find(word).unwrap_or(0);
    let all = rubric.weight();
    if all <= 0.0 {
        return Err(invalid(
            0,
            "nothing has a weight; expected at least one item with weight above 0".into(),
            Some("`punchready grade --new-rubric FILE` writes a rubric to start from".into()),
        ));
    }
    if let Ringed::These(names) = &rubric.rings.holes
        && let Some(name) = names
            .iter()
            .find(|n| !plan.holes.iter().any(|h| h.name == **n))
    {
        return Err(invalid(
            find(&format!("\"{name}\"")),
            format!("the plan has no hole \"{name}\"; expected names of holes to be marked"),
            None,
        ));
    }
    if rubric.rings.weight.0 > 0.0 && rubric.rings.holes == Ringed::None {
        return Err(invalid(
            find("[rings]"),
            "has a weight and asks for no ring; expected holes = \"all\" or a list of holes".into(),
            None,
        ));
    }
    if rubric.fail.edge_under.is_some() && plan.rivet_mm.is_none() {
        return Err(invalid(
            find("edge_under"),
            "counts in rivet diameters, and the plan gives none; expected [rivet] diameter in the plan".into(),
            None,
        ));
    }
    for (key, item) in rubric.banded() {
        if item.weight.0 > 0.0
            && let Some(i) = (1..item.bands.0.len()).find(|&i| {
                let limit = |k: usize| item.bands.0[k].up_to.mm(plan.tolerance_mm);
                limit(i) <= limit(i - 1)
            })
        {
            let header = find(&format!("[{key}]"));
            let at = text[header..].find("bands").map_or(header, |b| header + b);
            return Err(invalid(
                at,
                format!(
                    "band {} does not reach further than the one before it, at the plan's tolerance of {:.2} mm; expected growing distances",
                    i + 1,
                    plan.tolerance_mm
                ),
                None,
            ));
        }
    }
    Ok(rubric)
}

impl Rubric {
    /// The items that go by bands, with their tables' names.
    #[must_use]
    pub fn banded(&self) -> [(&'static str, &Banded); 6] {
        [
            ("position", &self.position),
            ("spacing", &self.spacing),
            ("edge_distance", &self.edge_distance),
            ("lines.straight", &self.lines.straight),
            ("lines.parallel", &self.lines.parallel),
            ("lines.thin", &self.lines.thin),
        ]
    }

    /// All points.
    #[must_use]
    pub fn weight(&self) -> f64 {
        self.banded().iter().map(|(_, b)| b.weight.0).sum::<f64>()
            + self.presence.weight.0
            + self.lines.one_pass.weight.0
            + self.strays.weight.0
            + self.rings.weight.0
            + self.by_eye.iter().map(|i| i.weight.0).sum::<f64>()
    }
}

/// A fault at a byte of the text, with the key that stands there.
fn fault(text: &str, byte: usize, told: String, hint: Option<String>) -> Fault {
    let before = text.get(..byte).unwrap_or(text);
    let start = before.rfind('\n').map_or(0, |n| n + 1);
    let whole = text[start..].lines().next().unwrap_or("");
    let own = whole.split_once('=').map(|(key, _)| key.trim());
    let header = |line: &str| {
        let line = line.trim();
        let name = line.strip_prefix('[')?.split(']').next()?;
        Some(name.trim_start_matches('[').trim().to_owned())
    };
    let table = header(whole).or_else(|| before.lines().rev().find_map(header));
    let key = match (table, own.filter(|k| !k.is_empty() && !k.starts_with('#'))) {
        (Some(t), Some(k)) => format!("[{t}] {k}"),
        (Some(t), None) => format!("[{t}]"),
        (None, Some(k)) => k.to_owned(),
        (None, None) => String::new(),
    };
    Fault {
        line: 1 + before.matches('\n').count(),
        column: 1 + before[start..].chars().count(),
        key,
        text: told,
        hint,
    }
}
