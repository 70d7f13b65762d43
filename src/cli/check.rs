//! `punchready check`.

use std::borrow::Cow;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use image::RgbImage;

use punchready::check::{Checked, Given, check_watched, said};
use punchready::decide;
use punchready::draw;
use punchready::frame::{Pixel, Point, Sheet};
use punchready::grade::store::Hash;
use punchready::lens::profile::{self, Profile};
use punchready::photo::{self, Photo};
use punchready::report::{CAUTION, Report, answers, json, page, picture, text, write_atomically};
use punchready::survey::Priors;

use super::args::{CheckArgs, When};
use super::exit::{Failure, Status};
use super::out::{self, Output};
use super::plan::read as read_plan;
use super::progress::Progress;

/// Quality of a JPEG picture: fine lines stay clean, and 12 MP stay under about 5 MB.
const PICTURE_QUALITY: u8 = 90;

/// What to check and where the results go.
#[derive(Debug)]
pub(crate) struct Options {
    photos: Vec<PathBuf>,
    plan: PathBuf,
    given: Given,
    lens: Option<PathBuf>,
    json: Option<JsonTo>,
    picture: Option<(PathBuf, Encoding)>,
    page: Option<PathBuf>,
    decide: Option<PathBuf>,
    template: Option<PathBuf>,
    budget: bool,
    timings: bool,
    colour: bool,
    quiet: bool,
    force: bool,
}

#[derive(Debug, PartialEq, Eq)]
enum JsonTo {
    Stdout,
    File(PathBuf),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Encoding {
    Jpeg,
    Png,
}

impl Options {
    /// The options as typed, checked as far as they can be without reading a file.
    pub(crate) fn of(args: CheckArgs) -> Result<Self, Failure> {
        let mut photos = args.photos;
        // The order that all results have, whichever they were given in.
        photos.sort();
        if let Some(twice) = photos.windows(2).find(|w| w[0] == w[1]) {
            return Err(Failure::new(
                format!("{} is given twice", twice[0].display()),
                "give each photo once",
            ));
        }
        for (i, (name, _)) in args.known.iter().enumerate() {
            if args.known[..i].iter().any(|(n, _)| n == name) {
                return Err(Failure::new(
                    format!("--known {} is given twice", name.name()),
                    "give each length once",
                ));
            }
        }
        let picture = args
            .picture
            .map(|path| Ok::<_, Failure>((encoding(&path)?, path)))
            .transpose()?;
        let options = Self {
            photos,
            plan: args.plan,
            given: Given {
                print_scale: args.bars,
                card_thickness_mm: args.card_thickness,
                card_below_mm: args.card_below,
                known: args.known,
                datum_corner: args.datum_corner,
                stage: args.stage,
                cameras: Vec::new(),
                answers: None,
            },
            lens: args.lens,
            json: args.json.map(|path| {
                if path == Path::new("-") {
                    JsonTo::Stdout
                } else {
                    JsonTo::File(path)
                }
            }),
            picture: picture.map(|(encoding, path)| (path, encoding)),
            page: args.report.map(page_file).transpose()?,
            decide: args.decide,
            template: args.decide_template.map(template_file).transpose()?,
            budget: args.budget,
            timings: args.timings,
            colour: out::colour(args.color),
            quiet: args.quiet,
            force: args.force,
        };
        let mut read: Vec<&Path> = vec![&options.plan];
        read.extend(options.photos.iter().map(PathBuf::as_path));
        read.extend(options.lens.as_deref());
        read.extend(options.decide.as_deref());
        let outputs = options.outputs();
        let outputs: Vec<Output> = outputs
            .iter()
            .map(|(flag, path, sign)| Output { flag, path, sign })
            .collect();
        out::check_places(&outputs, &read, args.force)?;
        if let Some(path) = &options.template {
            keep_answers(path, options.force)?;
        }
        Ok(options)
    }

    /// As the demo has it: all reports beside the photo.
    pub(crate) fn of_demo(
        photo: PathBuf,
        plan: PathBuf,
        given: Given,
        [json, picture, page]: [PathBuf; 3],
    ) -> Self {
        Self {
            photos: vec![photo],
            plan,
            given,
            lens: None,
            json: Some(JsonTo::File(json)),
            picture: Some((picture, Encoding::Jpeg)),
            page: Some(page),
            decide: None,
            template: None,
            budget: false,
            timings: false,
            colour: out::colour(When::Auto),
            quiet: false,
            force: false,
        }
    }

    /// Each file to be written: its option, its place, and what stands in every such file.
    fn outputs(&self) -> Vec<(&'static str, PathBuf, &'static str)> {
        let mut all = Vec::new();
        if let Some(JsonTo::File(path)) = &self.json {
            all.push(("--json", path.clone(), "punchready.check/"));
        }
        if self.picture.is_some() {
            let file = |i| ("--picture", self.picture_file(i), out::SIGN);
            all.extend((0..self.photos.len()).map(file));
        }
        let page = self.page.clone();
        all.extend(page.map(|path| ("--report", path, CAUTION)));
        let template = self.template.clone();
        all.extend(template.map(|path| ("--decide-template", path, decide::file::FORMAT)));
        all
    }

    /// The picture of a photo: the file named, or with the photo's number where there are several.
    fn picture_file(&self, photo: usize) -> PathBuf {
        let Some((path, _)) = &self.picture else {
            return PathBuf::new();
        };
        if self.photos.len() == 1 {
            return path.clone();
        }
        let stem = path.file_stem().unwrap_or_default().to_string_lossy();
        let ending = path.extension().unwrap_or_default().to_string_lossy();
        path.with_file_name(format!("{stem}-{}.{ending}", photo + 1))
    }
}

fn encoding(path: &Path) -> Result<Encoding, Failure> {
    match ending(path).as_str() {
        "jpg" | "jpeg" => Ok(Encoding::Jpeg),
        "png" => Ok(Encoding::Png),
        _ => Err(Failure::new(
            format!(
                "--picture {}: the ending does not say what to write",
                path.display()
            ),
            "let the name end in .jpg or .png",
        )),
    }
}

fn page_file(path: PathBuf) -> Result<PathBuf, Failure> {
    if matches!(ending(&path).as_str(), "html" | "htm") {
        return Ok(path);
    }
    Err(Failure::new(
        format!("--report {}: the report is a web page", path.display()),
        "let the name end in .html",
    ))
}

fn template_file(path: PathBuf) -> Result<PathBuf, Failure> {
    if ending(&path) == "toml" {
        return Ok(path);
    }
    Err(Failure::new(
        format!(
            "--decide-template {}: the answers are a TOML file",
            path.display()
        ),
        "let the name end in .toml",
    ))
}

fn ending(path: &Path) -> String {
    path.extension()
        .map_or_else(String::new, |e| e.to_string_lossy().to_lowercase())
}

/// Checks, prints the summary, writes the files.
pub(crate) fn run(options: &Options) -> Result<Status, Failure> {
    let mut clock = Clock::start();
    look_at_files(options)?;
    let plan = read_plan(&options.plan)?;
    said::believable(&options.given, &plan).map_err(|[what, hint]| Failure::new(what, hint))?;
    // One photo is done before anybody wonders.
    let bar = (options.photos.len() > 1).then(|| Progress::of("reading the photos", options.quiet));
    let mut photos = Vec::new();
    let mut hashes = Vec::new();
    for file in &options.photos {
        // Before it is read: what is drawn on later must be the photo that was measured.
        hashes.push(Hash::of_file(file).ok());
        photos.push(photo::read(file).map_err(|e| Failure::advised(&e))?);
    }
    clock.lap("decode");
    let mut given = options.given.clone();
    if let Some(path) = &options.lens {
        given.cameras = photos
            .iter()
            .map(|photo| profile_for(path, photo))
            .collect::<Result<_, _>>()?;
    }
    if let Some(path) = &options.decide {
        let answers = decide::file::read(path).map_err(|e| Failure::advised(&e))?;
        decide::file::suits(&answers, &plan).map_err(|e| Failure::advised(&e))?;
        given.answers = Some(answers);
    }
    let photos_read = photos.iter().collect::<Vec<_>>();
    let checked = check_watched(&photos_read, &plan, &given, &mut |stage| {
        clock.lap(stage);
        if let Some(bar) = &bar {
            bar.say(format!("{} photos: {stage} done", options.photos.len()));
        }
    });
    drop(bar);
    // Room for the colour photos.
    drop(photos);
    let report = checked.report(&plan);
    if !options.quiet && options.json != Some(JsonTo::Stdout) {
        out::print(&text::summary(&report, out::columns(), options.colour))?;
        if options.budget {
            out::print(&text::budget(&report, out::columns(), options.colour))?;
        }
    }
    let shown = Shown {
        options,
        checked: &checked,
        hashes,
    };
    shown.write(&report, &mut clock)?;
    if options.timings {
        clock.tell();
    }
    Ok(checked.verdict.decision.into())
}

/// Photo and plan swapped, or a folder in place of photos: what the files' own faults would not say.
fn look_at_files(options: &Options) -> Result<(), Failure> {
    if let Some(folder) = options.photos.iter().find(|p| p.is_dir()) {
        return Err(Failure::new(
            format!(
                "{}: this is a folder; expected a photo, or several of one piece",
                out::name(folder)
            ),
            format!(
                "give the photos in it, such as {}; a class of pieces goes to punchready grade",
                out::name(&folder.join("*.jpg"))
            ),
        ));
    }
    let text = options.photos.iter().find(|p| ending(p) == "toml");
    if let Some(text) = text
        && matches!(
            ending(&options.plan).as_str(),
            "jpg" | "jpeg" | "png" | "heic"
        )
    {
        let (photo, plan) = (out::name(&options.plan), out::name(text));
        return Err(Failure::new(
            format!("{photo} is given as the plan, and {plan} as the photo: they are swapped"),
            format!("punchready check {photo} --plan {plan}"),
        ));
    }
    Ok(())
}

/// The camera by a profile, which must suit the photo, or by the one of a folder that suits, if any does.
fn profile_for(path: &Path, photo: &Photo) -> Result<Priors, Failure> {
    let told = |e| Failure::advised(&e);
    if path.is_dir() {
        let profiles = Profile::read_folder(path).map_err(told)?;
        return Ok(profile::choose(&profiles, photo));
    }
    Profile::read(path)
        .and_then(|p| p.priors(photo))
        .map_err(told)
}

/// Refuses to write over a file in which a person has answered something, or may have: one that cannot be read.
fn keep_answers(path: &Path, force: bool) -> Result<(), Failure> {
    let answered = |a: &decide::Answer| a.says != decide::Says::Open;
    let what = match decide::file::read(path) {
        Ok(answers) if answers.places.iter().any(answered) => "has answers in it",
        Err(_) if !force && std::fs::metadata(path).is_ok_and(|m| m.len() > 0) => {
            "cannot be read, and may have answers in it"
        }
        _ => return Ok(()),
    };
    Err(Failure::new(
        format!(
            "--decide-template {}: this file {what}; they would be lost",
            path.display()
        ),
        "name another file; those of --decide FILE are in the new one again",
    ))
}

/// A check to be shown in files.
struct Shown<'a> {
    options: &'a Options,
    checked: &'a Checked,
    /// Of each photo's bytes as measured.
    hashes: Vec<Option<Hash>>,
}

impl Shown<'_> {
    fn write(&self, report: &Report, clock: &mut Clock) -> Result<(), Failure> {
        let options = self.options;
        match &options.json {
            None => {}
            Some(JsonTo::Stdout) => out::print(&json::to_string(report))?,
            Some(JsonTo::File(path)) => write(options, path, json::to_string(report).as_bytes())?,
        }
        if let Some(path) = &options.template {
            // Again, for it may have been filled in meanwhile.
            keep_answers(path, options.force)?;
            write(options, path, answers::template(report).as_bytes())?;
        }
        clock.lap("text and json");
        if options.picture.is_none() && options.page.is_none() {
            return Ok(());
        }
        let maps: Vec<Box<Map>> = (0..options.photos.len())
            .map(|i| Box::new(move |at| self.checked.pixel_in_photo(i, at)) as Box<Map>)
            .collect();
        if let Some((_, encoding)) = &options.picture {
            for (i, map) in maps.iter().enumerate() {
                let colour = self.colour(i)?;
                clock.lap("decode colour");
                let drawn =
                    picture::draw_on(report, i, &colour, map).map_err(|e| Failure::advised(&e))?;
                drop(colour);
                let bytes = match encoding {
                    Encoding::Jpeg => draw::picture_jpeg(&drawn, PICTURE_QUALITY),
                    Encoding::Png => draw::picture_png(&drawn),
                };
                let bytes = bytes.map_err(|e| Failure::told(&e))?;
                write(options, &options.picture_file(i), &bytes)?;
                clock.lap("picture");
            }
        }
        if let Some(path) = &options.page {
            let maps: Vec<&Map> = maps.iter().map(|m| &**m).collect();
            let html = page::html_of(report, &maps, &mut |i| self.colour(i).map(Cow::Owned))?;
            write(options, path, html.as_bytes())?;
            clock.lap("report");
        }
        Ok(())
    }

    /// A photo in colour; another one by now is refused, for the findings are not of it.
    fn colour(&self, i: usize) -> Result<RgbImage, Failure> {
        let file = &self.options.photos[i];
        let colour = photo::read_colour(file).map_err(|e| Failure::advised(&e))?;
        let measured = self.hashes.get(i).copied().flatten();
        if measured.is_some() && Hash::of_file(file).ok() == measured {
            return Ok(colour);
        }
        Err(Failure::new(
            format!(
                "{}: this is not the photo that was measured any more; nothing was drawn on it",
                file.display()
            ),
            "let the photos be while they are checked, and run the check again",
        ))
    }
}

/// Where a photo shows a place of the sheet.
type Map<'c> = dyn Fn(Point<Sheet>) -> Option<Point<Pixel>> + 'c;

fn write(options: &Options, path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_atomically(path, bytes).map_err(|e| Failure::advised(&e))?;
    if !options.quiet {
        out::tell(&format!("wrote {}", out::name(path)));
    }
    Ok(())
}

/// How long each step took.
struct Clock {
    start: Instant,
    last: Instant,
    steps: Vec<(&'static str, Duration)>,
}

impl Clock {
    fn start() -> Self {
        let now = Instant::now();
        Self {
            start: now,
            last: now,
            steps: Vec::new(),
        }
    }

    /// A step is done, or done once more.
    fn lap(&mut self, step: &'static str) {
        let now = Instant::now();
        let took = now - self.last;
        self.last = now;
        match self.steps.iter_mut().find(|(s, _)| *s == step) {
            Some((_, all)) => *all += took,
            None => self.steps.push((step, took)),
        }
    }

    fn tell(&self) {
        for (step, took) in &self.steps {
            out::tell(&format!("{step:<14} {:>7.1} ms", took.as_secs_f64() * 1e3));
        }
        out::tell(&format!(
            "{:<14} {:>7.1} ms",
            "total",
            self.start.elapsed().as_secs_f64() * 1e3
        ));
        if let Some(mb) = peak_memory_mb() {
            out::tell(&format!("{:<14} {mb:>7.1} MB", "peak memory"));
        }
    }
}

/// Largest resident set so far, in 10^6 bytes, where the system tells it (`VmHWM`, in units of 1024
/// bytes; proc(5), from memory).
fn peak_memory_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}
