//! A plan as DXF: the outline, a point and a circle for each hole, and its name.

use dxf::entities::{Circle, Entity, EntityType, LwPolyline, ModelPoint, Text};
use dxf::enums::{AcadVersion, Units as Dxf};
use dxf::tables::AppId;
use dxf::{Drawing, LwPolylineVertex, Point, XData, XDataItem};

use super::{DRILLED_LAYER, ExchangeError, PROGRAM};
use crate::plan::length::mm_per;
use crate::plan::{Plan, Units};

/// Height of the names, mm.
const NAME_MM: f64 = 2.0;

/// A plan's holes as an ASCII DXF file of release 2000, in the plan's unit, the origin at the sheet's lower
/// left corner. Layers: `OUTLINE`, `HOLES` (points: the centres), `RIVETS` (circles of the rivet's diameter,
/// where the plan has one), `NAMES`, `DRILLED` (points of holes drilled already). What entities cannot say (names of
/// holes, tolerance, rivet) is noted on points and outline as extended data, which drawing programs keep. The same plan
/// gives the same bytes.
///
/// # Errors
/// [`ExchangeError::BadDxf`] when the writer fails.
pub fn to_dxf(plan: &Plan) -> Result<Vec<u8>, ExchangeError> {
    let mm = mm_per(plan.units);
    let mut drawing = Drawing::new();
    drawing.header.version = AcadVersion::R2000;
    drawing.header.default_drawing_units = match plan.units {
        Units::Inch => Dxf::Inches,
        Units::Millimetre => Dxf::Millimeters,
    };
    drawing.add_app_id(AppId {
        name: PROGRAM.to_owned(),
        ..AppId::default()
    });
    let mut add = |layer: &str, specific: EntityType, notes: &[String]| {
        let mut entity = Entity::new(specific);
        entity.common.layer = layer.to_string();
        if !notes.is_empty() {
            entity.common.x_data.push(XData {
                application_name: PROGRAM.to_owned(),
                items: notes.iter().cloned().map(XDataItem::Str).collect(),
            });
        }
        drawing.add_entity(entity);
    };
    let (w, h) = (plan.width_mm / mm, plan.height_mm / mm);
    let mut outline = LwPolyline::default();
    outline.set_is_closed(true);
    outline.vertices = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]
        .map(|[x, y]| LwPolylineVertex {
            x,
            y,
            ..LwPolylineVertex::default()
        })
        .to_vec();
    let mut notes = vec![format!("tolerance_mm={:.7}", plan.tolerance_mm)];
    notes.extend(plan.rivet_mm.map(|mm| format!("rivet_mm={mm:.7}")));
    add("OUTLINE", EntityType::LwPolyline(outline), &notes);
    for (hole, drilled) in plan
        .holes
        .iter()
        .map(|h| (h, false))
        .chain(plan.drilled.iter().map(|h| (h, true)))
    {
        let at = Point::new(hole.at.x / mm, hole.at.y / mm, 0.0);
        let layer = if drilled { DRILLED_LAYER } else { "HOLES" };
        let point = ModelPoint::new(at.clone());
        let name = format!("name={}", hole.name);
        add(layer, EntityType::ModelPoint(point), &[name]);
        if let Some(d) = plan.rivet_mm.filter(|_| !drilled) {
            add(
                "RIVETS",
                EntityType::Circle(Circle::new(at.clone(), d / 2.0 / mm)),
                &[],
            );
        }
        add(
            "NAMES",
            EntityType::Text(Text {
                location: Point::new(at.x + 0.7 * NAME_MM / mm, at.y + 0.7 * NAME_MM / mm, 0.0),
                text_height: NAME_MM / mm,
                value: hole.name.clone(),
                ..Text::default()
            }),
            &[],
        );
    }
    let mut bytes = Vec::new();
    drawing
        .save(&mut bytes)
        .map_err(|e| ExchangeError::BadDxf { why: e.to_string() })?;
    Ok(timeless(&bytes))
}

/// Takes the variables out of the header that change from run to run: dates, and random numbers that name
/// the file.
fn timeless(bytes: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(bytes);
    let lines: Vec<&str> = text.lines().collect();
    let mut out = String::with_capacity(text.len());
    let mut i = 0;
    while i < lines.len() {
        let name = lines.get(i + 1).copied().unwrap_or_default();
        let changing = lines[i].trim() == "9"
            && (name.starts_with("$TD") || matches!(name, "$FINGERPRINTGUID" | "$VERSIONGUID"));
        if changing {
            i += 4;
            continue;
        }
        for line in &lines[i..(i + 2).min(lines.len())] {
            out.push_str(line);
            out.push_str("\r\n");
        }
        i += 2;
    }
    out.into_bytes()
}
