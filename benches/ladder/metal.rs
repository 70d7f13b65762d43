//! Steps on reading ink where it is hard to read: other faces and pens, lamps and shadows, rings and cross-outs of every
//! kind, print and dirt, marks that touch.

use image::RgbImage;
use punchready::check::Stage;
use punchready::frame::{Point, Sheet};
use punchready::synth::marking::Style;
use punchready::synth::{Bench, ClutterKind, Ink, Mark, RingStyle, Rng, Shape, Surface};

use crate::case::{Case, Draft, Fault, View};
use crate::plans::Plans;
use crate::steps::{BOTH_SIDES, RIGHT_TOP, THREE, brushed, dirt, glare, scratches, shadow, thing};

/// Linear RGB of paints, films and inks.
const GREEN_PRIMER: [f32; 3] = [0.27, 0.36, 0.17];
const DARK_GREEN_PRIMER: [f32; 3] = [0.07, 0.11, 0.05];
const BLUE_FILM: [f32; 3] = [0.20, 0.42, 0.68];
const WHITE_PAINT: [f32; 3] = [0.78, 0.78, 0.75];
const YELLOW_PAINT: [f32; 3] = [0.74, 0.52, 0.05];
const BLUE_INK: [f32; 3] = [0.02, 0.04, 0.32];
const RED_INK: [f32; 3] = [0.42, 0.02, 0.02];
const GREEN_INK: [f32; 3] = [0.02, 0.20, 0.06];
const SILVER: [f32; 3] = [0.55, 0.55, 0.57];

/// Dots on ruled lines of 0.45 mm: the smallest of them still shows.
const DOT_MM: f64 = 1.0;

fn inked(colour: [f32; 3]) -> Ink {
    Ink {
        colour,
        ..Ink::default()
    }
}

/// What a film maker prints on it, over and over, pale.
fn film_print(width_mm: f64, height_mm: f64, ink: Ink) -> Vec<Mark> {
    let rows = (height_mm / 24.0) as usize;
    (0..rows)
        .flat_map(|row| {
            let y = 14.0 + 24.0 * row as f64;
            (0..(width_mm / 62.0) as usize).map(move |k| {
                let x = 6.0 + 62.0 * k as f64 + 9.0 * (row % 3) as f64;
                Mark::stamp(x, y, 0.0, "PEEL BEFORE FORMING").inked(ink)
            })
        })
        .collect()
}

/// A row printed with separate dots.
fn dotted(x: f64, y: f64, turn: f64, text: &str) -> Mark {
    let mut mark = Mark::stamp(x, y, turn, text);
    if let Shape::Text { joined, .. } = &mut mark.shape {
        *joined = false;
    }
    mark
}

/// Other faces, other pens.
pub(crate) fn faces(p: &Plans) -> Vec<Case> {
    let pale_print = Ink {
        density: 0.3,
        ..inked(BLUE_INK)
    };
    let mut cases = vec![
        Draft::new("green primer, black marker", &p.coupon, 1501)
            .surface(Surface::Plain(GREEN_PRIMER))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("green primer, red marker, stray", &p.tab, 1502)
            .surface(Surface::Plain(GREEN_PRIMER))
            .hand(|h| h.ink = inked(RED_INK))
            .faults(&[Fault::Stray])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("dark green primer, silver pencil", &p.tab, 1503)
            .surface(Surface::Plain(DARK_GREEN_PRIMER))
            .hand(|h| h.ink = inked(SILVER))
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("dark green primer, silver pencil, missing", &p.coupon, 1504)
            .surface(Surface::Plain(DARK_GREEN_PRIMER))
            .hand(|h| {
                h.ink = inked(SILVER);
                h.rows = Style::Dot;
            })
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("grey primer, blue marker", &p.coupon, 1505)
            .surface(Surface::Primer)
            .hand(|h| h.ink = inked(BLUE_INK))
            .faults(&[Fault::Off(1.4)])
            .cards(&RIGHT_TOP)
            .shot(View::tilted(10.0, 15.0, 40.0)),
        Draft::new("grey primer, pencil", &p.singles, 1506)
            .surface(Surface::Primer)
            .hand(|h| h.ink = Ink::pencil())
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("layout dye, scribed, stray", &p.tab, 1507)
            .surface(Surface::LayoutDye)
            .hand(|h| h.ink = Ink::scribed())
            .thin(0.22)
            .faults(&[Fault::Stray])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("layout dye, scribed, missing, lamp aslant", &p.coupon, 1508)
            .surface(Surface::LayoutDye)
            .hand(|h| h.ink = Ink::scribed())
            .thin(0.25)
            .without("A4")
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.light.gradient = [0.25, 0.15])
            .shot(View::tilted(10.0, 15.0, 120.0)),
        Draft::new("clear film with pale print", &p.coupon, 1509)
            .under(film_print(152.0, 76.0, pale_print))
            .with(|d| d.scene.light.sheen = 0.6)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("blue film, black marker", &p.tab, 1510)
            .surface(Surface::Plain(BLUE_FILM))
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("blue film with print, stray", &p.coupon, 1511)
            .surface(Surface::Plain(BLUE_FILM))
            .under(film_print(152.0, 76.0, pale_print))
            .faults(&[Fault::Stray])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("white paint on a grey bench", &p.singles, 1512)
            .surface(Surface::Plain(WHITE_PAINT))
            .bench(Bench::Grey)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("yellow paint, green marker", &p.coupon, 1513)
            .surface(Surface::Plain(YELLOW_PAINT))
            .hand(|h| h.ink = inked(GREEN_INK))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("paper template on wood, fine pen", &p.coupon, 1514)
            .surface(Surface::Paper)
            .hand(|h| h.ink.soft_mm = 0.04)
            .thin(0.3)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("paper template on a dark mat, pencil, off", &p.tab, 1515)
            .surface(Surface::Paper)
            .bench(Bench::Dark)
            .hand(|h| h.ink = Ink::pencil())
            .faults(&[Fault::Off(1.3)])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
    ];
    cases.extend(real_faces(p));
    cases
}

/// Marks drawn on pictures of real surfaces, where the folder of references is at hand.
fn real_faces(p: &Plans) -> Vec<Case> {
    let folder =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/reference/real-surfaces");
    let mut files: Vec<_> = std::fs::read_dir(&folder)
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| {
            let kind = path.extension().and_then(|e| e.to_str());
            matches!(kind, Some("jpg" | "jpeg" | "png"))
        })
        .collect();
    files.sort();
    let mut cases = Vec::new();
    for (seed, file) in (1530..).zip(files) {
        // Some 8 pixels a millimetre: the grain as fine as it was seen.
        let Ok(surface) = Surface::from_file(&file, 0.12) else {
            continue;
        };
        let dark =
            matches!(&surface, Surface::Texture { picture, .. } if mean_level(picture) < 90.0);
        let name = file.file_stem().unwrap_or_default().to_string_lossy();
        let draft = Draft::new(&format!("real face: {name}"), &p.coupon, seed).surface(surface);
        // On a dark face a hand takes a silver pencil.
        let draft = if dark {
            draft.hand(|h| h.ink = inked(SILVER))
        } else {
            draft
        };
        let draft = match seed % 3 {
            0 => draft,
            1 => draft.faults(&[Fault::Missing]),
            _ => draft.faults(&[Fault::Stray]),
        };
        cases.push(draft.cards(&RIGHT_TOP).shot(View::above(9.0)));
    }
    cases
}

fn mean_level(picture: &RgbImage) -> f64 {
    let sum: f64 = picture.as_raw().iter().map(|&v| f64::from(v)).sum();
    sum / picture.as_raw().len() as f64
}

/// Lamps, windows, hands and phones.
pub(crate) fn lamps(p: &Plans) -> Vec<Case> {
    let streak = |x: f64, y: f64, turn_deg: f64, peak: f64| {
        let mut g = glare(x, y, [60.0, 2.2], peak);
        g.turn_rad = f64::to_radians(turn_deg);
        g
    };
    vec![
        Draft::new("lamp streak along the grain, in the open", &p.coupon, 1601)
            .surface(brushed(0.0, 0.5))
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.light.glare.push(streak(70.0, 33.0, 0.0, 0.28)))
            .shot(View::above(10.0)),
        Draft::new("lamp streak over a row, not burnt", &p.coupon, 1602)
            .surface(brushed(0.0, 0.5))
            .faults(&[Fault::Off(1.4)])
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.light.glare.push(streak(70.0, 54.0, 2.0, 0.25)))
            .shot(View::above(10.0)),
        Draft::new("window glare broad and weak", &p.tab, 1603)
            .cards(&BOTH_SIDES)
            .with(|d| {
                d.scene
                    .light
                    .glare
                    .push(glare(50.0, 35.0, [40.0, 28.0], 0.22))
            })
            .shot(View::tilted(10.0, 10.0, 90.0)),
        Draft::new("window glare burns out a row's end", &p.coupon, 1604)
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene
                    .light
                    .glare
                    .push(glare(140.0, 60.0, [14.0, 16.0], 1.3))
            })
            .excused("glare hides marks")
            .shot(View::above(10.0)),
        Draft::new("edge of a phone's shadow across the rows", &p.coupon, 1605)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene
                    .light
                    .shadows
                    .push(shadow(75.0, 40.0, 8.0, 1.2, 0.6))
            })
            .shot(View::above(10.0)),
        Draft::new("two hard shadows of a hand", &p.tab, 1606)
            .cards(&BOTH_SIDES)
            .with(|d| {
                d.scene
                    .light
                    .shadows
                    .push(shadow(25.0, 30.0, 170.0, 1.5, 0.5));
                d.scene
                    .light
                    .shadows
                    .push(shadow(88.0, 30.0, -15.0, 2.0, 0.55));
            })
            .shot(View::above(10.0)),
        Draft::new("a finger in the open and its shadow", &p.singles, 1607)
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene.clutter = vec![thing(ClutterKind::Finger(15.0), 60.0, 130.0, 90.0)];
                d.scene
                    .light
                    .shadows
                    .push(shadow(75.0, 74.0, 95.0, 3.0, 0.4));
            })
            .excused("the finger covers some of the face")
            .shot(View::above(10.0)),
        Draft::new("warm lamp and blue window", &p.coupon, 1608)
            .faults(&[Fault::Stray])
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene.light.tint = [1.3, 1.0, 0.5];
                d.scene.light.gradient = [0.25, 0.1];
            })
            .shot(View::above(10.0)),
        Draft::new("low light, noise, phone sharpening", &p.coupon, 1609)
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene.light.level = 0.45;
                d.scene.sensor.full_well = 500.0;
                d.scene.sensor.read_noise = 0.006;
                d.scene.sensor.sharpen = 1.2;
            })
            .shot(View::above(10.0)),
        Draft::new("strong sharpening, JPEG 75, off", &p.tab, 1610)
            .faults(&[Fault::Off(1.2)])
            .cards(&BOTH_SIDES)
            .with(|d| {
                d.scene.sensor.sharpen = 1.8;
                d.exif.quality = 75;
            })
            .shot(View::above(10.0)),
        Draft::new("grain across, lamp low", &p.singles, 1611)
            .surface(brushed(90.0, 0.8))
            .faults(&[Fault::CancelledStray])
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.light.gradient = [0.35, 0.0])
            .shot(View::above(10.0)),
        Draft::new("overexposed by a stop", &p.coupon, 1612)
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.light.level = 1.6)
            .excused("the face may be blown out")
            .shot(View::above(10.0)),
    ]
}

/// Rings and cross-outs of every kind, on marks of every kind.
pub(crate) fn strikes(p: &Plans) -> Vec<Case> {
    const STYLES: [RingStyle; 3] = [RingStyle::Closed, RingStyle::Open, RingStyle::Overshooting];
    let mut cases = Vec::new();
    for (k, (rows, ruled)) in [
        (Style::Dot, true),
        (Style::Tick, true),
        (Style::Cross, false),
    ]
    .into_iter()
    .enumerate()
    {
        let seed = 1701 + k as u64;
        let mut rng = Rng::new(seed);
        let mut draft = Draft::new(&format!("rings round {rows:?}s"), &p.coupon, seed).hand(|h| {
            h.rows = rows;
            h.ruled = ruled;
            h.dot_mm = DOT_MM;
        });
        for (i, hole) in ["A2", "A5", "B3", "B6"].into_iter().enumerate() {
            draft = draft.ringed(hole, rng.between(6.0, 9.5), STYLES[(i + k) % 3]);
        }
        cases.push(draft.cards(&RIGHT_TOP).shot(View::above(10.0)));
        let seed = seed + 10;
        let mut draft =
            Draft::new(&format!("cross-outs over {rows:?}s"), &p.coupon, seed).hand(|h| {
                h.rows = rows;
                h.ruled = ruled;
                h.dot_mm = DOT_MM;
            });
        for hole in ["A1", "A4", "B2", "B5"] {
            let turn = rng.between(-0.35, 0.35);
            draft = draft.struck(hole, rng.between(5.5, 10.0), turn, rng.between(0.7, 1.3));
        }
        cases.push(draft.cards(&RIGHT_TOP).shot(View::above(10.0)));
    }
    cases.extend([
        Draft::new("rings off their marks' middle", &p.singles, 1721)
            .ringed_beside("H1", 8.0, [1.2, 0.6], RingStyle::Closed)
            .ringed_beside("H3", 9.0, [-1.5, 0.8], RingStyle::Open)
            .ringed_beside("H5", 7.5, [0.3, -1.1], RingStyle::Overshooting)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("ringed, then crossed out with its ring", &p.singles, 1722)
            .ringed("H2", 7.0, RingStyle::Closed)
            .struck("H2", 10.0, 0.2, 1.0)
            .ringed("H6", 7.5, RingStyle::Closed)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("one stroke through a dot and a tick", &p.coupon, 1723)
            .hand(|h| h.singles = Style::Dot)
            .slashed("A3", 6.0)
            .slashed("B4", 7.5)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("strays ringed and crossed out, coarse", &p.tab, 1724)
            .faults(&[Fault::RingedStray, Fault::CancelledStray])
            .cards(&BOTH_SIDES)
            .shot(View::above(7.0)),
        Draft::new("cross-outs in red", &p.coupon, 1725)
            .struck_in("A4", 8.0, inked(RED_INK))
            .struck_in("B3", 7.0, inked(RED_INK))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("struck out in pencil", &p.coupon, 1727)
            .struck_in("A3", 8.0, Ink::pencil())
            .struck_in(
                "B6",
                7.0,
                Ink {
                    density: 0.3,
                    ..Ink::pencil()
                },
            )
            .excused("the pencil is paler than the pen by far")
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("cross-outs and rings, tilted", &p.coupon, 1726)
            .hand(|h| {
                h.rows = Style::Dot;
                h.dot_mm = DOT_MM;
            })
            .struck("A2", 7.0, 0.3, 1.0)
            .struck("B6", 8.0, -0.2, 1.2)
            .ringed("A6", 7.0, RingStyle::Open)
            .cards(&THREE)
            .shot(View::tilted(10.0, 30.0, -60.0)),
    ]);
    cases
}

/// Print, scratches, fingerprints, dust, and nothing else wrong.
pub(crate) fn print_and_dirt(p: &Plans) -> Vec<Case> {
    let smudges = |seed: u64, n: usize| {
        let mut rng = Rng::new(seed);
        (0..n)
            .map(|_| {
                Mark::new(Shape::Smudge {
                    at: Point::<Sheet>::new(rng.between(15.0, 130.0), rng.between(10.0, 66.0)),
                    length_mm: rng.between(14.0, 24.0),
                    strength: rng.between(0.06, 0.16),
                })
            })
            .collect::<Vec<_>>()
    };
    let dust = |seed: u64, n: usize| {
        dirt(seed, 3 * n / 2, 152.0, 76.0)
            .into_iter()
            .filter(|m| matches!(m.shape, Shape::Dust { .. }))
            .collect::<Vec<_>>()
    };
    let grey = Ink {
        density: 0.5,
        ..Ink::default()
    };
    vec![
        Draft::new("a row of dotted print in the open", &p.coupon, 1801)
            .under([dotted(12.0, 30.0, 0.0, "5052-H32 .040 LOT 771-3")])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("dotted print twice, aslant", &p.coupon, 1802)
            .under([
                dotted(10.0, 14.0, 0.12, "2024-T3 .032 AMS 4037"),
                dotted(60.0, 27.0, 0.12, "HEAT 80-4412"),
            ])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("dotted print across a row", &p.coupon, 1803)
            .under([dotted(70.0, 40.0, 1.2, "5052-H32 .040")])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("print all over, grey", &p.tab, 1804)
            .under([
                Mark::stamp(16.0, 20.0, 0.0, "6061-T6 .050 ALCLAD").inked(grey),
                Mark::stamp(22.0, 31.0, 0.0, "6061-T6 .050 ALCLAD").inked(grey),
                Mark::stamp(16.0, 58.0, 0.0, "6061-T6 .050").inked(grey),
            ])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("print all over, and a mark missing", &p.coupon, 1805)
            .without("A5")
            .under([
                Mark::stamp(8.0, 30.0, 0.0, "6061-T6 .050 QQ-A-250"),
                Mark::stamp(20.0, 13.0, 0.0, "LOT 3390 USE 11/26"),
            ])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("many bright scratches", &p.coupon, 1806)
            .under(scratches(1806, 30, 152.0, 76.0))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("scratches and grain, dots", &p.tab, 1807)
            .surface(brushed(12.0, 0.6))
            .hand(|h| {
                h.rows = Style::Dot;
                h.dot_mm = DOT_MM;
            })
            .excused("a dot lies where two ruled lines cross")
            .under(scratches(1807, 14, 110.0, 70.0))
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("fingerprints", &p.coupon, 1808)
            .under(smudges(1808, 7))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("fingerprints on primer, missing", &p.coupon, 1809)
            .surface(Surface::Primer)
            .under(smudges(1809, 5))
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("dust over all", &p.coupon, 1810)
            .marks(dust(1810, 30))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("dust, print, scratches, fingerprints", &p.coupon, 1811)
            .under(scratches(1811, 8, 152.0, 76.0))
            .under(smudges(1811, 3))
            .under([Mark::stamp(20.0, 12.0, 0.0, "6061-T6 .032 ALUMINUM")])
            .marks(dust(1811, 10))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("grain so strong that one looks twice", &p.singles, 1812)
            .surface(brushed(45.0, 1.3))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
    ]
}

/// Marks that touch, smear and double, and rows half drilled.
pub(crate) fn touching(p: &Plans) -> Vec<Case> {
    let hole = |x: f64, y: f64| Mark::hole(x, y, 3.26);
    let dimple = |x: f64, y: f64| Mark::dimple(x, y, 1.3);
    let over = |from: [f64; 2], to: [f64; 2]| {
        Mark::line(Point::new(from[0], from[1]), Point::new(to[0], to[1]))
    };
    vec![
        Draft::new("stray dots that touch a ruled line", &p.coupon, 1901)
            .marks([
                Mark::dot(52.0, 76.2 - 7.94 + 0.65),
                Mark::dot(92.0, 76.2 - 22.2 - 0.7),
            ])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a dot that touches a tick", &p.coupon, 1902)
            .faults(&[Fault::Double(0.95)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("smeared ink", &p.coupon, 1903)
            .hand(|h| {
                h.ink.soft_mm = 0.25;
                h.ink.patchy = 0.3;
            })
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("smeared dots without lines, missing", &p.tab, 1904)
            .hand(|h| {
                h.rows = Style::Dot;
                h.ruled = false;
                h.ink.soft_mm = 0.3;
            })
            .faults(&[Fault::Missing])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("lines drawn twice, 0.25 mm apart", &p.coupon, 1905)
            .under([over([1.5, 76.2 - 7.7], [150.9, 76.2 - 7.75])])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("lines drawn twice, 0.5 mm apart", &p.tab, 1906)
            .under([over([1.5, 8.5], [108.5, 8.45])])
            .excused("which of two lines counts is a question")
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("a line broken and drawn in three goes", &p.coupon, 1907)
            .hand(|h| h.broken = 0.45)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a broad pen", &p.coupon, 1908)
            .thin(0.95)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a needle of a pen", &p.coupon, 1909)
            .thin(0.22)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("ends drilled, ink between, said to be marked", &p.tab, 1910)
            .worked(Stage::Marked, |n| n == "A1" || n == "A6", hole)
            .excused("a drilled hole is there to see, and is no ink")
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new(
            "ends drilled, ink between, said to be drilled",
            &p.tab,
            1911,
        )
        .worked(Stage::Drilled, |n| n == "A1" || n == "A6", hole)
        .excused("ink is no drilled hole")
        .cards(&BOTH_SIDES)
        .shot(View::above(10.0)),
        Draft::new("drilled on grey, a hole missing", &p.tab, 1912)
            .bench(Bench::Grey)
            .without("B2")
            .worked(Stage::Drilled, |_| true, hole)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("punched, a stray dimple", &p.tab, 1913)
            .worked(Stage::Punched, |_| true, dimple)
            .marks([dimple(70.0, 28.0)])
            .excused("what was not seen to be worked is unsure")
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
    ]
}
