//! The sheets and the summary: what they say, and that a browser shows and prints them.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod grade_support;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use grade_support::{FULL, coupon, draw, key, known, photo, piece};
use image::RgbImage;
use punchready::frame::Point;
use punchready::grade::feedback::{Feedback, Size, html, pdf};
use punchready::grade::gradebook;
use punchready::grade::look::{Look, look};
use punchready::grade::roll::roll;
use punchready::grade::rubric::{Rubric, STARTER, parse};
use punchready::grade::run::Done;
use punchready::grade::summary;
use punchready::plan::Plan;
use punchready::synth::marking::{Hand, Marking};

/// Every item has a weight, and more than one is given by eye.
fn fullest(plan: &Plan) -> Rubric {
    let text = STARTER.replace(
        "weight = 0\nholes = \"none\"",
        "weight = 6\nholes = \"all\"",
    ) + "edge_under = 2.0\n[[instructor]]\nname = \"Edges deburred on both sides, corners broken\"\nweight = 4\n\
           [[instructor]]\nname = \"Pace\"\nweight = 2\n";
    parse(&text, Path::new("fullest.toml"), plan).unwrap()
}

/// A drawn piece with every sort of fault, measured from its photo.
fn messy() -> &'static (Plan, Look) {
    static MESSY: OnceLock<(Plan, Look)> = OnceLock::new();
    MESSY.get_or_init(|| {
        let (_, plan) = coupon();
        let at = Point::new(96.0, 22.0);
        let marking = piece(&plan, 10)
            .shift("A5", 1.9, 0.0)
            .unwrap()
            .stray(Point::new(50.0, 25.0))
            .stray(at)
            .ring(at, 7.0, punchready::synth::RingStyle::Closed)
            .cross_out_hole("A2")
            .unwrap();
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("photo.jpg");
        draw(&photo(&plan, &marking, 3, FULL), &path);
        let look = look(&[path], &plan, &known());
        assert!(
            look.findings.measured && look.picture.is_some(),
            "{:?}",
            look.findings.photos
        );
        (plan, look)
    })
}

fn sheet(who: &str) -> Feedback {
    let (plan, look) = messy();
    Feedback::of(
        who,
        &look.findings,
        plan,
        &fullest(plan),
        look.picture.clone(),
    )
}

/// A class of drawn pieces whose marks are known: no photos are needed for the summary.
fn class(plan: &Plan) -> Vec<Done> {
    (0..24)
        .map(|n| Done {
            who: grade_support::NAMES[n].to_owned(),
            key: format!("{n}"),
            findings: key(plan, &piece(plan, n)),
            unread: Vec::new(),
            fresh: true,
        })
        .collect()
}

fn summary_page() -> String {
    let (_, plan) = coupon();
    let class = class(&plan);
    let labels: Vec<String> = class.iter().map(|d| d.who.clone()).collect();
    let rubric = parse(STARTER, Path::new("starter.toml"), &plan).unwrap();
    let roll = roll(&class, &labels, &labels, &plan, &rubric);
    summary::html(&roll, &plan, &rubric, &[])
}

#[test]
fn the_sheet_says_what_the_score_says() {
    let sheet = sheet("Mei <b>&");
    let page = html(&sheet, Size::A4);
    // For looking at.
    let at = Path::new(env!("CARGO_TARGET_TMPDIR")).join("grade_sheet.html");
    punchready::report::write_atomically(&at, page.as_bytes()).unwrap();
    assert!(
        page.contains("<h1>Mei &lt;b&gt;&amp;</h1>"),
        "names are text"
    );
    assert!(!page.contains("<script") && !page.contains("<b>&</h1>"));
    assert!(
        page.contains("Not passed yet, whatever the points"),
        "a ringed stray fails"
    );
    assert!(page.contains("Two things to change first"));
    assert_eq!(sheet.habits.len(), 2);
    for line in &sheet.items {
        assert!(
            page.contains(&punchready::report::words::escape(&line.name)),
            "{}",
            line.name
        );
        assert!(
            page.contains(&punchready::report::words::escape(&line.figure)),
            "{}",
            line.figure
        );
    }
    let boxes = page.matches("class=\"box\"").count();
    let open = sheet.items.iter().filter(|i| i.points.is_none()).count();
    assert!(
        boxes == open && open >= 3,
        "{boxes} boxes, {open} items left to the instructor"
    );
    // No word of anybody else.
    for word in ["rank", "class", "median", "average of", "best", "others"] {
        let body = page.split("</style>").nth(1).unwrap();
        let body = body.split("class=\"paper\"").next().unwrap();
        let words: String = body
            .split('<')
            .filter_map(|t| t.split_once('>'))
            .map(|t| t.1)
            .collect();
        assert!(!words.contains(word), "{word}");
    }
    assert!(page == html(&sheet, Size::A4), "same input, other page");
    let paper = pdf(&sheet, Size::A4).unwrap();
    assert!(
        paper == pdf(&sheet, Size::A4).unwrap(),
        "same input, other PDF"
    );
}

#[test]
fn a_piece_without_faults_is_praised_and_no_more() {
    let (_, plan) = coupon();
    let steady = Hand {
        scatter_mm: 0.0,
        line_scatter_mm: 0.0,
        ..Hand::default()
    };
    let found = key(&plan, &Marking::of(&plan, &steady));
    let rubric = parse(STARTER, Path::new("starter.toml"), &plan).unwrap();
    let sheet = Feedback::of("Ana", &found, &plan, &rubric, None);
    let page = html(&sheet, Size::A4);
    assert!(page.contains("What to keep doing") && page.contains(Feedback::KEEP));
    assert!(page.contains("<b>100</b>") && page.contains(">pass<"));
}

#[test]
fn the_gradebook_is_a_table() {
    let (_, plan) = coupon();
    let mut class = class(&plan);
    class[0].who = "=1+2".into();
    class[1].who = "Li, \"Bo\"".into();
    class[2].findings.measured = false;
    let labels: Vec<String> = class.iter().map(|d| d.who.clone()).collect();
    let rubric = fullest(&plan);
    let roll = roll(&class, &labels, &labels, &plan, &rubric);
    let book = gradebook::csv(&roll, &rubric).unwrap();
    let mut reader = csv::Reader::from_reader(book.as_slice());
    let head = reader.headers().unwrap().clone();
    let column = |name: &str| {
        head.iter()
            .position(|h| h == name)
            .unwrap_or_else(|| panic!("{name} in {head:?}"))
    };
    let lines: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(lines.len(), 24);
    assert_eq!(&lines[0][0], "'=1+2", "a formula is text");
    assert_eq!(&lines[1][0], "Li, \"Bo\"");
    assert_eq!(&lines[2][column("result")], "not graded");
    assert_eq!(&lines[2][column("score")], "");
    assert!(lines[2][column("look again")].contains("not graded"));
    // What is given by eye is empty, for the instructor to fill; the rest adds up.
    for (line, entry) in lines.iter().zip(&roll) {
        assert_eq!(&line[column("Pace")], "");
        let Some(score) = &entry.score else { continue };
        let from = column("presence");
        let sum: f64 = (from..=column("rings"))
            .filter_map(|i| line[i].parse::<f64>().ok())
            .sum();
        assert!((sum - score.points).abs() < 0.6, "{sum} {}", score.points);
    }
}

#[test]
fn the_summary_shows_the_class() {
    let page = summary_page();
    let at = Path::new(env!("CARGO_TARGET_TMPDIR")).join("grade_summary.html");
    punchready::report::write_atomically(&at, page.as_bytes()).unwrap();
    for shown in [
        "<b>24</b>pieces graded",
        "median score",
        "Needs a second look",
        "How the scores lie",
        "What went wrong most",
        "row too near to its edge or too far",
        "Where on the sheet",
        "href=\"sheets/Ada.html\"",
    ] {
        assert!(page.contains(shown), "{shown}");
    }
    // A dot for each piece in the first strip, and each piece in the table.
    assert!(page.matches("<circle").count() >= 24);
    assert!(page.contains("href=\"sheets/Yusuf.html\""));
    // By name: no order of merit.
    let table = page.split("All pieces</h2>").nth(1).unwrap();
    let at = |who: &str| table.find(&format!(">{who}<")).unwrap();
    assert!(at("Ada") < at("Mei") && at("Mei") < at("Yusuf"));
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
        println!("SKIPPED: no browser found, the pages were not opened");
    }
    found
}

/// Opens a page; gives what the console said.
fn open(browser: &Path, dir: &Path, page: &str, args: &[String]) -> String {
    let file = dir.join("page.html");
    std::fs::write(&file, page).unwrap();
    let out = Command::new(browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-first-run",
        ])
        .args(["--enable-logging=stderr", "--v=0"])
        .arg(format!("--user-data-dir={}", dir.join("profile").display()))
        .args(args)
        .arg(format!("file://{}", file.display()))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(out.status.success(), "{said}");
    said.lines().filter(|l| l.contains("CONSOLE")).collect()
}

/// Pages of a PDF.
fn pages(pdf: &[u8]) -> usize {
    let text = String::from_utf8_lossy(pdf);
    let kinds = text
        .match_indices("/Type /Page")
        .map(|(at, found)| at + found.len());
    kinds.filter(|&end| !text[end..].starts_with('s')).count()
}

#[test]
fn a_browser_shows_and_prints_the_sheet_on_one_page() {
    let Some(browser) = browser() else { return };
    let dir = tempfile::tempdir().unwrap();
    let print = |page: &str| {
        let to = dir.path().join("out.pdf");
        let args = [
            "--no-pdf-header-footer".to_owned(),
            format!("--print-to-pdf={}", to.display()),
        ];
        let said = open(&browser, dir.path(), page, &args);
        assert_eq!(said, "", "the console is not quiet");
        std::fs::read(to).unwrap()
    };
    let page = html(&sheet("A student with rather a long name"), Size::A4);
    for link in ["http:", "https:", "src=\"//", "url("] {
        assert!(!page.contains(link), "{link}");
    }
    // The browser's own paper is Letter; A4 is asked for.
    assert_eq!(pages(&print(&page)), 1, "Letter");
    let a4 = page.replace("@page{margin:0}", "@page{margin:0;size:A4}");
    assert_ne!(a4, page);
    assert_eq!(pages(&print(&a4)), 1, "A4");
    // A page that is too long, and one that asks for something outside, are noticed.
    assert!(
        pages(&print(
            &page.replace("</body>", &("<p>more</p>".repeat(120) + "</body>"))
        )) > 1
    );
    let outside = page.replace("</main>", "<img src=\"http://localhost:9/x.png\"></main>");
    let said = open(&browser, dir.path(), &outside, &["--dump-dom".to_owned()]);
    assert!(said.contains("Content Security Policy"), "{said}");

    let shot = dir.path().join("shot.png");
    let args = [
        "--window-size=1000,1400".to_owned(),
        format!("--screenshot={}", shot.display()),
    ];
    assert_eq!(open(&browser, dir.path(), &page, &args), "");
    let shown = image::open(&shot).unwrap().to_rgb8();
    assert!(
        wood(&shown) > 0.01,
        "the picture is not shown: {}",
        wood(&shown)
    );

    let summary = summary_page();
    assert_eq!(open(&browser, dir.path(), &summary, &args), "");
    assert!(
        !summary.contains("http:")
            || summary.matches("http:").count() == summary.matches("xmlns=\"http:").count()
    );
}

/// Share of a picture that is the drawn bench.
fn wood(picture: &RgbImage) -> f64 {
    let brown = |p: &&image::Rgb<u8>| {
        let [r, g, b] = p.0.map(i32::from);
        r > g + 15 && g > b + 10
    };
    picture.pixels().filter(brown).count() as f64 / f64::from(picture.width() * picture.height())
}

#[test]
fn the_pdf_is_one_page_with_the_picture() {
    let sheet = sheet("Mei");
    for size in [Size::A4, Size::Letter] {
        let bytes = pdf(&sheet, size).unwrap();
        assert_eq!(pages(&bytes), 1);
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("sheet.pdf");
        std::fs::write(&file, &bytes).unwrap();
        let Ok(ran) = Command::new("pdftoppm")
            .args(["-r", "60", "-png", "-singlefile"])
            .args([&file, &dir.path().join("sheet")])
            .status()
        else {
            println!("SKIPPED: no pdftoppm found, the PDF was not rendered");
            return;
        };
        assert!(ran.success());
        let shown = image::open(dir.path().join("sheet.png")).unwrap().to_rgb8();
        let [w, h] = size.mm().map(|mm| (mm / 25.4 * 60.0).round() as i32);
        let (width, height) = (shown.width() as i32, shown.height() as i32);
        assert!(
            (width - w).abs() <= 1 && (height - h).abs() <= 1,
            "{width} x {height}"
        );
        assert!(
            wood(&shown) > 0.01,
            "the picture is not shown: {}",
            wood(&shown)
        );
        // Nothing runs into the margin: 10 mm of it are white all round.
        let clear = (10.0 / 25.4 * 60.0) as u32;
        let edge = |x: u32, y: u32| {
            x < clear || y < clear || x + clear >= shown.width() || y + clear >= shown.height()
        };
        let inked = shown
            .enumerate_pixels()
            .filter(|(x, y, p)| edge(*x, *y) && p.0 != [255; 3]);
        assert_eq!(inked.count(), 0, "{size:?}");
    }
}
