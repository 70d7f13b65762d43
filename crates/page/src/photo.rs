//! Photos: a first look, the whole check, and its page.

use std::borrow::Cow;
use std::path::Path;

use punchready::check::{Checked, FirstLook, Given, check_watched, first_look, said};
use punchready::decide;
use punchready::frame::{Pixel, Point, Sheet};
use punchready::photo::{Photo, colour_of_bytes, of_bytes};
use punchready::plan::Plan;
use punchready::report::{
    PixelFromSheet, Report, ReportError, answers, clearest, json, page, picture, text, words,
};
use punchready::verdict::place_near;
use serde::Deserialize;
use serde_json::{Value, json};

use crate::plan::read;
use crate::{Answer, Answered, Refusal};

/// Columns of the summary.
const COLUMNS: usize = 80;

/// What the user says besides the plan, in the words of the command line.
#[derive(Deserialize, Default)]
#[serde(default, deny_unknown_fields)]
struct Said {
    bars: Option<String>,
    card_below: Option<String>,
    card_thickness: Option<String>,
    known: Vec<String>,
    datum_corner: Option<String>,
    stage: Option<String>,
}

impl Said {
    fn given(&self, plan: &Plan) -> Result<Given, Refusal> {
        let of = |name: &str, why: String| {
            Refusal::new(format!("{name}: {why}"), "correct it on this page")
        };
        let mut given = Given::default();
        if let Some(text) = &self.bars {
            given.print_scale = Some(said::bars(text).map_err(|e| of("the bars", e))?);
        }
        if let Some(text) = &self.card_below {
            given.card_below_mm =
                Some(said::below(text).map_err(|e| of("height of the cards", e))?);
        }
        if let Some(text) = &self.card_thickness {
            let mm = said::thickness(text).map_err(|e| of("thickness of the cards", e))?;
            given.card_thickness_mm = Some(mm);
        }
        for text in &self.known {
            given
                .known
                .push(said::known(text).map_err(|e| of("measured side", e))?);
        }
        if let Some(text) = &self.datum_corner {
            given.datum_corner = Some(said::corner(text).map_err(|e| of("corner", e))?);
        }
        if let Some(text) = &self.stage {
            given.stage = said::stage(text).map_err(|e| of("stage", e))?;
        }
        said::believable(&given, plan).map_err(|[what, hint]| Refusal::new(what, hint))?;
        Ok(given)
    }
}

/// A first look at one photo.
#[derive(Deserialize)]
pub(crate) struct Look {
    plan: String,
    name: String,
    #[serde(default)]
    said: Said,
}

impl Look {
    pub(crate) fn run(self, files: Vec<Vec<u8>>, stage: &mut dyn FnMut(&'static str)) -> Answer {
        let plan = read(&self.plan, "plan.toml")?;
        let given = self.said.given(&plan)?;
        let bytes = files.into_iter().next().unwrap_or_default();
        let photo = of_bytes(bytes, Path::new(&self.name)).map_err(|e| Refusal::told(&e))?;
        stage("decode");
        let look = first_look(&photo, &plan, &given);
        Ok((describe(&photo, &look), Vec::new()))
    }
}

fn describe(photo: &Photo, look: &FirstLook) -> Value {
    let pixel = |p: &Point<Pixel>| json!([p.x, p.y]);
    let corners = |c: &[Point<Pixel>; 4]| c.iter().map(pixel).collect::<Value>();
    let camera = &photo.camera;
    json!({
        "size": [photo.grey.width(), photo.grey.height()],
        "camera": [&camera.make, &camera.model],
        "knows_lens": camera.focal_35mm.is_some() || camera.focal_mm.is_some(),
        "warnings": photo.warnings,
        "cards": look.cards.iter().map(|(n, c)| json!({"number": n, "corners": corners(c)})).collect::<Value>(),
        "sheet": look.sheet.as_ref().map(corners),
        "px_per_mm": look.px_per_mm,
        "kept": look.kept,
        "burnt": look.burnt,
        "stops": look.stops.as_ref().map(|r| json!({"code": r.code, "text": r.text})),
        "better": look.better,
    })
}

/// The whole check.
#[derive(Deserialize)]
pub(crate) struct Check {
    plan: String,
    /// Name of the plan's file: the title, where the plan has none.
    plan_name: String,
    /// Names of the photos, in the order of the files.
    names: Vec<String>,
    #[serde(default)]
    said: Said,
    /// The file of answers.
    answers: Option<String>,
}

/// A finished check with what its page is made from.
pub(crate) struct Last {
    plan: Plan,
    checked: Checked,
    /// Names and bytes of the photos, by name.
    photos: Vec<(String, Vec<u8>)>,
}

type Map<'c> = Box<dyn Fn(Point<Sheet>) -> Option<Point<Pixel>> + 'c>;

impl Check {
    /// The files are the JSON, byte for byte the command line's, and of each photo its signs as SVG.
    pub(crate) fn run(
        self,
        files: Vec<Vec<u8>>,
        stage: &mut dyn FnMut(&'static str),
    ) -> Result<(Answered, Last), Refusal> {
        let plan = read(&self.plan, &self.plan_name)?;
        let mut given = self.said.given(&plan)?;
        if let Some(text) = &self.answers {
            let path = Path::new("answers.toml");
            let answers = decide::file::parse(text, path).map_err(|e| Refusal::told(&e))?;
            decide::file::suits(&answers, &plan).map_err(|e| Refusal::told(&e))?;
            given.answers = Some(answers);
        }
        if files.is_empty() || files.len() != self.names.len() {
            return Err(Refusal::new("no photo", "take one, or choose a file"));
        }
        // The order of the command line.
        let mut photos: Vec<(String, Vec<u8>)> = self.names.into_iter().zip(files).collect();
        photos.sort_by(|a, b| a.0.cmp(&b.0));
        if let Some(twice) = photos.windows(2).find(|w| w[0].0 == w[1].0) {
            return Err(Refusal::new(
                format!("{} is given twice", twice[0].0),
                "give each photo once, under a name of its own",
            ));
        }
        let mut decoded = Vec::new();
        for (name, bytes) in &photos {
            let photo = of_bytes(bytes.clone(), Path::new(name)).map_err(|e| Refusal::told(&e))?;
            decoded.push(photo);
        }
        stage("decode");
        let all: Vec<&Photo> = decoded.iter().collect();
        let checked = check_watched(&all, &plan, &given, stage);
        drop(decoded);
        let last = Last {
            plan,
            checked,
            photos,
        };
        Ok((last.answer(), last))
    }
}

impl Last {
    fn maps(&self) -> Vec<Map<'_>> {
        (0..self.photos.len())
            .map(|i| Box::new(move |at| self.checked.pixel_in_photo(i, at)) as Map)
            .collect()
    }

    fn answer(&self) -> Answered {
        let report = self.checked.report(&self.plan);
        let maps = self.maps();
        let signs = (0..maps.len()).map(|i| picture::signs_svg(&report, i, &*maps[i]).into_bytes());
        let mut files = vec![json::to_string(&report).into_bytes()];
        files.extend(signs);
        let answer = json!({
            "template": answers::template(&report),
            "summary": text::summary(&report, COLUMNS, false),
            "counts": words::counts(&report),
            "places": self.places(&report, &maps),
        });
        (answer, files)
    }

    /// Of each hole and stray, where the photo that shows it best shows it. Lengths in px of that photo.
    fn places(&self, report: &Report, maps: &[Map]) -> Value {
        let all: Vec<PixelFromSheet> = maps.iter().map(|m| &**m as PixelFromSheet).collect();
        let show = |at: Point<Sheet>| {
            let which = clearest(report, &all, at);
            let p = maps.get(which)?(at)?;
            let photo = report.photos.get(which)?;
            let inside = (0.0..f64::from(photo.width)).contains(&p.x)
                && (0.0..f64::from(photo.height)).contains(&p.y);
            inside.then_some((which, p))
        };
        let place = |photo: usize, at: Point<Sheet>| maps[photo](at).map(|p| json!([p.x, p.y]));
        let scale = |photo: usize, at: Point<Sheet>| {
            let a = maps[photo](at)?;
            let b = maps[photo](Point::new(at.x + 1.0, at.y))?;
            Some(a.distance(b))
        };
        let holes = report.verdict.holes.iter().map(|h| {
            let (photo, at) = show(h.found.unwrap_or(h.planned))?;
            Some(json!({
                "hole": h.name, "photo": photo, "pixel": [at.x, at.y],
                "planned": place(photo, h.planned), "found": h.found.and_then(|f| place(photo, f)),
                "px_per_mm": scale(photo, h.planned), "said": words::hole_meaning(h),
            }))
        });
        let names = answers::names(report);
        let strays = report
            .verdict
            .strays
            .iter()
            .zip(names)
            .enumerate()
            .map(|(nth, (s, name))| {
                let (photo, at) = show(s.at)?;
                Some(json!({
                    "stray": nth, "name": name, "photo": photo, "pixel": [at.x, at.y],
                    "px_per_mm": scale(photo, s.at), "near": place_near(&self.plan, s.at),
                    "said": words::stray_meaning(s),
                }))
            });
        let (holes, strays): (Value, Value) =
            (holes.flatten().collect(), strays.flatten().collect());
        json!({"holes": holes, "strays": strays})
    }

    /// The command line's page of this check.
    pub(crate) fn report(&self) -> Answer {
        let report = self.checked.report(&self.plan);
        let maps = self.maps();
        let maps: Vec<&dyn Fn(Point<Sheet>) -> Option<Point<Pixel>>> =
            maps.iter().map(|m| &**m).collect();
        let mut load = |i: usize| {
            let (name, bytes) = &self.photos[i];
            // It was decoded before, in grey.
            colour_of_bytes(bytes.clone(), Path::new(name))
                .map(Cow::Owned)
                .map_err(|_| ReportError::EmptyPhoto)
        };
        let html = page::html_of(&report, &maps, &mut load).map_err(|e| Refusal::told(&e))?;
        Ok((json!({}), vec![html.into_bytes()]))
    }
}
