//! `punchready plan coverage`.

use std::fmt::Write as _;

use punchready::coverage::{Foreseen, Known, LaidCard, Layout, Phone, foresee, lay};
use punchready::plan::{Plan, length};
use punchready::report::words::plain;

use super::super::exit::{Failure, Status};
use super::super::out;
use super::args::CoverageArgs;
use super::say;

/// Says what photos a plan needs.
pub(super) fn run(args: &CoverageArgs) -> Result<Status, Failure> {
    let plan = super::read(&args.plan)?;
    let phone = Phone::default();
    let told = |e| Failure::advised(&e);
    let layout = lay(&plan, &phone, args.height).map_err(told)?;
    let of = |bars, side| foresee(&plan, &phone, &layout, Known { bars, side }).map_err(told);
    let (measured, unsaid, sided) = (of(true, false)?, of(false, false)?, of(true, true)?);
    let mut text = String::new();
    let _ = writeln!(text, "{}", plain(&plan.title));
    photos(&plan, &layout, &mut text);
    cards(&plan, &layout, &mut text);
    uncertainty(&plan, &measured, &unsaid, &sided, &mut text);
    if args.holes {
        holes(&plan, &measured, &unsaid, &mut text);
    }
    out::print(&text)?;
    Ok(Status::Done)
}

fn place(plan: &Plan, x: f64, y: f64) -> String {
    format!(
        "{}, {}",
        length::measured(x, plan.units),
        length::measured(y, plan.units)
    )
}

fn photos(plan: &Plan, layout: &Layout, text: &mut String) {
    let n = layout.photos.len();
    let height = layout.height_mm;
    let way = if layout.long_side_along_x {
        "width"
    } else {
        "height"
    };
    let what = if n == 1 {
        format!(
            "One photo from about {height:.0} mm above the sheet ({:.1} pixels a millimetre; a main camera of 12 megapixels), the picture's longer side along the sheet's {way}.",
            layout.px_per_mm
        )
    } else {
        format!(
            "{n} photos from about {height:.0} mm above the sheet ({:.1} pixels a millimetre; a main camera of 12 megapixels), the picture's longer side along the sheet's {way}. Move only the phone between them. Aim them at (x, y in {}):",
            layout.px_per_mm,
            length::unit_sign(plan.units)
        )
    };
    say(text, "", &what);
    if n > 1 {
        for (i, p) in layout.photos.iter().enumerate() {
            let _ = writeln!(text, "  photo {:<3} {}", i + 1, place(plan, p.x, p.y));
        }
    }
}

fn cards(plan: &Plan, layout: &Layout, text: &mut String) {
    let strips = layout.cards.iter().filter(|c| c.number > 40).count();
    let squares = layout.cards.len() - strips;
    let kinds: Vec<String> = [(squares, "square"), (strips, "strip")]
        .into_iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, kind)| format!("{n} {kind}"))
        .collect();
    say(
        text,
        "",
        &format!(
            "{} cards, flat and level with the face: any numbers, each once. Their middles (x, y in {}):",
            kinds.join(" and "),
            length::unit_sign(plan.units)
        ),
    );
    for c in &layout.cards {
        let LaidCard {
            at,
            upright,
            on_face,
            number,
        } = c;
        let way = match (number > &40, upright) {
            (true, true) => ", along y",
            (true, false) => ", along x",
            _ => "",
        };
        let on = if *on_face {
            "on the face"
        } else {
            "beside the sheet"
        };
        let _ = writeln!(
            text,
            "  card {number:<4} {}  {on}{way}",
            place(plan, at.x, at.y)
        );
    }
}

fn uncertainty(
    plan: &Plan,
    measured: &Foreseen,
    unsaid: &Foreseen,
    sided: &Foreseen,
    text: &mut String,
) {
    let u = plan.units;
    let range = |f: &Foreseen| {
        let (hole, worst) = f.worst()?;
        Some(format!(
            "{} to {} (at {})",
            length::uncertainty(f.best()?, u),
            length::uncertainty(worst, u),
            plain(&plan.holes[hole].name)
        ))
    };
    let tolerance = length::show_planned(plan.tolerance_mm, u);
    let sign = length::unit_sign(u);
    let side = if plan.width_mm >= plan.height_mm {
        "sheet-width"
    } else {
        "sheet-height"
    };
    if let (Some(a), Some(b), Some(c)) = (range(measured), range(unsaid), range(sided)) {
        let _ = writeln!(
            text,
            "U to expect at the holes, {sign}; tolerance {tolerance}:"
        );
        let _ = writeln!(text, "  with --bars not given          {b}");
        let _ = writeln!(text, "  with the cards' bars measured  {a}");
        match &plan.datum {
            None => {
                let _ = writeln!(text, "  and --known {side:<18} {c}");
            }
            Some([a, b]) => say(
                text,
                "  ",
                &format!(
                    "measured from the marks {} and {}, with no edge of the sheet in the photo",
                    plain(a),
                    plain(b)
                ),
            ),
        }
    }
    let unseen = measured.expanded_mm.iter().filter(|u| u.is_none()).count();
    if unseen > 0 {
        say(text, "", &format!("{unseen} holes are in no photo."));
    }
    let lost = |f: &Foreseen| {
        let all = f.expanded_mm.iter().flatten();
        all.filter(|u| **u > plan.tolerance_mm).count()
    };
    let advice = match (lost(measured), lost(unsaid)) {
        (0, 0) => format!(
            "Every hole can be proven. A mark counts as good when it is out by no more than the tolerance less U: {} where U is largest, with the bars measured.",
            length::measured(plan.tolerance_mm - measured.worst().map_or(0.0, |w| w.1), u)
        ),
        (0, n) => format!(
            "Measure the bars: without, {n} holes cannot be proven however well they are marked."
        ),
        (n, _) if lost(sided) == 0 => format!(
            "Measure the bars and, with a steel rule, the sheet's longer side (--known {side}=LENGTH): without that, {n} holes cannot be proven however well they are marked."
        ),
        _ => format!(
            "{} holes cannot be proven from these photos however well they are marked: take them from nearer (--height), or check those holes with a steel rule.",
            lost(sided)
        ),
    };
    say(text, "", &advice);
}

fn holes(plan: &Plan, measured: &Foreseen, unsaid: &Foreseen, text: &mut String) {
    let u = plan.units;
    let cell = |x: Option<f64>| x.map_or_else(|| "-".to_owned(), |x| length::uncertainty(x, u));
    let widest = plan
        .holes
        .iter()
        .map(|h| plain(&h.name).chars().count())
        .max();
    let width = widest.unwrap_or(0).max(4);
    let _ = writeln!(text, "  {:<width$}  {:>9}  {:>9}", "hole", "U", "no --bars");
    for ((hole, a), b) in plan
        .holes
        .iter()
        .zip(&measured.expanded_mm)
        .zip(&unsaid.expanded_mm)
    {
        let name = plain(&hole.name);
        let _ = writeln!(text, "  {name:<width$}  {:>9}  {:>9}", cell(*a), cell(*b));
    }
}
