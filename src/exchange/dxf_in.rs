//! DXF: points, circles and inserted blocks as holes, a closed polyline as the outline.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

use dxf::entities::{Entity, EntityType, Insert};
use dxf::enums::Units as Dxf;
use dxf::{Block, Drawing};

use super::{DRILLED_LAYER, ExchangeError, Imported, MOST_HOLES, check_size};
use crate::plan::Units;
use crate::plan::length::{MM_PER_INCH, mm_per};

/// What of a DXF file to take.
#[derive(Debug, Clone, PartialEq)]
pub struct DxfChoice {
    /// The unit, where the file does not say it.
    pub units: Option<Units>,
    /// Only these layers; all where there is none. Upper and lower case are one.
    pub layers: Vec<String>,
    /// Largest circle or block that is a hole, mm.
    pub largest_mm: f64,
}

/// Centres nearer than this are one hole: a point in its circle, mm.
const ONE_HOLE_MM: f64 = 0.05;
/// Corners this near to their bounding box are those of an upright rectangle, mm.
const SQUARE_MM: f64 = 0.01;

/// Inserts looked at: a file with more is no sheet, and would take long.
const MOST_INSERTS: usize = 10_000;

/// What is counted while reading: reason or sort, and how often.
#[derive(Default)]
struct Tally(BTreeMap<String, usize>);

impl Tally {
    fn add(&mut self, what: impl Into<String>) {
        *self.0.entry(what.into()).or_default() += 1;
    }

    fn told(self) -> Vec<String> {
        self.0
            .into_iter()
            .map(|(what, n)| format!("{n} x {what}"))
            .collect()
    }
}

/// Reads holes from an ASCII DXF file.
///
/// Taken are points, circles up to `largest_mm`, and inserts of blocks that are no larger; a point in its
/// circle is one hole; what is on a layer `DRILLED` is drilled already. The largest closed polyline without bulges is the outline, and its lower left corner
/// the origin. Everything else is left out, and told.
///
/// # Errors
/// [`ExchangeError`]: not a DXF file, no unit, or no holes.
pub fn from_dxf(bytes: &[u8], choice: &DxfChoice) -> Result<Imported, ExchangeError> {
    check_size(bytes)?;
    let bad = |why: String| ExchangeError::BadDxf { why };
    if bytes.starts_with(b"AutoCAD") {
        return Err(bad("it is a binary file".into()));
    }
    // The reader is another project's; a slip of it on a hostile file must not end this program.
    let read = catch_unwind(AssertUnwindSafe(|| Drawing::load(&mut &bytes[..])));
    let drawing = match read {
        Ok(Ok(drawing)) => drawing,
        Ok(Err(e)) => {
            let why: String = e
                .to_string()
                .chars()
                .filter(|c| !c.is_control())
                .take(80)
                .collect();
            return Err(bad(why));
        }
        Err(_) => return Err(bad("the reader gave up".into())),
    };
    if drawing.entities().next().is_none() && drawing.blocks().next().is_none() {
        return Err(bad("it has nothing drawn in it".into()));
    }
    let (units, scale) = unit(&drawing, choice)?;
    let mut reading = Reading {
        blocks: drawing.blocks().map(|b| (b.name.as_str(), b)).collect(),
        inserts: 0,
        choice,
        scale,
        holes: Vec::new(),
        outlines: Vec::new(),
        taken: Tally::default(),
        left_out: Tally::default(),
    };
    for entity in drawing.entities() {
        reading.take(entity)?;
    }
    reading.finish(units)
}

/// The unit of the plan to make, and mm for one unit of the file.
fn unit(drawing: &Drawing, choice: &DxfChoice) -> Result<(Units, f64), ExchangeError> {
    let said = match drawing.header.default_drawing_units {
        Dxf::Inches => Some((Units::Inch, MM_PER_INCH)),
        Dxf::Feet => Some((Units::Inch, 12.0 * MM_PER_INCH)),
        Dxf::Mils => Some((Units::Inch, MM_PER_INCH / 1000.0)),
        Dxf::Millimeters => Some((Units::Millimetre, 1.0)),
        Dxf::Centimeters => Some((Units::Millimetre, 10.0)),
        Dxf::Meters => Some((Units::Millimetre, 1000.0)),
        _ => None,
    };
    match (said, choice.units) {
        (Some((units, mm)), None) => Ok((units, mm)),
        (Some((units, mm)), Some(given)) if (mm - mm_per(given)).abs() < 1e-12 => Ok((units, mm)),
        (Some(_), Some(_)) => Err(ExchangeError::OtherUnits {
            file: format!("{:?}", drawing.header.default_drawing_units).to_lowercase(),
        }),
        (None, Some(given)) => Ok((given, mm_per(given))),
        (None, None) => Err(ExchangeError::NoUnits),
    }
}

struct Reading<'d> {
    blocks: BTreeMap<&'d str, &'d Block>,
    inserts: usize,
    choice: &'d DxfChoice,
    scale: f64,
    /// Centres, and whether they are drilled already.
    holes: Vec<([f64; 2], bool)>,
    outlines: Vec<Vec<[f64; 2]>>,
    taken: Tally,
    left_out: Tally,
}

impl Reading<'_> {
    fn take(&mut self, entity: &Entity) -> Result<(), ExchangeError> {
        let layer: String = entity
            .common
            .layer
            .chars()
            .filter(|c| !c.is_control())
            .take(40)
            .collect();
        let chosen = self.choice.layers.is_empty()
            || self
                .choice
                .layers
                .iter()
                .any(|l| l.to_lowercase() == layer.to_lowercase());
        if !chosen {
            self.left_out
                .add(format!("on layer {layer}, which was not asked for"));
            return Ok(());
        }
        if entity.common.is_in_paper_space {
            self.left_out
                .add("on the paper of the drawing, not in the model");
            return Ok(());
        }
        let on = format!("on layer {layer}");
        let drilled = layer.eq_ignore_ascii_case(DRILLED_LAYER);
        match &entity.specific {
            EntityType::ModelPoint(p) => self.hole(
                [p.location.x, p.location.y],
                (p.extrusion_direction.z, drilled),
                &format!("point {on}"),
            ),
            EntityType::Circle(c) => {
                let diameter = 2.0 * c.radius * self.scale;
                if diameter > self.choice.largest_mm {
                    self.left_out.add(format!(
                        "circle larger than {} mm {on}: a cut-out, no hole",
                        self.choice.largest_mm
                    ));
                    return Ok(());
                }
                self.hole(
                    [c.center.x, c.center.y],
                    (c.normal.z, drilled),
                    &format!("circle {on}"),
                )
            }
            EntityType::Insert(insert) => self.insert(insert, drilled, &on),
            EntityType::LwPolyline(line) => {
                let closed = line.is_closed();
                let curved = line.vertices.iter().any(|v| v.bulge != 0.0);
                let corners = line.vertices.iter().map(|v| [v.x, v.y]).collect();
                self.outline(corners, (closed, curved, line.extrusion_direction.z), &on);
                Ok(())
            }
            EntityType::Polyline(line) => {
                let closed = line.is_closed();
                let curved = line.vertices().any(|v| v.bulge != 0.0);
                let corners = line
                    .vertices()
                    .map(|v| [v.location.x, v.location.y])
                    .collect();
                self.outline(corners, (closed, curved, line.normal.z), &on);
                Ok(())
            }
            other => {
                let sort = format!("{other:?}");
                let sort = sort
                    .split(['(', ' '])
                    .next()
                    .unwrap_or("thing")
                    .to_lowercase();
                self.left_out
                    .add(format!("{sort} {on}: neither hole nor outline"));
                Ok(())
            }
        }
    }

    /// Adds a hole at a place of the file.
    fn hole(
        &mut self,
        at: [f64; 2],
        (up, drilled): (f64, bool),
        what: &str,
    ) -> Result<(), ExchangeError> {
        let mm = at.map(|v| v * self.scale);
        // Ten metres, as for a sheet.
        if !mm.iter().all(|v| v.is_finite() && v.abs() <= 1e4) {
            self.left_out.add(format!(
                "{what}: its place is no number, or further than 10 m away"
            ));
        } else if up < 0.0 {
            self.left_out.add(format!("{what}: drawn from behind"));
        } else {
            self.taken.add(if drilled {
                format!("{what}, as drilled already: nothing is to be marked there")
            } else {
                what.to_string()
            });
            self.holes.push((mm, drilled));
            // Twice as many: a point and a circle for each.
            if self.holes.len() > 2 * MOST_HOLES {
                return Err(ExchangeError::TooMany);
            }
        }
        Ok(())
    }

    /// A block no larger than a hole is one: at its circle, or else at its own place.
    fn insert(&mut self, insert: &Insert, drilled: bool, on: &str) -> Result<(), ExchangeError> {
        let name: String = insert
            .name
            .chars()
            .filter(|c| !c.is_control())
            .take(40)
            .collect();
        let what = format!("block {name} {on}");
        self.inserts += 1;
        if self.inserts > MOST_INSERTS {
            return Err(ExchangeError::TooMany);
        }
        let Some(block) = self.blocks.get(insert.name.as_str()).copied() else {
            self.left_out
                .add(format!("{what}: the file does not have that block"));
            return Ok(());
        };
        let (sx, sy) = (insert.x_scale_factor, insert.y_scale_factor);
        let base = [block.base_point.x, block.base_point.y];
        let mut centre: Option<[f64; 2]> = None;
        let mut reach: f64 = 0.0;
        let mut grow = |p: [f64; 2], radius: f64| {
            let d = ((p[0] - base[0]) * sx).hypot((p[1] - base[1]) * sy);
            reach = reach.max(d + radius * sx.abs().max(sy.abs()));
        };
        for entity in &block.entities {
            match &entity.specific {
                EntityType::Circle(c) => {
                    grow([c.center.x, c.center.y], c.radius);
                    centre = centre.or(Some([c.center.x, c.center.y]));
                }
                EntityType::ModelPoint(p) => {
                    grow([p.location.x, p.location.y], 0.0);
                    centre = centre.or(Some([p.location.x, p.location.y]));
                }
                EntityType::Line(l) => {
                    grow([l.p1.x, l.p1.y], 0.0);
                    grow([l.p2.x, l.p2.y], 0.0);
                }
                _ => {}
            }
        }
        // A centre mark's arms reach beyond its hole: its radius may be the hole's diameter.
        if reach * self.scale > self.choice.largest_mm {
            self.left_out.add(format!("{what}: too large for a hole"));
            return Ok(());
        }
        let (columns, rows) = (insert.column_count.max(1), insert.row_count.max(1));
        let (sin, cos) = insert.rotation.to_radians().sin_cos();
        let c = centre.unwrap_or(base);
        for row in 0..rows {
            for column in 0..columns {
                let (x, y) = (
                    (c[0] - base[0]) * sx + insert.column_spacing * f64::from(column),
                    (c[1] - base[1]) * sy + insert.row_spacing * f64::from(row),
                );
                let at = [
                    insert.location.x + cos * x - sin * y,
                    insert.location.y + sin * x + cos * y,
                ];
                self.hole(at, (insert.extrusion_direction.z, drilled), &what)?;
            }
        }
        Ok(())
    }

    fn outline(
        &mut self,
        corners: Vec<[f64; 2]>,
        (closed, curved, up): (bool, bool, f64),
        on: &str,
    ) {
        // Some programs close a line by ending where it began.
        let ends_meet = corners.len() > 3 && corners.first() == corners.last();
        let finite = corners.iter().flatten().all(|v| v.is_finite());
        if !(closed || ends_meet) {
            self.left_out.add(format!("open polyline {on}"));
        } else if curved || up < 0.0 || !finite || corners.len() < 3 {
            self.left_out.add(format!(
                "closed polyline {on}: curved, drawn from behind, or no area"
            ));
        } else {
            self.outlines
                .push(corners.iter().map(|c| c.map(|v| v * self.scale)).collect());
        }
    }

    fn finish(mut self, units: Units) -> Result<Imported, ExchangeError> {
        let bounds = |corners: &Vec<[f64; 2]>| {
            let fold = |i: usize, f: fn(f64, f64) -> f64, from: f64| {
                corners.iter().map(|c| c[i]).fold(from, f)
            };
            [
                [
                    fold(0, f64::min, f64::INFINITY),
                    fold(1, f64::min, f64::INFINITY),
                ],
                [
                    fold(0, f64::max, f64::NEG_INFINITY),
                    fold(1, f64::max, f64::NEG_INFINITY),
                ],
            ]
        };
        let area = |c: &Vec<[f64; 2]>| {
            let [low, high] = bounds(c);
            (high[0] - low[0]) * (high[1] - low[1])
        };
        let largest = self
            .outlines
            .iter()
            .enumerate()
            .max_by(|a, b| area(a.1).total_cmp(&area(b.1)))
            .map(|(i, _)| i);
        let mut origin = [0.0; 2];
        let mut sheet_mm = None;
        let mut taken = Vec::new();
        if let Some(i) = largest {
            let [low, high] = bounds(&self.outlines[i]);
            origin = low;
            sheet_mm = Some([high[0] - low[0], high[1] - low[1]]);
            let upright = self.outlines[i].iter().all(|c| {
                (0..2).all(|k| {
                    (c[k] - low[k]).abs() < SQUARE_MM || (high[k] - c[k]).abs() < SQUARE_MM
                })
            });
            taken.push(if upright {
                "the largest closed polyline as the sheet's outline, its lower left corner as the origin".to_string()
            } else {
                "the largest closed polyline as the outline; it is no upright rectangle, so the sheet is the rectangle round it: look whether that is right".to_string()
            });
            for _ in 1..self.outlines.len() {
                self.left_out
                    .add("closed polyline that is not the largest: a cut-out");
            }
        }
        let mut holes: Vec<(Option<String>, [f64; 2])> = Vec::new();
        let mut done: Vec<[f64; 2]> = Vec::new();
        let mut same = 0;
        // Those drilled first: a circle on another layer about one makes it no hole to be marked.
        self.holes.sort_by_key(|(_, drilled)| !drilled);
        for (at, drilled) in &self.holes {
            let at = [at[0] - origin[0], at[1] - origin[1]];
            let known = holes
                .iter()
                .map(|(_, h)| h)
                .chain(&done)
                .any(|h| (h[0] - at[0]).hypot(h[1] - at[1]) < ONE_HOLE_MM);
            if known {
                same += 1;
            } else if *drilled {
                done.push(at);
            } else {
                holes.push((None, at));
            }
        }
        if holes.len() + done.len() > MOST_HOLES {
            return Err(ExchangeError::TooMany);
        }
        let left_out = self.left_out.told();
        if holes.is_empty() {
            return Err(ExchangeError::NoHoles { left_out });
        }
        taken.extend(self.taken.told());
        if same > 0 {
            taken.push(format!(
                "{same} of them at the centre of another: one hole each"
            ));
        }
        Ok(Imported {
            holes,
            drilled: done,
            sheet_mm,
            units,
            taken,
            left_out,
        })
    }
}
