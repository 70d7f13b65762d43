//! The table, the list of failures and the bars.

use serde_json::{Value, json};

use crate::score::Score;
use crate::steps::STEPS;

/// Steps whose photos are taken with care at about 10 px/mm.
const CAREFUL: [usize; 2] = [1, 2];
/// Position RMS of these, mm.
const RMS_MM: f64 = 0.06;
/// 95th percentile of these, mm.
const P95_MM: f64 = 0.12;
/// Recall and precision.
const FOUND: f64 = 0.99;
/// Photos that are good enough for a person, and get an answer.
const ANSWERED: f64 = 0.90;
/// The same of the other steps, and strays found; rings and cross-outs named rightly.
const FOUND_HARD: f64 = 0.985;
const STRAYS: f64 = 0.98;
const NAMED: f64 = 0.97;
/// Photos in which print, a scratch or grain is called a live mark, or unsure; faultless ones called not ready.
const NOISE_LIVE: f64 = 0.02;
const NOISE_UNSURE: f64 = 0.05;
const ALARMS: f64 = 0.02;

/// One photo's result.
pub(crate) struct Line {
    pub(crate) id: String,
    pub(crate) step: usize,
    pub(crate) title: String,
    pub(crate) megapixels: f64,
    pub(crate) render_s: f64,
    pub(crate) score: Score,
}

/// Figures of several photos together.
struct Sum {
    photos: usize,
    rms: f64,
    p95: f64,
    worst: f64,
    covered: [usize; 2],
    recall: [usize; 2],
    precision: [usize; 2],
    named: [usize; 2],
    strays: [usize; 2],
    strays_named: usize,
    noise_live: usize,
    noise_unsure: usize,
    faultless: usize,
    false_ready: usize,
    false_alarm: usize,
    holes_wronged: usize,
    dangers: usize,
    refused_right: usize,
    refused_wrong: usize,
    clear: usize,
    unsure: usize,
    crashed: usize,
    mean_ms: f64,
    most_ms: f64,
    peak_mb: f64,
}

impl Sum {
    fn of<'a>(lines: impl Iterator<Item = &'a Line>) -> Self {
        let scores: Vec<&Score> = lines.map(|l| &l.score).collect();
        let pair = |f: fn(&Score) -> [usize; 2]| {
            scores
                .iter()
                .map(|s| f(s))
                .fold([0, 0], |a, b| [a[0] + b[0], a[1] + b[1]])
        };
        let count = |f: &dyn Fn(&Score) -> bool| scores.iter().filter(|s| f(s)).count();
        let mut errors: Vec<f64> = scores
            .iter()
            .flat_map(|s| s.errors.iter().copied())
            .collect();
        errors.sort_by(f64::total_cmp);
        let n = errors.len();
        let largest = |f: fn(&Score) -> f64| scores.iter().map(|s| f(s)).fold(0.0, f64::max);
        Self {
            photos: scores.len(),
            rms: (errors.iter().map(|e| e * e).sum::<f64>() / n.max(1) as f64).sqrt(),
            p95: errors
                .get((n * 95).div_ceil(100).saturating_sub(1))
                .copied()
                .unwrap_or(0.0),
            worst: errors.last().copied().unwrap_or(0.0),
            covered: pair(|s| s.covered),
            recall: pair(|s| s.recall),
            precision: pair(|s| s.precision),
            named: pair(|s| s.named),
            strays: pair(|s| s.strays),
            strays_named: scores.iter().map(|s| s.strays_named).sum(),
            noise_live: count(&|s| s.noise_live),
            noise_unsure: count(&|s| s.noise_unsure),
            faultless: count(&|s| s.truth_ready),
            false_ready: count(&|s| s.false_ready),
            false_alarm: count(&|s| s.false_alarm),
            holes_wronged: scores.iter().map(|s| s.holes_wronged).sum(),
            dangers: scores.iter().map(|s| s.dangers.len()).sum(),
            refused_right: count(&|s| s.refused && s.excuse.is_some()),
            refused_wrong: count(&|s| s.refused && s.excuse.is_none()),
            clear: count(&|s| s.excuse.is_none()),
            unsure: scores.iter().map(|s| s.unsure).sum(),
            crashed: count(&|s| s.crashed),
            mean_ms: scores.iter().map(|s| s.total_ms).sum::<f64>() / scores.len().max(1) as f64,
            most_ms: largest(|s| s.total_ms),
            peak_mb: largest(|s| s.peak_mb),
        }
    }

    fn json(&self) -> Value {
        json!({
            "photos": self.photos, "rms_mm": self.rms, "p95_mm": self.p95, "worst_mm": self.worst,
            "covered": self.covered, "recall": self.recall, "precision": self.precision,
            "named": self.named, "strays": self.strays, "strays_named": self.strays_named,
            "noise_live": self.noise_live,
            "noise_unsure": self.noise_unsure, "faultless": self.faultless, "false_ready": self.false_ready, "false_alarm": self.false_alarm,
            "holes_wronged": self.holes_wronged, "dangers": self.dangers,
            "refused_right": self.refused_right, "refused_wrong": self.refused_wrong,
            "good_enough": self.clear, "unsure": self.unsure, "crashed": self.crashed,
            "mean_ms": self.mean_ms, "most_ms": self.most_ms, "peak_mb": self.peak_mb,
        })
    }
}

fn share([part, all]: [usize; 2]) -> f64 {
    if all == 0 {
        1.0
    } else {
        part as f64 / all as f64
    }
}

/// Prints what went wrong with one photo.
pub(crate) fn failures(line: &Line) {
    let (id, title) = (&line.id, &line.title);
    for danger in &line.score.dangers {
        println!("DANGER photo {id}: {danger} [{title}]");
    }
    for text in &line.score.lines {
        println!("photo {id}: {text} [{title}]");
    }
}

/// Prints the table.
pub(crate) fn print(lines: &[Line]) {
    println!(
        "\n{:<33} {:>3} | {:>6} {:>6} {:>6} {:>5} | {:>6} {:>6} {:>7} | {:>5} {:>5} {:>5} {:>5} {:>9} {:>6} | {:>5} {:>5} {:>4}",
        "step",
        "n",
        "rms",
        "95 %",
        "worst",
        "cover",
        "recall",
        "precis",
        "named",
        "DANGR",
        "alarm",
        "holes",
        "crash",
        "refused",
        "unsure",
        "ms",
        "max",
        "MB"
    );
    println!(
        "{:<33} {:>3} | {:>6} {:>6} {:>6} {:>5} | {:>6} {:>6} {:>7} | {:>5} {:>5} {:>5} {:>5} {:>9} {:>6} | {:>5} {:>5} {:>4}",
        "",
        "",
        "mm",
        "mm",
        "mm",
        "in U",
        "",
        "",
        "",
        "",
        "false",
        "wrong",
        "",
        "ill/well",
        "",
        "mean",
        "",
        "peak"
    );
    for (step, name) in (1..).zip(STEPS) {
        let these = || lines.iter().filter(move |l| l.step == step);
        if these().next().is_some() {
            row(&format!("{step:>2} {name}"), &Sum::of(these()));
        }
    }
    row("all", &Sum::of(lines.iter()));
    row(
        "good enough for a person",
        &Sum::of(lines.iter().filter(|l| l.score.excuse.is_none())),
    );
}

fn row(name: &str, s: &Sum) {
    println!(
        "{name:<33} {:>3} | {:>6.3} {:>6.3} {:>6.3} {:>5.3} | {:>6.4} {:>6.4} {:>7} | {:>5} {:>5} {:>5} {:>5} {:>9} {:>6} | {:>5.0} {:>5.0} {:>4.0}",
        s.photos,
        s.rms,
        s.p95,
        s.worst,
        share(s.covered),
        share(s.recall),
        share(s.precision),
        format!("{}/{}", s.named[0], s.named[1]),
        s.dangers,
        s.false_alarm,
        s.holes_wronged,
        s.crashed,
        format!("{}/{}", s.refused_wrong, s.refused_right),
        s.unsure,
        s.mean_ms,
        s.most_ms,
        s.peak_mb,
    );
}

/// Prints the table as docs/accuracy.md has it, in Markdown.
pub(crate) fn print_markdown(lines: &[Line]) {
    println!(
        "\n| step | photos | rms mm | 95 % mm | worst mm | in U | recall | precision | false ready | false alarm | refused | time ms | memory MB |\n\
         | --- | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: | --: |"
    );
    for (step, name) in (1..).zip(STEPS) {
        let these = || lines.iter().filter(move |l| l.step == step);
        if these().next().is_some() {
            markdown_row(&format!("{step} {name}"), &Sum::of(these()));
        }
    }
    markdown_row("all", &Sum::of(lines.iter()));
    let clear = lines.iter().filter(|l| l.score.excuse.is_none());
    markdown_row("good enough for a person", &Sum::of(clear));
}

fn markdown_row(name: &str, s: &Sum) {
    println!(
        "| {name} | {} | {:.3} | {:.3} | {:.3} | {:.3} | {:.3} | {:.3} | {} | {} | {} | {:.0} | {:.0} |",
        s.photos,
        s.rms,
        s.p95,
        s.worst,
        share(s.covered),
        share(s.recall),
        share(s.precision),
        s.false_ready,
        s.false_alarm,
        s.refused_wrong,
        s.mean_ms,
        s.peak_mb,
    );
}

/// Prints the bars; whether all hold.
pub(crate) fn bars(lines: &[Line]) -> bool {
    let careful = Sum::of(lines.iter().filter(|l| CAREFUL.contains(&l.step)));
    let clear = Sum::of(lines.iter().filter(|l| l.score.excuse.is_none()));
    let all = Sum::of(lines.iter());
    let answered = 1.0 - clear.refused_wrong as f64 / clear.clear.max(1) as f64;
    let mut held = true;
    let mut bar = |name: &str, value: f64, limit: f64, holds: bool| {
        held &= holds;
        let word = if holds { "pass" } else { "FAIL" };
        println!("{word}  {name}: {value:.4} (bar {limit})");
    };
    println!();
    if careful.photos > 0 {
        bar(
            "easy and tilted, position RMS, mm",
            careful.rms,
            RMS_MM,
            careful.rms <= RMS_MM,
        );
        bar(
            "easy and tilted, 95 % of positions, mm",
            careful.p95,
            P95_MM,
            careful.p95 <= P95_MM,
        );
        for (name, of) in [("recall", careful.recall), ("precision", careful.precision)] {
            bar(
                &format!("easy and tilted, {name}"),
                share(of),
                FOUND,
                share(of) >= FOUND,
            );
        }
    }
    for (name, of) in [("recall", clear.recall), ("precision", clear.precision)] {
        bar(
            &format!("good enough photos, {name}"),
            share(of),
            FOUND,
            share(of) >= FOUND,
        );
    }
    let seen = lines.iter().filter(|l| l.score.excuse.is_none());
    let hard = Sum::of(seen.filter(|l| !CAREFUL.contains(&l.step)));
    for (name, of, limit) in [
        ("recall", hard.recall, FOUND_HARD),
        ("precision", hard.precision, FOUND_HARD),
        (
            "strays told as marks",
            [hard.strays_named, hard.strays[1]],
            STRAYS,
        ),
        ("rings and cross-outs named", hard.named, NAMED),
    ] {
        bar(
            &format!("hard steps, {name}"),
            share(of),
            limit,
            share(of) >= limit,
        );
    }
    println!(
        "      of {} strays {} were told, as marks or as unsure ink",
        hard.strays[1], hard.strays[0]
    );
    let of_photos = |n: usize, all: usize| n as f64 / all.max(1) as f64;
    for (name, value, limit) in [
        (
            "photos with a live mark where none was drawn",
            of_photos(clear.noise_live, clear.photos),
            NOISE_LIVE,
        ),
        (
            "photos with something unsure there",
            of_photos(clear.noise_unsure, clear.photos),
            NOISE_UNSURE,
        ),
        (
            "faultless sheets called not ready",
            of_photos(clear.false_alarm, clear.faultless),
            ALARMS,
        ),
    ] {
        bar(name, value, limit, value <= limit);
    }
    bar(
        "dangerous errors",
        all.dangers as f64,
        0.0,
        all.dangers == 0,
    );
    bar(
        "checks that crashed",
        all.crashed as f64,
        0.0,
        all.crashed == 0,
    );
    bar(
        "good enough photos that got an answer",
        answered,
        ANSWERED,
        answered >= ANSWERED,
    );
    held
}

/// All figures.
pub(crate) fn json(lines: &[Line]) -> Value {
    let steps: Vec<Value> = (1..)
        .zip(STEPS)
        .filter(|(step, _)| lines.iter().any(|l| l.step == *step))
        .map(|(step, name)| {
            json!({ "step": step, "name": name, "sum": Sum::of(lines.iter().filter(|l| l.step == step)).json() })
        })
        .collect();
    let photos: Vec<Value> = lines
        .iter()
        .map(|l| {
            let s = &l.score;
            json!({
                "photo": l.id, "title": l.title, "megapixels": l.megapixels, "render_s": l.render_s,
                "verdict": s.verdict, "truth_ready": s.truth_ready, "excuse": s.excuse,
                "errors_mm": s.errors, "covered": s.covered, "recall": s.recall,
                "precision": s.precision, "named": s.named, "unsure": s.unsure,
                "px_per_mm": s.px_per_mm, "ms": s.total_ms, "peak_mb": s.peak_mb,
                "dangers": s.dangers, "failures": s.lines,
            })
        })
        .collect();
    json!({ "format": "punchready.ladder/1", "steps": steps, "all": Sum::of(lines.iter()).json(), "photos": photos })
}
