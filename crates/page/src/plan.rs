//! Plans: starters, what a text means, drawings, other programs' files, and what photos will show.

use std::path::Path;

use punchready::card::print::Paper;
use punchready::coverage::{Foreseen, Known, Phone, foresee, lay};
use punchready::drafting;
use punchready::draw;
use punchready::exchange::{self, DxfChoice};
use punchready::plan::length::{self, MM_PER_INCH, show_planned};
use punchready::plan::rules::{self, AUTHORITY, BOOKS, Gravity};
use punchready::plan::stations::{Division, Table, share, show_error, tables};
use punchready::plan::{self, Fault, Hole, Plan, PlanError, Units};
use punchready::report::words::plain;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::{Answer, Refusal};

/// Largest circle of a drawing that is a hole, mm; tolerance where a file says none, mm: as the command line has them.
const LARGEST_HOLE_MM: f64 = 13.0;
const TOLERANCE_MM: f64 = 0.8;

pub(crate) fn starters() -> Value {
    plan::starters::STARTERS
        .iter()
        .map(|s| json!({"name": s.name, "about": s.about, "text": s.text}))
        .collect()
}

/// Reads a plan, or says in one sentence what is wrong first.
pub(crate) fn read(text: &str, name: &str) -> Result<Plan, Refusal> {
    plan::parse(text, Path::new(name)).map_err(|e| Refusal {
        error: e.to_string(),
        hint: None,
    })
}

/// A plan's text.
#[derive(Deserialize)]
pub(crate) struct Text {
    text: String,
}

impl Text {
    /// What the text means, what is wrong with it, and its tables as they are, for a form.
    pub(crate) fn check(self) -> Value {
        let tables: Value = toml::from_str::<toml::Table>(&self.text)
            .ok()
            .and_then(|t| serde_json::to_value(t).ok())
            .unwrap_or(Value::Null);
        match plan::parse(&self.text, Path::new("plan.toml")) {
            Ok(plan) => json!({"faults": [], "tables": tables, "plan": describe(&plan)}),
            Err(PlanError::Syntax { faults, .. } | PlanError::Invalid { faults, .. }) => {
                json!({"faults": faults.iter().map(fault).collect::<Value>(), "tables": tables, "plan": null})
            }
            Err(other) => json!({
                "faults": [{"line": 1, "column": 1, "key": "", "text": other.to_string(), "hint": null}],
                "tables": tables, "plan": null
            }),
        }
    }

    /// Where photos and cards go, and U at the holes.
    pub(crate) fn coverage(self) -> Answer {
        let plan = read(&self.text, "plan.toml")?;
        let told = |e| Refusal::told(&e);
        let phone = Phone::default();
        let layout = lay(&plan, &phone, None).map_err(told)?;
        let of = |bars, side| foresee(&plan, &phone, &layout, Known { bars, side }).map_err(told);
        let (unsaid, measured, sided) = (of(false, false)?, of(true, false)?, of(true, true)?);
        let cards = layout.cards.iter().map(|c| {
            json!({"number": c.number, "at": [c.at.x, c.at.y], "half": c.half_mm(), "on_face": c.on_face})
        });
        let foreseen = |f: &Foreseen| {
            let lost = f
                .expanded_mm
                .iter()
                .flatten()
                .filter(|u| **u > plan.tolerance_mm);
            json!({
                "least": f.best().map(|u| length::uncertainty(u, plan.units)),
                "most": f.worst().map(|(_, u)| length::uncertainty(u, plan.units)),
                "at": f.worst().map(|(h, _)| plan.holes[h].name.clone()),
                "lost": lost.count(),
                "unseen": f.expanded_mm.iter().filter(|u| u.is_none()).count(),
            })
        };
        Ok((
            json!({
                "height_mm": layout.height_mm,
                "px_per_mm": layout.px_per_mm,
                "long_side_along_x": layout.long_side_along_x,
                "photos": layout.photos.iter().map(|p| json!([p.x, p.y])).collect::<Value>(),
                "cards": cards.collect::<Value>(),
                "unit": length::unit_sign(plan.units),
                "unsaid": foreseen(&unsaid),
                "measured": foreseen(&measured),
                "sided": foreseen(&sided),
            }),
            Vec::new(),
        ))
    }
}

fn fault(f: &Fault) -> Value {
    json!({"line": f.line, "column": f.column, "key": f.key, "text": f.text, "hint": f.hint})
}

fn describe(plan: &Plan) -> Value {
    let hole = |h: &Hole| json!({"name": h.name, "row": h.row, "at": [h.at.x, h.at.y]});
    let review = rules::review(plan, &BOOKS);
    let findings = review.findings.iter().map(|f| {
        let gravity = match f.gravity {
            Gravity::Under => "under",
            Gravity::Beyond => "beyond",
            Gravity::Advice => "advice",
            Gravity::Recalled => "recalled",
        };
        json!({"gravity": gravity, "about": f.about, "text": plain(&f.sentence())})
    });
    json!({
        "title": plan.title,
        "units": match plan.units { Units::Inch => "in", Units::Millimetre => "mm" },
        "width": plan.width_mm,
        "height": plan.height_mm,
        "width_said": show_planned(plan.width_mm, plan.units),
        "height_said": show_planned(plan.height_mm, plan.units),
        "thickness": plan.thickness_mm,
        "rivet": plan.rivet_mm,
        "tolerance": plan.tolerance_mm,
        "tolerance_said": show_planned(plan.tolerance_mm, plan.units),
        "datum": plan.datum,
        "holes": plan.holes.iter().map(hole).collect::<Value>(),
        "drilled": plan.drilled.iter().map(hole).collect::<Value>(),
        "findings": findings.collect::<Value>(),
        "authority": AUTHORITY,
        "tables": tables(plan).iter().map(|t| table(t, plan)).collect::<Value>(),
    })
}

/// The stations of a row, as `plan stations` has them.
fn table(table: &Table, plan: &Plan) -> Value {
    let divisions = match plan.units {
        Units::Inch => [Division::Sixtyfourth, Division::ThirtySecond],
        Units::Millimetre => [Division::HalfMillimetre, Division::Sixtyfourth],
    };
    let lines = table.lines.iter().map(|line| {
        let [near, coarse] = divisions.map(|d| {
            let (text, off) = d.round(line.station_mm);
            json!({"text": text, "off": show_error(off, plan.units)})
        });
        json!({
            "hole": line.hole,
            "shared": line.shared,
            "exact": match plan.units {
                Units::Inch => format!("{:.4} in", line.station_mm / MM_PER_INCH),
                Units::Millimetre => format!("{:.2} mm", line.station_mm),
            },
            "mm": line.station_mm,
            "near": near,
            "coarse": coarse,
        })
    });
    json!({
        "title": table.title,
        "place": table.place,
        "datum": table.datum,
        "lines": lines.collect::<Value>(),
        "rounding": divisions.map(|d| {
            let worst = table.worst(d);
            json!({"name": d.name(), "share": share(worst, plan.tolerance_mm), "advice": table.advice(d, plan)})
        }),
    })
}

/// A list or drawing of another program.
#[derive(Deserialize)]
pub(crate) struct Import {
    name: String,
    /// `in` or `mm`, where the file does not say.
    units: Option<String>,
}

impl Import {
    /// The text of the plan that it makes, and what was taken and left out.
    pub(crate) fn run(self, files: Vec<Vec<u8>>) -> Answer {
        let bytes = files
            .first()
            .ok_or_else(|| Refusal::new("no file", "choose one"))?;
        let path = Path::new(&self.name);
        let units = match self.units.as_deref() {
            Some("in") => Some(Units::Inch),
            Some("mm") => Some(Units::Millimetre),
            _ => None,
        };
        let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        let found = if ending.as_deref() == Some("dxf") {
            let choice = DxfChoice {
                units,
                layers: Vec::new(),
                outline: None,
                largest_mm: LARGEST_HOLE_MM,
                sheet_mm: None,
                origin_mm: None,
            };
            exchange::from_dxf(bytes, &choice)
        } else {
            exchange::from_csv(bytes, units)
        };
        let no_units = matches!(found, Err(exchange::ExchangeError::NoUnits));
        let found = match found {
            Err(_) if no_units => return Ok((json!({"needs": "units"}), Vec::new())),
            other => other.map_err(|e| Refusal::told(&format!("{}: {e}", self.name)))?,
        };
        let title = path.file_stem().unwrap_or_default().to_string_lossy();
        // A list has no sheet: the form asks for its size, round what is there.
        let size = found.sheet_mm.unwrap_or_else(|| round_about(&found));
        let text = exchange::plan_text(
            &found,
            &title,
            size,
            found.tolerance_mm.unwrap_or(TOLERANCE_MM),
        );
        Ok((
            json!({
                "text": text,
                "sheet_known": found.sheet_mm.is_some(),
                "holes": found.holes.len(),
                "warnings": found.warnings,
                "taken": found.taken,
                "left_out": found.left_out,
            }),
            Vec::new(),
        ))
    }
}

/// A sheet that holds all holes, with as much room beyond the last as before the first, mm.
fn round_about(found: &exchange::Imported) -> [f64; 2] {
    [0, 1].map(|axis| {
        let all = found.holes.iter().chain(&found.drilled).map(|h| h.at[axis]);
        let (least, most) = all.fold((f64::INFINITY, 0.0_f64), |(a, b), x| (a.min(x), b.max(x)));
        most + least.clamp(1.0, most.max(1.0))
    })
}

/// The dimensioned drawing of a plan, to print.
#[derive(Deserialize)]
pub(crate) struct Drawing {
    text: String,
    paper: Paper,
}

impl Drawing {
    pub(crate) fn run(self) -> Answer {
        let plan = read(&self.text, "plan.toml")?;
        let page = drafting::drawing(&plan, self.paper);
        let pdf = draw::pdf(&plan.title, &[page]).map_err(|e| Refusal::told(&e))?;
        Ok((json!({}), vec![pdf]))
    }
}

/// A plan's holes as a list for another program.
#[derive(Deserialize)]
pub(crate) struct Export {
    text: String,
}

impl Export {
    pub(crate) fn run(self) -> Answer {
        let plan = read(&self.text, "plan.toml")?;
        Ok((json!({}), vec![exchange::to_csv(&plan).into_bytes()]))
    }
}
