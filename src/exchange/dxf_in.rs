//! DXF: points, circles and inserted blocks as holes, a closed line as the outline.
//!
//! Every entity of the model is either taken or left out, through all blocks, and both are counted.

use std::collections::BTreeMap;

use super::drawn::{arc, corners, is_circle, is_sign, kind};
use super::flat_map::FlatMap;
use super::shapes::{Contour, Stroke, apart, joined};
use super::sheet::Placed;
use super::tags::{Block, Entity, File, Record, file, key, number, shown, tags, text, unescaped};
use super::units::unit;
use super::{DRILLED_LAYER, ExchangeError, Found, Imported, MOST_HOLES, PROGRAM, check_size};
use crate::plan::Units;

/// What of a DXF file to take.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DxfChoice {
    /// The unit, where the file does not say it.
    pub units: Option<Units>,
    /// Only holes on these layers; all where there is none. Upper and lower case are one. The outline may lie on any.
    pub layers: Vec<String>,
    /// The layer of the outline; any where it is not said.
    pub outline: Option<String>,
    /// Largest circle or block that is a hole, mm.
    pub largest_mm: f64,
    /// Width and height of the sheet, mm, where the user says it.
    pub sheet_mm: Option<[f64; 2]>,
    /// Where the sheet's lower left corner lies in the drawing, mm.
    pub origin_mm: Option<[f64; 2]>,
}

/// Centres nearer than this are one hole: a point in its circle, mm.
const ONE_HOLE_MM: f64 = 0.05;
/// Entities looked at, each as often as blocks repeat it: a file with more is no sheet, and would take long.
const MOST_ENTITIES: usize = 200_000;
/// Blocks within blocks.
const DEEPEST: usize = 16;
/// Furthest from the drawing's origin that a hole may lie, mm: ten metres, as for a sheet.
const FURTHEST_MM: f64 = 1e4;
/// The layer that drawing programs never print.
const NEVER_PRINTED: &str = "defpoints";

/// What is counted while reading: reason or sort, and how often.
#[derive(Default)]
struct Tally(BTreeMap<String, usize>);

impl Tally {
    fn add(&mut self, what: impl Into<String>) {
        *self.0.entry(what.into()).or_default() += 1;
    }

    fn sum(&self) -> usize {
        self.0.values().sum()
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
/// Taken are points, circles up to `largest_mm` also where they are drawn in arcs, through all blocks, and blocks of
/// lines alone that are no larger: a hole at their place. A point in its circle is one hole; what is on a layer
/// `DRILLED` is drilled already. Of the closed lines that are no circles the one that holds the holes is the outline,
/// and its lower left corner the origin. What is hidden, and everything else, is left out and told.
///
/// # Errors
/// [`ExchangeError`]: not a DXF file, no unit, no holes, or no sheet that is beyond doubt.
pub fn from_dxf(bytes: &[u8], choice: &DxfChoice) -> Result<Imported, ExchangeError> {
    check_size(bytes)?;
    let bad = |why: String| ExchangeError::BadDxf { why };
    if bytes.starts_with(b"AutoCAD") {
        return Err(bad("it is a binary file".into()));
    }
    let text = text(bytes);
    let tags = tags(&text).map_err(bad)?;
    let file = file(&tags).map_err(bad)?;
    if file.entities.is_empty() {
        return Err(bad("it has nothing drawn in it".into()));
    }
    let (units, scale) = unit(&file, choice)?;
    let mut reading = Reading {
        file: &file,
        choice,
        looked_at: 0,
        holes: Vec::new(),
        contours: Vec::new(),
        strokes: BTreeMap::new(),
        notes: Vec::new(),
        taken: Tally::default(),
        left_out: Tally::default(),
        parts: 0,
    };
    let top = Place {
        map: FlatMap::scaled(scale),
        layers: Vec::new(),
        hidden: None,
        blocks: Vec::new(),
    };
    reading.all(&file.entities, &top)?;
    reading.finish(units)
}

/// Where an entity is met: in the model, or in blocks within blocks.
#[derive(Debug, Clone)]
struct Place {
    map: FlatMap,
    /// Layers of the inserts on the way.
    layers: Vec<String>,
    /// Why nothing of it shows.
    hidden: Option<&'static str>,
    /// Names of the blocks on the way.
    blocks: Vec<String>,
}

impl Place {
    /// The layer of an entity: what is drawn on layer 0 of a block is on the insert's.
    fn layer(&self, entity: &Record) -> String {
        let own = unescaped(entity.text(8).unwrap_or("0"));
        match self.layers.last() {
            Some(insert) if own == "0" => insert.clone(),
            _ => own,
        }
    }
}

/// A hole as met.
struct Met {
    at: [f64; 2],
    drilled: bool,
    name: Option<String>,
}

struct Reading<'d> {
    file: &'d File<'d>,
    choice: &'d DxfChoice,
    looked_at: usize,
    holes: Vec<Met>,
    contours: Vec<Contour>,
    /// By layer: lines and arcs that may close to something.
    strokes: BTreeMap<String, Vec<Stroke>>,
    /// What this program wrote about a plan when it exported it.
    notes: Vec<String>,
    taken: Tally,
    left_out: Tally,
    /// Strokes and contours that were neither taken nor left out yet.
    parts: usize,
}

impl Reading<'_> {
    fn all(&mut self, entities: &[Entity], place: &Place) -> Result<(), ExchangeError> {
        for entity in entities {
            self.looked_at += 1;
            if self.looked_at > MOST_ENTITIES {
                return Err(ExchangeError::TooMuch {
                    most: MOST_ENTITIES,
                });
            }
            self.take(entity, place)?;
        }
        Ok(())
    }

    fn take(&mut self, entity: &Entity, place: &Place) -> Result<(), ExchangeError> {
        let own = &entity.own;
        let layer = place.layer(own);
        let on = match place.blocks.last() {
            Some(block) => format!("on layer {}, in block {}", shown(&layer), shown(block)),
            None => format!("on layer {}", shown(&layer)),
        };
        if let Some(why) = place.hidden.or_else(|| self.hidden(own, &layer)) {
            // An insert hides all that is in it: how much that is does not matter.
            self.left_out.add(format!("{} {on}: {why}", kind(own)));
            return Ok(());
        }
        if own.kind == "INSERT" {
            return self.insert(own, place, &layer, &on);
        }
        // Points and lines are in the drawing's own coordinates, whichever way they face.
        let in_plane = matches!(own.kind, "CIRCLE" | "ARC" | "LWPOLYLINE" | "POLYLINE");
        let map = if in_plane {
            place.map.of_plane(own)
        } else {
            Some(place.map)
        };
        let Some(map) = map else {
            self.left_out
                .add(format!("{} {on}: drawn in a tilted plane", kind(own)));
            return Ok(());
        };
        match own.kind {
            "POINT" => {
                let name = own
                    .noted(PROGRAM)
                    .find_map(|n| n.strip_prefix("name="))
                    .map(unescaped);
                let what = format!("point {on}");
                self.hole(map.put(own.place(10, 20)), name, &layer, place, &what)
            }
            "CIRCLE" => self.circle(
                map.put(own.place(10, 20)),
                map.scale().map(|s| 2.0 * s * own.number(40, f64::NAN)),
                (&layer, place, &format!("circle {on}")),
            ),
            "ELLIPSE" if is_circle(own) => {
                let axis = own.place(11, 21);
                let diameter = map.scale().map(|s| 2.0 * s * axis[0].hypot(axis[1]));
                let what = format!("ellipse that is a circle {on}");
                self.circle(map.put(own.place(10, 20)), diameter, (&layer, place, &what))
            }
            "LINE" => {
                let line = map.stroke(own.place(10, 20), own.place(11, 21), 0.0);
                self.strokes_on(&layer, &[line], "line", &on);
                Ok(())
            }
            "ARC" => {
                self.strokes_on(&layer, &arc(own, &map), "arc", &on);
                Ok(())
            }
            "LWPOLYLINE" | "POLYLINE" => {
                self.notes.extend(own.noted(PROGRAM).map(str::to_owned));
                self.polyline(entity, &map, (&layer, place, &on))
            }
            _ => {
                self.left_out
                    .add(format!("{} {on}: neither hole nor outline", kind(own)));
                Ok(())
            }
        }
    }

    /// Why an entity does not show.
    fn hidden(&self, entity: &Record, layer: &str) -> Option<&'static str> {
        let known = self.file.layers.get(&key(layer)).copied();
        let known = known.unwrap_or_default();
        if entity.flags(67) == 1 {
            Some("on the paper of the drawing, not in the model")
        } else if entity.flags(60) == 1 {
            Some("made invisible")
        } else if known.is_off {
            Some("its layer is off")
        } else if known.is_frozen {
            Some("its layer is frozen")
        } else if key(layer) == NEVER_PRINTED {
            Some("that layer is never printed")
        } else {
            None
        }
    }

    /// Whether holes of this layer were asked for: its own, or that of an insert on the way.
    fn chosen(&self, layer: &str, place: &Place) -> bool {
        let asked = |l: &str| self.choice.layers.iter().any(|c| key(c) == key(l));
        self.choice.layers.is_empty() || asked(layer) || place.layers.iter().any(|l| asked(l))
    }

    /// Adds a hole, mm.
    fn hole(
        &mut self,
        at: [f64; 2],
        name: Option<String>,
        layer: &str,
        place: &Place,
        what: &str,
    ) -> Result<(), ExchangeError> {
        if !self.chosen(layer, place) {
            self.left_out
                .add(format!("{what}: its layer was not asked for"));
            return Ok(());
        }
        if !at.iter().all(|v| v.is_finite() && v.abs() <= FURTHEST_MM) {
            self.left_out.add(format!(
                "{what}: its place is no number, or further than 10 m away"
            ));
            return Ok(());
        }
        let is_drilled = |l: &str| l.eq_ignore_ascii_case(DRILLED_LAYER);
        let drilled = is_drilled(layer) || place.layers.iter().any(|l| is_drilled(l));
        self.taken.add(if drilled {
            format!("{what}, as drilled already: nothing is to be marked there")
        } else {
            what.to_string()
        });
        self.holes.push(Met { at, drilled, name });
        // Twice as many: a point and a circle for each.
        if self.holes.len() > 2 * MOST_HOLES {
            return Err(ExchangeError::TooMany);
        }
        Ok(())
    }

    /// A circle, mm; `diameter` is `None` where a block has stretched it.
    fn circle(
        &mut self,
        at: [f64; 2],
        diameter: Option<f64>,
        (layer, place, what): (&str, &Place, &str),
    ) -> Result<(), ExchangeError> {
        match diameter {
            None => self
                .left_out
                .add(format!("{what}: stretched to an ellipse by its block")),
            Some(d) if d > self.choice.largest_mm => self.left_out.add(format!(
                "{what}: larger than {} mm, a cut-out and no hole",
                self.choice.largest_mm
            )),
            Some(d) if d > 0.0 => return self.hole(at, None, layer, place, what),
            Some(_) => self
                .left_out
                .add(format!("{what}: its diameter is no number above 0")),
        }
        Ok(())
    }

    fn strokes_on(&mut self, layer: &str, strokes: &[Stroke], what: &str, on: &str) {
        let sound = strokes.iter().all(|s| {
            s.from
                .iter()
                .chain(&s.to)
                .all(|v| v.is_finite() && v.abs() <= 10.0 * FURTHEST_MM)
                && s.bulge.is_finite()
        });
        if !sound || strokes.is_empty() {
            self.left_out
                .add(format!("{what} {on}: its place is no number, or far away"));
            return;
        }
        self.parts += 1;
        let here = self.strokes.entry(layer.to_owned()).or_default();
        // One of no length would be a place where three ends meet.
        here.extend(strokes.iter().filter(|s| s.from != s.to || s.bulge != 0.0));
    }

    fn polyline(
        &mut self,
        entity: &Entity,
        map: &FlatMap,
        (layer, place, on): (&str, &Place, &str),
    ) -> Result<(), ExchangeError> {
        let own = &entity.own;
        let flags = own.flags(70);
        // A line in space, a mesh, a solid of faces.
        if own.kind == "POLYLINE" && flags & (8 | 16 | 64) != 0 {
            self.left_out
                .add(format!("polyline {on}: not flat, neither hole nor outline"));
            return Ok(());
        }
        let corners = corners(entity);
        let closed = flags & 1 != 0;
        let next = corners
            .iter()
            .skip(1)
            .chain(corners.first().filter(|_| closed));
        let strokes: Vec<Stroke> = corners
            .iter()
            .zip(next)
            .map(|(a, b)| map.stroke(a.0, b.0, a.1))
            .filter(|s| s.from != s.to)
            .collect();
        let bent = strokes.iter().any(|s| s.bulge != 0.0);
        if bent && map.scale().is_none() {
            self.left_out.add(format!(
                "polyline {on}: its arcs are stretched by its block"
            ));
            return Ok(());
        }
        // Some programs close a line by ending where it began.
        match Contour::of(layer, strokes.clone()).filter(|_| strokes.len() > 1) {
            Some(contour) => match contour.circle() {
                Some((at, d)) => {
                    let what = format!("polyline that is a circle {on}");
                    self.circle(at, Some(d), (layer, place, &what))?;
                }
                None => {
                    self.parts += 1;
                    self.contours.push(contour);
                }
            },
            None => self.strokes_on(layer, &strokes, "polyline", on),
        }
        Ok(())
    }

    /// What a block has in it, at every place where it is inserted.
    fn insert(
        &mut self,
        insert: &Record,
        place: &Place,
        layer: &str,
        on: &str,
    ) -> Result<(), ExchangeError> {
        let name = insert.text(2).unwrap_or_default();
        let what = format!("block {} {on}", shown(name));
        let file = self.file;
        let block = match file.blocks.get(&key(name)) {
            Some(block) if !block.is_elsewhere => block,
            Some(_) => {
                self.left_out.add(format!(
                    "{what}: it stands in another file, which is not read"
                ));
                return Ok(());
            }
            None => {
                self.left_out
                    .add(format!("{what}: the file does not have that block"));
                return Ok(());
            }
        };
        if place.blocks.len() >= DEEPEST || place.blocks.iter().any(|b| key(b) == key(name)) {
            self.left_out
                .add(format!("{what}: blocks that hold each other"));
            return Ok(());
        }
        let Some(map) = place.map.of_plane(insert) else {
            self.left_out
                .add(format!("{what}: drawn in a tilted plane"));
            return Ok(());
        };
        let [columns, rows] = [70, 71].map(|c| insert.flags(c).max(1).unsigned_abs() as usize);
        // Also where there is nothing to be seen in each.
        self.looked_at = self.looked_at.saturating_add(columns.saturating_mul(rows));
        if self.looked_at > MOST_ENTITIES {
            return Err(ExchangeError::TooMuch {
                most: MOST_ENTITIES,
            });
        }
        let pitch = [insert.number(44, 0.0), insert.number(45, 0.0)];
        let mut inner = place.clone();
        inner.layers.push(layer.to_owned());
        inner.blocks.push(name.to_owned());
        if block.entities.is_empty() {
            self.left_out.add(format!("{what}: there is nothing in it"));
        }
        let is_sign = is_sign(block);
        for row in 0..rows {
            for column in 0..columns {
                let shift = [pitch[0] * column as f64, pitch[1] * row as f64];
                inner.map = map.of_insert(insert, block.base, shift);
                if is_sign {
                    self.sign(block, &inner, (layer, place, &what))?;
                } else {
                    self.all(&block.entities, &inner)?;
                }
            }
        }
        Ok(())
    }

    /// A block of lines alone: small as a hole, it is the sign for one at its place.
    fn sign(
        &mut self,
        block: &Block,
        inner: &Place,
        (layer, place, what): (&str, &Place, &str),
    ) -> Result<(), ExchangeError> {
        let lines = block.entities.iter().filter(|e| e.own.kind == "LINE");
        let ends = lines.flat_map(|e| [e.own.place(10, 20), e.own.place(11, 21)]);
        let reach = ends
            .map(|p| apart(p, block.base) * inner.map.most())
            .fold(0.0, f64::max);
        // A cross's arms reach beyond its hole: its radius may be the hole's diameter.
        if reach <= self.choice.largest_mm {
            let what = format!("{what}, a small sign of lines");
            return self.hole(inner.map.put(block.base), None, layer, place, &what);
        }
        self.all(&block.entities, inner)
    }

    fn finish(mut self, units: Units) -> Result<Imported, ExchangeError> {
        let counted = self.counted();
        self.join()?;
        let holes: Vec<[f64; 2]> = self
            .holes
            .iter()
            .filter(|h| !h.drilled)
            .map(|h| h.at)
            .collect();
        if holes.is_empty() {
            let left_out = self.left_out.told();
            return Err(ExchangeError::NoHoles { left_out });
        }
        let all: Vec<[f64; 2]> = self.holes.iter().map(|h| h.at).collect();
        let placed = Placed::of(&self.contours, &all, self.choice)?;
        for line in placed.left_out {
            self.left_out.add(line);
        }
        let mut taken = placed.taken;
        let mut found = Imported {
            sheet_mm: placed.sheet_mm,
            warnings: placed.warnings,
            ..Imported::of(units)
        };
        let mut same = 0;
        // Those drilled first: a circle on another layer about one makes it no hole to be marked. Of one place with a
        // name and one without, the name counts.
        self.holes.sort_by_key(|h| (!h.drilled, h.name.is_none()));
        let mut sorted: Vec<Met> = std::mem::take(&mut self.holes);
        for hole in &mut sorted {
            hole.at = [0, 1].map(|k| hole.at[k] - placed.origin_mm[k]);
        }
        for hole in sorted {
            let all = found.holes.iter().chain(&found.drilled);
            if all.map(|h| h.at).any(|h| apart(h, hole.at) < ONE_HOLE_MM) {
                same += 1;
                continue;
            }
            let list = if hole.drilled {
                &mut found.drilled
            } else {
                &mut found.holes
            };
            list.push(Found {
                name: hole.name,
                at: hole.at,
            });
        }
        if found.holes.len() + found.drilled.len() > MOST_HOLES {
            return Err(ExchangeError::TooMany);
        }
        if found.holes.is_empty() {
            let left_out = self.left_out.told();
            return Err(ExchangeError::NoHoles { left_out });
        }
        taken.extend(self.taken.told());
        if same > 0 {
            taken.push(format!(
                "{same} of them at the centre of another: one hole each"
            ));
        }
        taken.push(counted);
        let note = |key: &str| {
            let found = self.notes.iter().find_map(|n| n.strip_prefix(key));
            found.map(number).filter(|v| *v > 0.0)
        };
        found.tolerance_mm = note("tolerance_mm=");
        found.rivet_mm = note("rivet_mm=");
        found.taken = taken;
        found.left_out = self.left_out.told();
        Ok(found)
    }

    /// What became of everything in the drawing.
    fn counted(&self) -> String {
        let (taken, left_out) = (self.taken.sum(), self.left_out.sum());
        format!(
            "{} things in the drawing, counted through its blocks: {taken} taken as holes, {left_out} left out, {} lines \
             and arcs looked at for outlines",
            taken + left_out + self.parts,
            self.parts
        )
    }

    /// Lines and arcs that meet, as circles and closed lines.
    fn join(&mut self) -> Result<(), ExchangeError> {
        for (layer, strokes) in std::mem::take(&mut self.strokes) {
            let (loops, left) = joined(&strokes);
            for path in loops {
                let Some(contour) = Contour::of(&layer, path) else {
                    continue;
                };
                match contour.circle() {
                    Some((at, d)) => {
                        let top = Place {
                            map: FlatMap::scaled(1.0),
                            layers: Vec::new(),
                            hidden: None,
                            blocks: Vec::new(),
                        };
                        let what = format!("circle in arcs on layer {}", shown(&layer));
                        self.circle(at, Some(d), (&layer, &top, &what))?;
                    }
                    None => self.contours.push(contour),
                }
            }
            if left > 0 {
                self.left_out.add(format!(
                    "layer {} with lines and arcs ({left}) that close to nothing: neither hole nor outline",
                    shown(&layer)
                ));
            }
        }
        Ok(())
    }
}
