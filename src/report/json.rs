//! The result for programs: format `punchready.check/1`. All lengths are mm in the sheet's frame.

use serde_json::{Map, Value, json};

use super::{Report, answers, unseen, words};
use crate::check::Budget;
use crate::decide::{Decided, Says};
use crate::frame::{Point, Sheet};
use crate::ink::{Blind, Doubt};
use crate::plan::Units;
use crate::verdict::{HoleResult, RowFigures, Stray};

/// Name and version of the format. A field may be added without a new number; none is renamed,
/// removed, or given another meaning without one.
pub const FORMAT: &str = "punchready.check/1";

/// The whole result as JSON text, one hole, stray, row or card a line.
#[must_use]
pub fn to_string(r: &Report) -> String {
    let v = r.verdict;
    let reasons: Vec<Value> = v
        .reasons
        .iter()
        .map(|x| json!({"code": x.code, "text": x.text}))
        .collect();
    let mut top = Map::new();
    top.insert("format".into(), json!(FORMAT));
    top.insert("verdict".into(), json!(words::decision_code(v.decision)));
    top.insert("reasons".into(), Value::Array(reasons));
    top.insert("holes".into(), holes(r));
    let names = answers::names(r);
    let strays = v.strays.iter().zip(&names);
    let strays = strays.map(|(s, n)| stray(s, n.as_deref()));
    top.insert("strays".into(), strays.collect());
    top.insert(
        "lines".into(),
        v.rows.iter().map(|x| row(x, r.plan.rivet_mm)).collect(),
    );
    top.insert("seen".into(), seen(r));
    top.insert("survey".into(), survey(r));
    top.insert("photos".into(), photos(r));
    top.insert("bench".into(), json!(v.bench));
    top.insert("notes".into(), json!(r.notes));
    let advice = r.advice.iter();
    let advice = advice.map(|a| json!({"cause": a.cause, "holes": a.holes, "text": a.text}));
    top.insert("coaching".into(), advice.collect());
    top.insert(
        "decided".into(),
        r.person.decided.iter().map(decided).collect(),
    );
    top.insert("plan".into(), plan(r));
    lay_out(&top)
}

fn holes(r: &Report) -> Value {
    let budgets = r.budgets.iter().copied().chain(std::iter::repeat(None));
    let holes = r.verdict.holes.iter().zip(budgets);
    holes.map(|(h, b)| hole(h, b)).collect()
}

fn hole(h: &HoleResult, budget: Option<Budget>) -> Value {
    let offset = h.found.map(|f| f - h.planned);
    json!({
        "name": h.name,
        "row": h.row,
        "planned": place(h.planned),
        "found": h.found.map(place),
        "offset": offset.map(|o| json!([mm(o.x), mm(o.y)])),
        "distance": offset.map(|o| mm(o.norm())),
        "uncertainty": h.found.and(h.uncertainty_mm).map(mm),
        "state": words::hole_code(h.state),
        "ringed": h.ringed,
        "kind": h.kind.map(words::kind_word),
        "budget": budget.map(|b| {
            let parts = b.parts().into_iter();
            parts.map(|(name, u)| (name.to_owned(), rounded(u, 1e5))).collect::<Map<_, _>>()
        }),
        "probability": probability(h.probability),
        "word": words::hole_word(h),
    })
}

fn stray(s: &Stray, name: Option<&str>) -> Value {
    json!({
        "at": place(s.at),
        "uncertainty": mm(s.uncertainty_mm),
        "ringed": s.ringed,
        "state": words::stray_code(s.state),
        "size": mm(s.size_mm),
        "why": s.why.map(Doubt::text),
        "cause": s.why.map(Doubt::code),
        "name": name,
        "probability": probability(s.probability),
        "word": words::stray_word(s),
    })
}

/// To a thousandth, and never 1: nothing read from a photo is certain.
fn probability(p: Option<f64>) -> Value {
    p.map_or(Value::Null, |p| rounded(p.min(0.999), 1e3))
}

/// What a person said of ink that the program could not name.
fn decided(d: &Decided) -> Value {
    json!({
        "name": d.name,
        "by": "person",
        "answer": d.says.word(),
        "at": place(d.at),
        "uncertainty": mm(d.uncertainty_mm),
        "place_by": match d.says {
            Says::Mark(Some(_)) => "rule",
            _ => "ink",
        },
        "size": mm(d.size_mm),
        "why": d.why.text(),
        "cause": d.why.code(),
    })
}

fn row(x: &RowFigures, rivet_mm: Option<f64>) -> Value {
    let in_d = rivet_mm.map(|d| {
        let of = |mm: f64| rounded(mm / d, 1e3);
        json!({
            "edge_distance": x.edge_distance_mm.map(|e| e.map(of)),
            "uncertainty": x.uncertainty_mm.map(of),
            "pitch": x.pitch_mm.map(|p| p.map(of)),
            "pitch_uncertainty": x.pitch_uncertainty_mm.map(of),
        })
    });
    json!({
        "row": x.row,
        "edge_distance": x.edge_distance_mm.map(|d| d.map(mm)),
        "angle_deg": x.angle_deg.map(|a| rounded(a, 1e4)),
        "uncertainty": x.uncertainty_mm.map(mm),
        "pitch": x.pitch_mm.map(|p| p.map(mm)),
        "pitch_uncertainty": x.pitch_uncertainty_mm.map(mm),
        "in_diameters": in_d,
        "straightness": x.straightness_mm.map(mm),
    })
}

fn seen(r: &Report) -> Value {
    let unseen: Vec<Value> = unseen::polygons(r.seen, r.plan)
        .into_iter()
        .map(|p| p.into_iter().map(place).collect())
        .collect();
    // Share of the sheet that each cause hides.
    let cells = r.seen.blind.len().max(1) as f64;
    let causes: Map<String, Value> = Blind::ALL
        .iter()
        .filter_map(|c| {
            let n = r.seen.blind.iter().filter(|b| *b == &Some(*c)).count();
            (n > 0).then(|| (c.code().to_owned(), rounded(n as f64 / cells, 1e6)))
        })
        .collect();
    json!({"fraction": rounded(r.seen.fraction(), 1e6), "unseen": unseen, "causes": causes})
}

fn survey(r: &Report) -> Value {
    let s = &r.survey;
    let cards: Vec<Value> = s
        .cards
        .iter()
        .map(|c| {
            json!({"number": c.number, "saddles": c.saddles,
                   "rms_px": c.rms_px.map(|x| rounded(x, 1e4)),
                   "used": c.used, "note": c.note})
        })
        .collect();
    // Where nothing could be measured, null: a zero would read as a perfect fit.
    json!({
        "rms_px": s.fit.map(|f| rounded(f.rms_px, 1e4)),
        "mm_per_px": s.fit.map(|f| rounded(f.mm_per_px, 1e6)),
        "cards": cards,
        "lens": s.fit.map(|f| words::lens_code(f.lens)),
        "scale": s.fit.map(|f| f.scale.map(|x| rounded(x, 1e6))),
        "scale_uncertainty": s.fit.map(|f| rounded(f.scale_u, 1e6)),
        "left_out": s.left_out,
    })
}

fn photos(r: &Report) -> Value {
    r.photos
        .iter()
        .map(|p| {
            json!({"file": p.file, "width": p.width, "height": p.height, "camera": p.camera,
                   "left_out": p.left_out})
        })
        .collect()
}

fn plan(r: &Report) -> Value {
    let p = r.plan;
    json!({
        "title": p.title,
        "units": match p.units { Units::Inch => "in", Units::Millimetre => "mm" },
        "width": mm(p.width_mm),
        "height": mm(p.height_mm),
        "tolerance": mm(p.tolerance_mm),
        "seen_fraction": rounded(p.seen_fraction, 1e6),
        "risk": p.risk,
    })
}

fn place(p: Point<Sheet>) -> Value {
    json!([mm(p.x), mm(p.y)])
}

/// A length to 0.001 mm: finer than any photo, coarse enough to read.
fn mm(x: f64) -> Value {
    rounded(x, 1e3)
}

/// `x` to one part in `steps` of its unit; `null` for what is not a number. Never `-0.0`.
fn rounded(x: f64, steps: f64) -> Value {
    json!(x.is_finite().then(|| (x * steps).round() / steps + 0.0))
}

/// Top-level fields on lines of their own, and each entry of a list of objects too.
fn lay_out(top: &Map<String, Value>) -> String {
    let fields: Vec<String> = top
        .iter()
        .map(|(key, value)| {
            let text = match value {
                Value::Array(a) if a.iter().any(|v| v.is_object() || v.is_string()) => {
                    let entries: Vec<String> = a.iter().map(|v| format!("    {v}")).collect();
                    format!("[\n{}\n  ]", entries.join(",\n"))
                }
                v => v.to_string(),
            };
            format!("  {}: {text}", Value::from(key.as_str()))
        })
        .collect();
    format!("{{\n{}\n}}\n", fields.join(",\n"))
}
