//! The page: self-contained, safe against its own input, and a browser can show it.
#![allow(
    clippy::unwrap_used,
    reason = "a failing test may panic, in its helpers too"
)]

mod report_fixture;

use std::borrow::Cow;
use std::path::{Path, PathBuf};
use std::process::Command;

use image::{Rgb, RgbImage};
use punchready::frame::{Point, Sheet};
use punchready::ink::Seen;
use punchready::report::{ReportError, Shown, page};
use punchready::verdict::StrayState;
use report_fixture::{
    Fixture, crowd, every_state, hostile, photo, pixel_from_sheet, ready, stopped,
};

/// A page is mailed and opened on phones.
const MAX_BYTES: usize = 2_000_000;

fn html(f: &Fixture) -> String {
    page::html(&f.report(), &photo(f), &pixel_from_sheet).unwrap()
}

/// The values of all attributes called `name`.
fn attributes<'a>(html: &'a str, name: &str) -> Vec<&'a str> {
    let lead = format!(" {name}=\"");
    html.split(lead.as_str())
        .skip(1)
        .map(|rest| rest.split_once('"').unwrap().0)
        .collect()
}

#[test]
fn nothing_is_fetched() {
    for f in [every_state(), ready(), crowd(), stopped()] {
        let html = html(&f);
        assert!(
            html.len() < MAX_BYTES,
            "{} bytes, allowed {MAX_BYTES}",
            html.len()
        );
        assert!(!html.contains("http://") && !html.contains("https://"));
        for src in attributes(&html, "src") {
            assert!(src.starts_with("data:image/"), "{src}");
        }
        for href in attributes(&html, "href") {
            assert!(href.starts_with('#'), "{href}");
        }
        for word in [
            "url(",
            "@import",
            "<link",
            "<iframe",
            "fetch(",
            "XMLHttpRequest",
        ] {
            let allowed = html.matches("url(#unseen)").count() * usize::from(word == "url(");
            assert_eq!(html.matches(word).count(), allowed, "{word}");
        }
        assert!(html.contains("default-src 'none'"));
    }
}

#[test]
fn input_cannot_become_markup() {
    let html = html(&hostile());
    assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert_eq!(html.matches("<script>").count(), 1, "only its own script");
    for tag in [
        "<img src=x",
        "<iframe",
        "<svg onload",
        "<b>\u{7}",
        "<u>",
        "<i>",
        "<a href=\"http",
    ] {
        assert!(!html.contains(tag), "{tag}");
    }
    let stray = html.chars().find(|c| c.is_control() && *c != '\n');
    assert_eq!(stray, None);
}

#[test]
fn it_can_be_heard_as_well_as_seen() {
    let html = html(&every_state());
    assert!(html.contains("<html lang=\"en\">"));
    let images = html.matches("<img ").count();
    assert!(images > 5);
    assert_eq!(
        attributes(&html, "alt")
            .iter()
            .filter(|a| a.len() > 10)
            .count(),
        images
    );
    assert_eq!(
        html.matches("<th ").count(),
        html.matches("<th scope=").count()
    );
    assert_eq!(
        html.matches("<table").count(),
        html.matches("<caption>").count()
    );
    let svgs = html.matches("<svg ").count();
    assert_eq!(html.matches("aria-hidden=\"true\"").count(), svgs);
    let mut ids = attributes(&html, "id");
    ids.sort_unstable();
    let all = ids.len();
    ids.dedup();
    assert_eq!(ids.len(), all, "an id is there twice: {ids:?}");
}

#[test]
fn it_says_what_the_report_says() {
    let f = every_state();
    let html = html(&f);
    // For looking at.
    let looked_at = Path::new(env!("CARGO_TARGET_TMPDIR")).join("report_page.html");
    punchready::report::write_atomically(&looked_at, html.as_bytes()).unwrap();
    let words = [
        "NOT READY",
        "Hatch cover, outboard row",
        "a single stroke away from any ruled line",
        "0.057",
        "1.45 mm",
        "96.6 % of the sheet",
        "lens from the photo&#39;s EXIF focal length",
        "5 checker corners of card 3 lay in glare.",
        punchready::report::CAUTION,
    ];
    for w in words {
        assert!(html.contains(w), "{w}");
    }
    for b in &f.verdict.bench {
        assert!(html.contains(b.as_str()), "{b}");
    }
    for h in &f.verdict.holes {
        assert!(
            html.contains(&format!("\">{}</a></th>", h.name)),
            "{}",
            h.name
        );
    }
    assert!(html == self::html(&f), "same input, other page");
    let empty = page::html(&f.report(), &RgbImage::new(0, 0), &pixel_from_sheet);
    assert!(matches!(empty, Err(ReportError::EmptyPhoto)));
}

/// A browser, or `None` aloud.
fn browser() -> Option<PathBuf> {
    let found = [
        "/usr/bin/chromium",
        "/usr/bin/chromium-browser",
        "/usr/bin/google-chrome",
    ]
    .into_iter()
    .map(PathBuf::from)
    .find(|p| p.exists());
    if found.is_none() {
        println!("SKIPPED: no browser found, the page was not opened");
    }
    found
}

fn run(browser: &Path, dir: &Path, args: &[&str]) -> Vec<u8> {
    let out = Command::new(browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
        ])
        .arg(format!("--user-data-dir={}", dir.join("profile").display()))
        .args(args)
        .output()
        .unwrap();
    assert!(
        out.status.success(),
        "{}",
        String::from_utf8_lossy(&out.stderr)
    );
    out.stdout
}

#[test]
fn a_browser_shows_and_prints_it() {
    let Some(browser) = browser() else { return };
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("page.html");
    std::fs::write(&file, html(&every_state())).unwrap();
    let url = format!("file://{}", file.display());

    // The script ran to its end: it marks the page, and a click on nothing changes nothing.
    let dom = String::from_utf8(run(&browser, dir.path(), &["--dump-dom", &url])).unwrap();
    assert!(
        dom.contains("<html lang=\"en\" class=\"js\">"),
        "the script did not run"
    );

    // Wheel, button, and a hole's link each zoom; the way back is whole again.
    let probe = "<script>(() => {
        const pan = document.getElementById('pan'), view = document.getElementById('view');
        const said = [], say = () => said.push(pan.style.transform);
        view.dispatchEvent(new WheelEvent('wheel', {deltaY: -300, clientX: 400, clientY: 400}));
        say();
        document.getElementById('whole').click(); say();
        document.getElementById('closer').click(); say();
        document.querySelector('a[data-at]').click(); say();
        document.title = 'probe ' + said.join(' | ');
    })()</script></body>";
    let page = html(&every_state()).replace("</body>", probe);
    std::fs::write(&file, page).unwrap();
    let dom = String::from_utf8(run(&browser, dir.path(), &["--dump-dom", &url])).unwrap();
    let title = dom.split_once("<title>probe ").unwrap().1;
    let title = title.split_once("</title>").unwrap().0;
    let scales: Vec<f64> = title
        .split(" | ")
        .map(|t| {
            let s = t.split_once("scale(").unwrap().1;
            s.trim_end_matches(')').parse().unwrap()
        })
        .collect();
    assert!(scales[0] > 1.5, "wheel: {title}");
    assert_eq!(scales[1..], [1.0, 1.6, 5.0], "whole, closer, link: {title}");

    std::fs::write(&file, html(&every_state())).unwrap();
    let shot = dir.path().join("shot.png");
    let to = format!("--screenshot={}", shot.display());
    run(
        &browser,
        dir.path(),
        &["--window-size=1000,1400", &to, &url],
    );
    let shot = image::open(&shot).unwrap().to_rgb8();
    // The verdict's ground, and below it the page.
    assert_eq!(shot.get_pixel(5, 5).0, [0x8a, 0x2c, 0x00]);
    let bottom = shot.get_pixel(5, shot.height() - 5);
    assert_ne!(bottom, shot.get_pixel(5, 5));

    let pdf = dir.path().join("page.pdf");
    let to = format!("--print-to-pdf={}", pdf.display());
    run(&browser, dir.path(), &["--no-pdf-header-footer", &to, &url]);
    let pdf = std::fs::read(&pdf).unwrap();
    assert!(
        pdf.starts_with(b"%PDF") && pdf.len() > 50_000,
        "{} bytes",
        pdf.len()
    );
}

#[test]
fn where_nothing_was_measured_the_photo_is_shown() {
    let html = html(&stopped());
    assert!(html.find("no sheet of") < html.find("<img "));
    assert_eq!(html.matches("<img ").count(), 1);
    for shown in [
        "The photo as it was read",
        ">card 3<",
        ">taken for the sheet<",
    ] {
        assert!(html.contains(shown), "{shown}");
    }
    for noise in ["<table", "unseen", "0.00 px", "Whole sheet", "not used"] {
        let in_script = html.split("<script>").next().unwrap();
        let body = in_script.split("</style>").nth(1).unwrap();
        assert!(!body.contains(noise), "{noise}");
    }
}

/// What the script leaves in the page's title after `probe` ran in it.
fn probed(browser: &Path, page: &str, probe: &str) -> String {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("page.html");
    let script = format!("<script>(() => {{ {probe} }})()</script></body>");
    std::fs::write(&file, page.replace("</body>", &script)).unwrap();
    let url = format!("file://{}", file.display());
    let dom = String::from_utf8(run(browser, dir.path(), &["--dump-dom", &url])).unwrap();
    let title = dom.split_once("<title>").unwrap().1;
    title.split_once("</title>").unwrap().0.to_owned()
}

#[test]
fn unsure_places_are_shown_twice_and_can_be_answered() {
    let f = every_state();
    let html = html(&f);
    let unsure = f.verdict.strays.iter();
    let unsure = unsure.filter(|s| s.state == StrayState::Unsure);
    let n = unsure.count();
    assert!(n > 0);
    assert_eq!(html.matches(">as taken<").count(), n);
    assert_eq!(html.matches(">flattened<").count(), n);
    assert_eq!(attributes(&html, "data-place").len(), 3 * n);
    assert!(html.contains(">U1 unclear mark?</text>") || html.contains(">U1?</text>"));
    // The file is in the page, to be copied where no script runs, and is the one that --decide-template writes.
    let text = html
        .split("<textarea")
        .nth(1)
        .unwrap()
        .split_once('>')
        .unwrap()
        .1;
    let text = text
        .split("</textarea>")
        .next()
        .unwrap()
        .replace("&quot;", "\"")
        .replace("&gt;", ">");
    assert_eq!(text, punchready::report::answers::template(&f.report()));
    let read = punchready::decide::file::parse(&text, Path::new("page.toml")).unwrap();
    assert_eq!(read.places.len(), n);
    let nothing_open = self::html(&ready());
    assert!(!nothing_open.contains("<textarea") && !nothing_open.contains("as taken"));

    let Some(browser) = browser() else { return };
    let probe = "const box = document.querySelector('input[data-place=U1][value=\"not a mark\"]');
        box.click();
        const text = document.getElementById('answers-text').value;
        document.title = text.split('\\n').filter(l => l.startsWith('answer')).join('|');";
    let said = probed(&browser, &html, probe);
    let mut expected = vec!["answer = \"not a mark\""];
    expected.resize(n, "answer = \"?\"");
    assert_eq!(said, expected.join("|"));
}

/// The pictures of the enlarged places, by their titles: as taken, or flattened.
fn enlarged(html: &str, lead: &str) -> Vec<(String, RgbImage)> {
    use base64::Engine;
    let engine = base64::engine::general_purpose::STANDARD;
    html.split("<img src=\"data:image/jpeg;base64,")
        .skip(1)
        .filter_map(|rest| {
            let (code, rest) = rest.split_once('"')?;
            let alt = rest.split_once("alt=\"")?.1.split_once('"')?.0;
            let title = alt.strip_prefix(lead)?;
            let image = image::load_from_memory(&engine.decode(code).ok()?).ok()?;
            Some((title.to_owned(), image.to_rgb8()))
        })
        .collect()
}

/// A second photo is taken because the first does not show a place: enlarging it from the first would be no help.
#[test]
fn places_are_enlarged_from_the_photo_that_shows_them() {
    let mut f = every_state();
    let unsure = f.verdict.strays.iter();
    let unsure = unsure.filter(|s| s.state == StrayState::Unsure);
    let at = unsure.map(|s| s.at).next().unwrap();
    f.photos.push(f.photos[0].clone());
    // The first shows all places furthest from its rim. The ink could not be named in the second, and shows nowhere else;
    // A7 is hidden in the first.
    let near = |p: Point<Sheet>| Some(Point::new(1000.0 + 4.0 * p.x, 1000.0 + 4.0 * p.y));
    let corner = |p: Point<Sheet>| Some(Point::new(10.0 + 4.0 * p.x, 10.0 + 4.0 * p.y));
    let hole = |name: &str| {
        let holes = &f.verdict.holes;
        holes
            .iter()
            .find(|h| h.name == name)
            .unwrap()
            .found
            .unwrap()
    };
    let (a7, a11) = (hole("A7"), hole("A11"));
    let size_mm = [f.plan.width_mm, f.plan.height_mm];
    let first = Shown {
        seen: Seen::of(size_mm, |p| p.distance(a7) > 10.0),
        unsure: Vec::new(),
    };
    let second = Shown {
        seen: Seen::of(size_mm, |p| p.distance(at) > 10.0),
        unsure: vec![at],
    };
    f.shown = vec![Some(first), Some(second)];
    let colours = [Rgb([200, 40, 40]), Rgb([40, 40, 200])];
    let html = page::html_of::<ReportError>(&f.report(), &[&near, &corner], &mut |i| {
        Ok(Cow::Owned(RgbImage::from_pixel(4000, 3000, colours[i])))
    })
    .unwrap();
    let blue = |lead: &str, title: &str| {
        let all = enlarged(&html, lead);
        let (_, image) = all.iter().find(|(t, _)| t.contains(title)).unwrap();
        let [red, _, blue] = image.get_pixel(200, 200).0;
        blue > red
    };
    assert!(blue("Enlarged, as the photo has it: ", "U1"));
    assert!(blue("Enlarged from the photo: ", "U1"));
    assert!(blue("Enlarged from the photo: ", "A7"));
    assert!(a11.distance(a7) > 20.0 && !blue("Enlarged from the photo: ", "A11"));
}

/// Each place that asks for an answer is shown, however much else there is; only what nobody would go through is not.
#[test]
fn all_unsure_places_are_shown_up_to_what_anyone_answers() {
    let mut f = crowd();
    let mut strays = f.verdict.strays.iter();
    let one = strays.find(|s| s.state == StrayState::Unsure).unwrap();
    let one = one.clone();
    let many = |f: &mut Fixture, n: usize| {
        f.verdict.strays.retain(|s| s.state != StrayState::Unsure);
        f.verdict.strays.extend((0..n).map(|i| {
            let mut s = one.clone();
            s.at = Point::new(20.0 + 3.0 * (i % 80) as f64, 20.0 + 9.0 * (i / 80) as f64);
            s
        }));
    };
    for (n, shown) in [(40, 40), (150, 96)] {
        many(&mut f, n);
        let html = html(&f);
        assert_eq!(html.matches(">as taken<").count(), shown);
        let said = f.verdict.strays.len() - n + f.verdict.holes.len() + n - shown;
        let told = format!("{} more places are in the tables only", said - 1);
        assert!(html.contains(&told), "{told}");
        // The file to fill in has all of them.
        let text = punchready::report::answers::template(&f.report());
        assert_eq!(text.matches("[[place]]").count(), n);
        // Some 25 kB a place: a page is still mailed and opened on a phone.
        assert!(html.len() < 3 * MAX_BYTES, "{} bytes", html.len());
    }
}

#[test]
fn each_mark_says_how_sure_it_is() {
    let f = every_state();
    let html = html(&f);
    let marks = f.verdict.holes.iter().filter(|h| h.kind.is_some()).count();
    assert_eq!(html.matches("97 % sure").count(), marks);
    let named = f.verdict.strays.iter();
    let named = named.filter(|s| s.state != StrayState::Unsure).count();
    // Not rounded up: no more is claimed than there is.
    assert_eq!(html.matches("62 % sure").count(), named);
    assert!(marks > 0 && named > 0);
}
