//! The ladder: each step adds a difficulty of the bench. About half of the sheets are faultless.

use nalgebra::Vector2;
use punchready::check::Stage;
use punchready::frame::{Point, Sheet};
use punchready::synth::marking::Style;
use punchready::synth::{
    Bench, Clutter, ClutterKind, ExifFacts, Glare, Ink, Mark, RingStyle, Shape, SoftShadow, Surface,
};

use crate::alike;
use crate::case::{Case, Draft, Fault, Spot, View};
use crate::metal;
use crate::plans::Plans;

/// Names of the steps, in order.
pub(crate) const STEPS: [&str; 20] = [
    "easy",
    "tilted",
    "one card only",
    "turned, portrait, orientations",
    "uneven light",
    "coarse and noisy",
    "blurred and shaken",
    "surfaces, stamps, dirt",
    "bench and clutter",
    "handwriting",
    "faults",
    "glare, covered, wrong scale",
    "traps: a slip would read as ready",
    "after the punch and the drill",
    "other faces and pens",
    "lamps, windows, shadows",
    "rings and cross-outs",
    "print, scratches, dirt",
    "touching, smeared, half drilled",
    "crosses on lines, short and pale strokes",
];

/// All photos, in order.
pub(crate) fn all(plans: &Plans) -> Vec<Case> {
    let steps = [
        easy(plans),
        tilted(plans),
        one_card(plans),
        turned(plans),
        light(plans),
        coarse(plans),
        blurred(plans),
        surfaces(plans),
        benches(plans),
        hands(plans),
        faults(plans),
        hard(plans),
        traps(plans),
        worked(plans),
        metal::faces(plans),
        metal::lamps(plans),
        metal::strikes(plans),
        metal::print_and_dirt(plans),
        metal::touching(plans),
        alike::alike(plans),
    ];
    let mut out = Vec::new();
    for (step, cases) in (1..).zip(steps) {
        for (number, mut case) in (1..).zip(cases) {
            (case.step, case.number) = (step, number);
            out.push(case);
        }
    }
    out
}

/// A square card on the right, a strip above.
pub(crate) const RIGHT_TOP: [Spot; 2] = [Spot::Right(7, 0.5), Spot::Top(45, 0.5)];
/// A square card on either side.
pub(crate) const BOTH_SIDES: [Spot; 2] = [Spot::Left(3, 0.5), Spot::Right(21, 0.5)];
/// Two square cards and a strip.
pub(crate) const THREE: [Spot; 3] = [Spot::Left(12, 0.4), Spot::Right(7, 0.6), Spot::Top(52, 0.5)];

pub(crate) fn brushed(grain_deg: f64, contrast: f64) -> Surface {
    Surface::Brushed {
        grain_rad: grain_deg.to_radians(),
        contrast,
    }
}

fn easy(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("coupon, mill", &p.coupon, 101)
            .cards(&THREE)
            .shot(View::above(10.0)),
        Draft::new("coupon, missing and off", &p.coupon, 102)
            .faults(&[Fault::Missing, Fault::Off(1.5)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("tab, brushed", &p.tab, 103)
            .surface(brushed(0.0, 0.3))
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("tab, primer, stray", &p.tab, 104)
            .surface(Surface::Primer)
            .faults(&[Fault::Stray])
            .cards(&RIGHT_TOP)
            .shot(View::above(11.0)),
        Draft::new("singles, paper on dark", &p.singles, 105)
            .surface(Surface::Paper)
            .bench(Bench::Dark)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("square, mill, cancelled hole", &p.square, 106)
            .faults(&[Fault::Cancelled])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("demo, 12 MP", &p.demo, 107)
            .cards(&[
                Spot::Right(7, 0.42),
                Spot::Top(45, 0.4),
                Spot::Left(52, 0.5),
            ])
            .shot(View::above(9.5)),
        Draft::new("fat dots on lines, dark mat, double", &p.coupon, 108)
            .hand(|h| {
                h.rows = Style::Dot;
                h.dot_mm = 1.3;
            })
            .faults(&[Fault::Double(2.4)])
            .bench(Bench::Dark)
            .cards(&THREE)
            .shot(View::above(10.0)),
    ]
}

fn tilted(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("20 degrees to the bottom", &p.coupon, 201)
            .cards(&THREE)
            .shot(View::tilted(10.0, 20.0, -90.0)),
        Draft::new("25 degrees to the left, off", &p.tab, 202)
            .faults(&[Fault::Off(-1.1)])
            .cards(&BOTH_SIDES)
            .shot(View::tilted(10.0, 25.0, 180.0)),
        Draft::new("30 degrees to a corner", &p.singles, 203)
            .cards(&RIGHT_TOP)
            .shot(View::tilted(10.0, 30.0, -40.0)),
        Draft::new("35 degrees, stray ringed", &p.coupon, 204)
            .faults(&[Fault::RingedStray])
            .cards(&THREE)
            .shot(View::tilted(10.0, 35.0, -100.0)),
        Draft::new("40 degrees, lens bent", &p.square, 205)
            .cards(&BOTH_SIDES)
            .with(|d| {
                d.scene.camera = d
                    .scene
                    .camera
                    .clone()
                    .with_distortion(0.02, -0.02, 0.0003, 0.0002);
            })
            .shot(View::tilted(10.0, 40.0, -90.0)),
        Draft::new("45 degrees, missing", &p.coupon, 206)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .shot(View::tilted(10.0, 45.0, -90.0)),
        Draft::new("demo, 28 degrees", &p.demo, 207)
            .cards(&[
                Spot::Right(7, 0.42),
                Spot::Top(12, 0.6),
                Spot::Left(52, 0.5),
            ])
            .shot(View::tilted(8.0, 28.0, -60.0)),
        Draft::new("38 degrees to the top, cards on bench", &p.coupon, 208)
            .cards(&THREE)
            .cards_on_bench(true)
            .shot(View::tilted(10.0, 38.0, 95.0)),
    ]
}

fn one_card(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("square card right of coupon", &p.coupon, 301)
            .cards(&[Spot::Right(9, 0.5)])
            .shot(View::above(10.0)),
        Draft::new("strip above coupon", &p.coupon, 302)
            .faults(&[Fault::Across(1.4)])
            .cards(&[Spot::Top(44, 0.5)])
            .shot(View::above(10.0)),
        Draft::new("strip below tab, 20 degrees", &p.tab, 303)
            .cards(&[Spot::Bottom(60, 0.5)])
            .shot(View::tilted(10.0, 20.0, -70.0)),
        Draft::new("square card left of tab, 30 degrees", &p.tab, 304)
            .faults(&[Fault::Missing, Fault::Stray])
            .cards(&[Spot::Left(33, 0.5)])
            .shot(View::tilted(10.0, 30.0, -20.0)),
        Draft::new("strip right of square piece", &p.square, 305)
            .cards(&[Spot::Right(48, 0.5)])
            .shot(View::above(10.0)),
        Draft::new("hatch cover, one square card", &p.hatch, 306)
            .cards(&[Spot::Right(2, 0.5)])
            .shot(View::above(8.0)),
        Draft::new("keel strip, one strip card", &p.keel, 307)
            .cards(&[Spot::Top(55, 0.5)])
            .shot(View::above(6.0)),
        Draft::new("on the bench, said", &p.singles, 308)
            .faults(&[Fault::Off(1.6)])
            .cards(&[Spot::Top(50, 0.5)])
            .cards_on_bench(true)
            .shot(View::tilted(10.0, 15.0, -90.0)),
    ]
}

fn turned(p: &Plans) -> Vec<Case> {
    let exif = |orientation| ExifFacts {
        orientation,
        ..ExifFacts::default()
    };
    vec![
        Draft::new(
            "a quarter turn, portrait, stored turned (6)",
            &p.coupon,
            401,
        )
        .cards(&RIGHT_TOP)
        .with(|d| d.exif = exif(6))
        .shot(View::above(10.0).rolled(90.0).portrait()),
        Draft::new("upside down", &p.tab, 402)
            .faults(&[Fault::Missing])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0).rolled(181.0)),
        Draft::new("a quarter turn the other way (8)", &p.singles, 403)
            .cards(&RIGHT_TOP)
            .with(|d| d.exif = exif(8))
            .shot(View::tilted(10.0, 18.0, 10.0).rolled(-88.0).portrait()),
        Draft::new("square piece, quarter turn", &p.square, 404)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0).rolled(92.0)),
        Draft::new("turned by 30 degrees", &p.coupon, 405)
            .faults(&[Fault::Stray])
            .cards(&RIGHT_TOP)
            .shot(View::above(9.0).rolled(30.0)),
        Draft::new("turned by 137 degrees, stored upside down (3)", &p.tab, 406)
            .cards(&RIGHT_TOP)
            .with(|d| d.exif = exif(3))
            .shot(View::tilted(10.0, 22.0, 120.0).rolled(137.0)),
        Draft::new("mirrored in the file (2)", &p.tab, 407)
            .faults(&[Fault::Off(1.3)])
            .cards(&BOTH_SIDES)
            .with(|d| d.exif = exif(2))
            .shot(View::above(10.0)),
        Draft::new(
            "hatch cover upside down: nearly its own mirror",
            &p.hatch,
            408,
        )
        .cards(&[Spot::Right(7, 0.5), Spot::Top(45, 0.5)])
        .shot(View::above(7.0).rolled(180.0)),
        Draft::new("transposed (5)", &p.coupon, 409)
            .cards(&RIGHT_TOP)
            .with(|d| d.exif = exif(5))
            .shot(View::above(9.0).portrait().rolled(90.0)),
        Draft::new("wide picture 16:9", &p.coupon, 410)
            .faults(&[Fault::Missing])
            .cards(&BOTH_SIDES)
            .shot(View {
                aspect: [16.0, 9.0],
                ..View::tilted(9.0, 25.0, -90.0)
            }),
    ]
}

pub(crate) fn shadow(x: f64, y: f64, towards_deg: f64, softness_mm: f64, depth: f64) -> SoftShadow {
    SoftShadow {
        through: Point::new(x, y),
        towards_rad: towards_deg.to_radians(),
        softness_mm,
        depth,
    }
}

fn light(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("strong gradient", &p.coupon, 501)
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.light.gradient = [0.3, -0.2])
            .shot(View::above(10.0)),
        Draft::new("soft shadow across", &p.coupon, 502)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene
                    .light
                    .shadows
                    .push(shadow(70.0, 30.0, 20.0, 25.0, 0.55))
            })
            .shot(View::tilted(10.0, 15.0, -90.0)),
        Draft::new("hard shadow across", &p.tab, 503)
            .cards(&BOTH_SIDES)
            .with(|d| {
                d.scene
                    .light
                    .shadows
                    .push(shadow(60.0, 30.0, -50.0, 3.0, 0.5))
            })
            .shot(View::above(10.0)),
        Draft::new("very hard shadow along a row", &p.tab, 504)
            .faults(&[Fault::Stray])
            .cards(&BOTH_SIDES)
            .with(|d| {
                d.scene
                    .light
                    .shadows
                    .push(shadow(60.0, 11.0, -88.0, 0.8, 0.5))
            })
            .shot(View::above(10.0)),
        Draft::new("dark and vignetted", &p.singles, 505)
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene.light.level = 0.35;
                d.scene.sensor.vignette = 0.45;
            })
            .shot(View::above(10.0)),
        Draft::new("lamp light, two shadows", &p.coupon, 506)
            .faults(&[Fault::Off(1.4)])
            .cards(&THREE)
            .with(|d| {
                d.scene.light.tint = [1.25, 1.0, 0.6];
                d.scene
                    .light
                    .shadows
                    .push(shadow(30.0, 30.0, 160.0, 12.0, 0.4));
                d.scene
                    .light
                    .shadows
                    .push(shadow(120.0, 50.0, 60.0, 6.0, 0.45));
            })
            .shot(View::tilted(10.0, 20.0, -45.0)),
        Draft::new("bright window on mill sheen", &p.coupon, 507)
            .surface(brushed(5.0, 0.5))
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene.light.sheen = 0.9;
                d.scene.light.gradient = [0.15, 0.1];
            })
            .shot(View::tilted(10.0, 12.0, 70.0)),
        Draft::new("bluish and bright, overexposed paper", &p.singles, 508)
            .faults(&[Fault::RingedStray, Fault::Missing])
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene.light.level = 1.4;
                d.scene.light.tint = [0.9, 1.0, 1.15];
            })
            .shot(View::above(10.0)),
    ]
}

fn coarse(p: &Plans) -> Vec<Case> {
    let poor = |d: &mut Draft, quality: u8, full_well: f64| {
        d.exif.quality = quality;
        d.scene.sensor.full_well = full_well;
    };
    vec![
        Draft::new("7 px/mm", &p.coupon, 601)
            .cards(&RIGHT_TOP)
            .shot(View::above(7.0)),
        Draft::new("7 px/mm, JPEG 70, off", &p.coupon, 602)
            .faults(&[Fault::Off(1.4)])
            .cards(&RIGHT_TOP)
            .with(|d| poor(d, 70, 6000.0))
            .shot(View::tilted(7.0, 20.0, -90.0)),
        Draft::new("6 px/mm, noisy", &p.tab, 603)
            .cards(&BOTH_SIDES)
            .with(|d| poor(d, 88, 700.0))
            .shot(View::above(6.0)),
        Draft::new("5 px/mm, missing", &p.tab, 604)
            .faults(&[Fault::Missing])
            .cards(&BOTH_SIDES)
            .shot(View::above(5.0)),
        Draft::new("10 px/mm, JPEG 35", &p.coupon, 605)
            .cards(&THREE)
            .with(|d| poor(d, 35, 6000.0))
            .shot(View::above(10.0)),
        Draft::new("8 px/mm, very noisy", &p.singles, 606)
            .faults(&[Fault::Stray])
            .cards(&RIGHT_TOP)
            .with(|d| {
                poor(d, 85, 250.0);
                d.scene.sensor.read_noise = 0.01;
            })
            .shot(View::above(8.0)),
        Draft::new("5 px/mm, JPEG 50, noisy", &p.coupon, 607)
            .cards(&RIGHT_TOP)
            .with(|d| poor(d, 50, 1500.0))
            .excused("coarse, noisy and squeezed")
            .shot(View::above(5.0)),
        Draft::new("4 px/mm", &p.coupon, 608)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .excused("4 px/mm shows a mark in three pixels")
            .shot(View::above(4.0)),
    ]
}

fn blurred(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("blur 1.3 px", &p.coupon, 701)
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.sensor.blur_px = 1.3)
            .shot(View::above(10.0)),
        Draft::new("blur 1.8 px, off", &p.coupon, 702)
            .faults(&[Fault::Off(1.5)])
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.sensor.blur_px = 1.8)
            .shot(View::tilted(10.0, 18.0, -90.0)),
        Draft::new("shaken 3 px", &p.tab, 703)
            .cards(&BOTH_SIDES)
            .with(|d| d.scene.sensor.motion_px = [2.6, 1.5])
            .shot(View::above(10.0)),
        Draft::new("blur growing to the right to 2.5 px", &p.singles, 704)
            .faults(&[Fault::Missing])
            .cards(&BOTH_SIDES)
            .with(|d| d.scene.sensor.blur_right_px = 2.5)
            .shot(View::above(10.0)),
        Draft::new("shaken 5 px along", &p.coupon, 705)
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.sensor.motion_px = [5.0, 0.5])
            .shot(View::above(10.0)),
        Draft::new("blur 3 px, stray", &p.tab, 706)
            .faults(&[Fault::Stray])
            .cards(&BOTH_SIDES)
            .with(|d| d.scene.sensor.blur_px = 3.0)
            .excused("blurred over 0.7 mm")
            .shot(View::above(10.0)),
        Draft::new("shaken 10 px", &p.coupon, 707)
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.sensor.motion_px = [8.0, 6.0])
            .excused("shaken over 1 mm")
            .shot(View::above(10.0)),
        Draft::new("blur 5 px, missing", &p.coupon, 708)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.sensor.blur_px = 5.0)
            .excused("blurred over 1.2 mm")
            .shot(View::above(10.0)),
    ]
}

pub(crate) fn scratches(seed: u64, n: usize, w: f64, h: f64) -> Vec<Mark> {
    let mut rng = punchready::synth::Rng::new(seed);
    (0..n)
        .map(|i| {
            let from = Point::<Sheet>::new(rng.between(5.0, w - 5.0), rng.between(5.0, h - 5.0));
            let (turn, long) = (rng.between(0.0, 6.3), rng.between(8.0, 45.0));
            let to = from + Vector2::new(turn.cos(), turn.sin()) * long;
            let clip = |v: f64, of: f64| v.clamp(2.0, of - 2.0);
            Mark::new(Shape::Scratch {
                from,
                to: Point::new(clip(to.x, w), clip(to.y, h)),
                width_mm: rng.between(0.06, 0.14),
                gain: if i % 3 == 2 { 0.75 } else { 1.5 },
            })
        })
        .collect()
}

pub(crate) fn dirt(seed: u64, n: usize, w: f64, h: f64) -> Vec<Mark> {
    let mut rng = punchready::synth::Rng::new(seed);
    (0..n)
        .map(|i| {
            let at = Point::<Sheet>::new(rng.between(4.0, w - 4.0), rng.between(4.0, h - 4.0));
            Mark::new(match i % 3 {
                0 => Shape::Swarf {
                    at,
                    length_mm: rng.between(2.0, 6.0),
                },
                _ => Shape::Dust {
                    at,
                    diameter_mm: rng.between(0.08, 0.22),
                },
            })
        })
        .collect()
}

fn surfaces(p: &Plans) -> Vec<Case> {
    let smudge = |x: f64, y: f64| {
        Mark::new(Shape::Smudge {
            at: Point::new(x, y),
            length_mm: 24.0,
            strength: 0.14,
        })
    };
    vec![
        Draft::new("strong grain along the rows", &p.coupon, 801)
            .surface(brushed(1.0, 1.0))
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("strong grain across the rows", &p.coupon, 802)
            .surface(brushed(88.0, 1.0))
            .faults(&[Fault::Off(1.5)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("mill stamps in the open and over a row", &p.coupon, 803)
            .under([
                Mark::stamp(14.0, 22.0, 0.0, "6061-T6 .032 ALUMINUM"),
                Mark::stamp(60.0, 50.0, 0.0, "LOT 48812 QQ-A-250/11"),
            ])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("scratches", &p.tab, 804)
            .under(scratches(84, 16, 110.0, 70.0))
            .faults(&[Fault::Missing])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("smudges", &p.tab, 805)
            .under([smudge(30.0, 12.0), smudge(70.0, 45.0), smudge(95.0, 20.0)])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("swarf and dust", &p.coupon, 806)
            .marks(dirt(86, 24, 152.0, 76.0))
            .faults(&[Fault::Cancelled])
            .cards(&RIGHT_TOP)
            .excused("swarf lies about: to be swept off first")
            .shot(View::above(10.0)),
        Draft::new("scribed on layout dye", &p.tab, 807)
            .surface(Surface::LayoutDye)
            .hand(|h| {
                h.ink = Ink {
                    density: 0.95,
                    colour: [0.6, 0.6, 0.62],
                    soft_mm: 0.04,
                    wobble: 0.6,
                    patchy: 0.1,
                };
            })
            .thin(0.22)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("grain, stamp, scratches, stray", &p.coupon, 808)
            .surface(brushed(3.0, 0.7))
            .under(scratches(88, 8, 152.0, 76.0))
            .under([Mark::stamp(20.0, 12.0, 0.05, "2024-T3 .032 LOT 9")])
            .faults(&[Fault::Stray])
            .cards(&THREE)
            .shot(View::tilted(10.0, 15.0, -60.0)),
        Draft::new("fine dust only", &p.coupon, 809)
            .marks(
                dirt(89, 12, 152.0, 76.0)
                    .into_iter()
                    .filter(|m| matches!(m.shape, Shape::Dust { .. })),
            )
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
    ]
}

pub(crate) fn thing(kind: ClutterKind, x: f64, y: f64, turn_deg: f64) -> Clutter {
    Clutter {
        kind,
        at: Vector2::new(x, y),
        turn_rad: turn_deg.to_radians(),
        height_mm: 3.0,
    }
}

fn benches(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("pen, coin and rule about", &p.coupon, 901)
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene.clutter = vec![
                    thing(ClutterKind::Pen, 60.0, -14.0, 3.0),
                    thing(ClutterKind::Coin(24.0), -15.0, 40.0, 0.0),
                    thing(ClutterKind::Ruler(100.0), 205.0, 110.0, 5.0),
                ];
            })
            .shot(View::above(9.0)),
        Draft::new("bench as bright as the sheet", &p.coupon, 902)
            .bench(Bench::LikeSheet)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("white paper bench", &p.tab, 903)
            .bench(Bench::WhitePaper)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("white paper bench, paper sheet", &p.singles, 904)
            .bench(Bench::WhitePaper)
            .surface(Surface::Paper)
            .faults(&[Fault::Off(1.5)])
            .cards(&RIGHT_TOP)
            .excused("white on white: the edge is a faint shadow")
            .shot(View::above(10.0)),
        Draft::new("deep contact shadow, rough burr", &p.tab, 905)
            .with(|d| {
                d.scene.sheet.contact_shadow = 1.0;
                d.scene.sheet.burr = 1.0;
            })
            .cards(&BOTH_SIDES)
            .shot(View::tilted(10.0, 15.0, -90.0)),
        Draft::new("grey bench, thick sheet", &p.square, 906)
            .bench(Bench::Grey)
            .with(|d| {
                d.scene.sheet.thickness_mm = 3.0;
                d.plan_thickness(3.0);
            })
            .faults(&[Fault::Stray])
            .cards(&BOTH_SIDES)
            .shot(View::tilted(10.0, 25.0, -120.0)),
        Draft::new("cards on bench, unsaid", &p.coupon, 907)
            .cards(&RIGHT_TOP)
            .cards_on_bench(false)
            .excused("how low the cards lie is not said")
            .shot(View::above(10.0)),
        Draft::new("finger on the sheet's side", &p.singles, 908)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.clutter = vec![thing(ClutterKind::Finger(16.0), -48.0, 30.0, 0.0)])
            .shot(View::above(10.0)),
        Draft::new("dark mat, rule along the top edge", &p.tab, 909)
            .bench(Bench::Dark)
            .with(|d| d.scene.clutter = vec![thing(ClutterKind::Ruler(150.0), 55.0, 90.0, 1.0)])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
    ]
}

fn hands(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("dots on lines", &p.coupon, 1001)
            .hand(|h| h.rows = Style::Dot)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("small dots without lines", &p.tab, 1002)
            .hand(|h| {
                h.rows = Style::Dot;
                h.singles = Style::Dot;
                h.ruled = false;
                h.dot_mm = 0.6;
            })
            .faults(&[Fault::Off(1.2)])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("crosses without lines", &p.coupon, 1003)
            .hand(|h| {
                h.rows = Style::Cross;
                h.ruled = false;
            })
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("every kind of ring", &p.singles, 1004)
            .ringed("H1", 7.0, RingStyle::Closed)
            .ringed("H2", 9.0, RingStyle::Open)
            .ringed("H3", 6.0, RingStyle::Overshooting)
            .ringed("H4", 10.0, RingStyle::Closed)
            .ringed("H5", 6.0, RingStyle::Open)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("cross-outs large and small over marks", &p.singles, 1005)
            .crossed_sized("H1", 7.0)
            .crossed_sized("H3", 10.0)
            .crossed_sized("H4", 5.5)
            .crossed_sized("H7", 14.0)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("cross-outs over dots and ticks on lines", &p.coupon, 1006)
            .crossed_sized("A3", 7.0)
            .crossed_sized("A6", 9.0)
            .crossed_sized("B2", 6.0)
            .crossed_sized("B5", 8.0)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("scribbled out, without lines", &p.coupon, 1007)
            .hand(|h| {
                h.rows = Style::Dot;
                h.ruled = false;
            })
            .scribbled_out("A4")
            .scribbled_out("B7")
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("broken lines, careless hand", &p.coupon, 1008)
            .hand(|h| {
                h.broken = 0.25;
                h.ink.wobble = 2.0;
                h.ink.patchy = 0.4;
            })
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("double lines 1.2 mm apart", &p.tab, 1009)
            .under([
                Mark::line(Point::new(1.5, 9.2), Point::new(108.5, 9.25)),
                Mark::line(Point::new(10.2, 1.5), Point::new(10.2, 68.5)),
            ])
            .cards(&BOTH_SIDES)
            .excused("which of two lines counts is a question")
            .shot(View::above(10.0)),
        Draft::new("dense rows of ticks", &p.dense, 1010)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("dense rows of dots, one missing", &p.dense, 1011)
            .hand(|h| h.rows = Style::Dot)
            .faults(&[Fault::Missing])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("faint pencil", &p.tab, 1012)
            .hand(|h| {
                h.ink.density = 0.45;
                h.ink.patchy = 0.35;
                h.ink.colour = [0.12, 0.12, 0.12];
            })
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("blue felt pen, fat dots", &p.coupon, 1013)
            .hand(|h| {
                h.rows = Style::Dot;
                h.dot_mm = 1.3;
                h.ink.colour = [0.02, 0.04, 0.35];
            })
            .faults(&[Fault::CancelledStray, Fault::RingedHole])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
    ]
}

fn faults(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("off by 0.3 and 0.5 mm: within", &p.coupon, 1101)
            .faults(&[Fault::Off(0.3), Fault::Off(0.5)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("off by 0.7, 0.9 and 1.05 mm", &p.coupon, 1102)
            .faults(&[Fault::Off(0.7), Fault::Off(0.9), Fault::Off(1.05)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("off by 0.85 mm only", &p.coupon, 1103)
            .faults(&[Fault::Off(0.85)])
            .cards(&THREE)
            .shot(View::tilted(10.0, 20.0, -90.0)),
        Draft::new("off by 2 and 3 mm along and across", &p.tab, 1104)
            .faults(&[Fault::Off(3.0), Fault::Across(2.0)])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("doubles at 1.3, 1.8 and 2.4 mm", &p.coupon, 1105)
            .faults(&[Fault::Double(1.3), Fault::Double(1.8), Fault::Double(2.4)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a dot 2.2 mm beside a tick", &p.coupon, 1106)
            .faults(&[Fault::Near(2.2)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("dots 3 and 5 mm beside crosses", &p.singles, 1107)
            .faults(&[Fault::Near(3.0), Fault::Near(5.0)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("ringed stray and cancelled stray", &p.tab, 1108)
            .faults(&[Fault::RingedStray, Fault::CancelledStray])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("cancelled stray only: ready", &p.tab, 1109)
            .faults(&[Fault::CancelledStray])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("marked from the wrong end", &p.tab, 1110)
            .faults(&[Fault::Mirrored])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("hatch cover from the wrong end", &p.hatch, 1111)
            .faults(&[Fault::Mirrored])
            .cards(&[Spot::Right(7, 0.5), Spot::Left(45, 0.5)])
            .shot(View::above(7.0)),
        Draft::new("one tick cancelled, one drawn beside it", &p.coupon, 1112)
            .with(Draft::replaced_beside)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("keel strip, missing and off", &p.keel, 1113)
            .faults(&[Fault::Missing, Fault::Off(1.5)])
            .cards(&[Spot::Top(41, 0.12), Spot::Top(42, 0.5), Spot::Top(43, 0.88)])
            .shot(View::above(6.4)),
        Draft::new("keel strip, ready", &p.keel, 1114)
            .cards(&[
                Spot::Top(41, 0.12),
                Spot::Bottom(42, 0.5),
                Spot::Top(43, 0.88),
            ])
            .shot(View::above(6.4)),
    ]
}

pub(crate) fn glare(x: f64, y: f64, radius_mm: [f64; 2], peak: f64) -> Glare {
    Glare {
        at: Point::new(x, y),
        radius_mm,
        turn_rad: 0.3,
        peak,
    }
}

fn hard(p: &Plans) -> Vec<Case> {
    vec![
        Draft::new("glare in the open", &p.singles, 1201)
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.light.glare.push(glare(45.0, 62.0, [5.0, 4.0], 1.2)))
            .shot(View::above(10.0)),
        Draft::new("glare over a row", &p.coupon, 1202)
            .cards(&RIGHT_TOP)
            .with(|d| {
                d.scene
                    .light
                    .glare
                    .push(glare(60.0, 66.0, [18.0, 7.0], 1.5))
            })
            .excused("glare hides marks")
            .shot(View::above(10.0)),
        Draft::new("glare hides a stray", &p.tab, 1203)
            .cards(&BOTH_SIDES)
            .marks([Mark::dot(70.0, 30.0)])
            .with(|d| d.scene.light.glare.push(glare(70.0, 30.0, [6.0, 6.0], 1.5)))
            .excused("glare hides the stray")
            .shot(View::above(10.0)),
        Draft::new("card cut by the frame", &p.coupon, 1204)
            .faults(&[Fault::Missing])
            .cards(&THREE)
            .with(|d| d.scene.cards[1].centre.x += 28.0)
            .shot(View::above(10.0)),
        Draft::new("card partly covered by a pen", &p.coupon, 1205)
            .cards(&THREE)
            .with(|d| d.scene.clutter = vec![thing(ClutterKind::Pen, 200.0, 60.0, 70.0)])
            .shot(View::above(10.0)),
        Draft::new("one card of three curled by 2 mm", &p.coupon, 1206)
            .cards(&THREE)
            .with(|d| d.scene.cards[1].curl_mm = 2.0)
            .shot(View::tilted(10.0, 20.0, -90.0)),
        Draft::new("the only card curled by 3 mm", &p.tab, 1207)
            .faults(&[Fault::Off(1.2)])
            .cards(&[Spot::Right(7, 0.5)])
            .with(|d| d.scene.cards[0].curl_mm = 3.0)
            .excused("the only card is not flat")
            .shot(View::tilted(10.0, 25.0, -60.0)),
        Draft::new("printed at 97 %, bars said", &p.coupon, 1208)
            .cards(&RIGHT_TOP)
            .printed([0.97, 0.968], true)
            .shot(View::above(10.0)),
        Draft::new("printed at 97 %, bars unsaid", &p.coupon, 1209)
            .cards(&RIGHT_TOP)
            .printed([0.97, 0.97], false)
            .excused("printed at another size, unsaid")
            .shot(View::above(10.0)),
        Draft::new(
            "printed at 99.3 %, unsaid, marked too wide",
            &p.coupon,
            1210,
        )
        .faults(&[Fault::Off(1.3)])
        .cards(&RIGHT_TOP)
        .printed([0.993, 0.993], false)
        .excused("printed at another size, unsaid")
        .shot(View::above(10.0)),
        Draft::new("true size, bars unsaid", &p.tab, 1211)
            .cards(&BOTH_SIDES)
            .printed([1.0, 1.0], false)
            .excused("bars unsaid")
            .shot(View::above(10.0)),
        Draft::new("sheet cut 3 mm too short", &p.coupon, 1212)
            .with(|d| d.scene.sheet.width_mm -= 3.0)
            .cards(&RIGHT_TOP)
            .excused("another sheet than planned")
            .shot(View::above(10.0)),
        Draft::new("another sheet altogether", &p.coupon, 1213)
            .with(|d| {
                d.scene.sheet.width_mm = 120.0;
                d.scene.sheet.height_mm = 90.0;
            })
            .cards(&RIGHT_TOP)
            .excused("another sheet than planned")
            .shot(View::above(9.0)),
        Draft::new("no card", &p.coupon, 1214)
            .excused("no card")
            .shot(View::above(10.0)),
        Draft::new("blank sheet", &p.coupon, 1215)
            .with(Draft::blank)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("cards on the sheet", &p.demo, 1216)
            .cards(&[Spot::On(7, 0.3, 0.6), Spot::On(12, 0.7, 0.6)])
            .excused("cards cover more of the face than the plan allows")
            .shot(View::above(7.0)),
        Draft::new("sheet's corner out of the picture", &p.coupon, 1217)
            .cards(&RIGHT_TOP)
            .excused("the lower left corner is cut off")
            .shot(View::above(10.0))
            .pushed(35.0, 25.0),
    ]
}

/// The marks punched or drilled.
fn worked(p: &Plans) -> Vec<Case> {
    const UNTOLD: &str = "what was not seen to be worked is unsure";
    let hole = |x: f64, y: f64| Mark::hole(x, y, 3.26);
    vec![
        Draft::new("drilled, on wood", &p.tab, 1401)
            .worked(Stage::Drilled, |_| true, hole)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("drilled, on a dark mat, tilted", &p.tab, 1402)
            .worked(Stage::Drilled, |_| true, hole)
            .bench(Bench::Dark)
            .cards(&BOTH_SIDES)
            .shot(View::tilted(10.0, 18.0, 30.0)),
        Draft::new("drilled but for one", &p.tab, 1403)
            .worked(Stage::Drilled, |n| n != "A3", hole)
            .excused(UNTOLD)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("drilled, one hole slipped by 1.2 mm", &p.tab, 1404)
            .slipped("A4", 1.2, 0.0)
            .worked(Stage::Drilled, |_| true, hole)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("drilled, a hole too many", &p.tab, 1405)
            .worked(Stage::Drilled, |_| true, hole)
            .marks([Mark::hole(70.0, 28.0, 2.5)])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("punched", &p.tab, 1406)
            .worked(Stage::Punched, |_| true, |x, y| Mark::dimple(x, y, 1.3))
            .excused(UNTOLD)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("punched but for one", &p.tab, 1407)
            .worked(
                Stage::Punched,
                |n| n != "A3",
                |x, y| Mark::dimple(x, y, 1.3),
            )
            .excused(UNTOLD)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("marked, and said to be punched", &p.tab, 1408)
            .worked(Stage::Punched, |_| false, hole)
            .excused(UNTOLD)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
    ]
}

/// Sheets that are not ready, each but for one thing: a bias of the datum, a mark overlooked or misread
/// would make them so.
fn traps(p: &Plans) -> Vec<Case> {
    // Off to all sides by a tenth beyond the limit of 0.6 mm.
    let slips = |d: Draft| {
        d.slipped("A2", 0.70, 0.0)
            .slipped("A5", -0.70, 0.0)
            .slipped("P1", 0.0, 0.70)
            .slipped("P2", 0.0, -0.70)
    };
    let dot = |x: f64, y: f64, size_mm: f64| Mark::dot(x, y).sized(size_mm);
    let dark_scratch = |x: f64, y: f64| {
        Mark::new(Shape::Scratch {
            from: Point::new(x - 0.5, y - 3.0),
            to: Point::new(x + 0.4, y + 3.2),
            width_mm: 0.16,
            gain: 0.55,
        })
    };
    vec![
        slips(Draft::new("slips, white paper bench", &p.tab, 1301))
            .bench(Bench::WhitePaper)
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        slips(Draft::new("slips, deep contact shadow, burr", &p.tab, 1302))
            .with(|d| {
                d.scene.sheet.contact_shadow = 1.0;
                d.scene.sheet.burr = 1.0;
            })
            .cards(&BOTH_SIDES)
            .shot(View::tilted(10.0, 25.0, -90.0)),
        slips(Draft::new("slips, 5 px/mm, JPEG 50, noisy", &p.tab, 1303))
            .cards(&BOTH_SIDES)
            .with(|d| {
                d.exif.quality = 50;
                d.scene.sensor.full_well = 1500.0;
            })
            .shot(View::above(5.0)),
        slips(Draft::new(
            "slips, 42 degrees, one card, bent lens",
            &p.tab,
            1304,
        ))
        .cards(&[Spot::Right(7, 0.5)])
        .with(|d| {
            d.scene.camera = d
                .scene
                .camera
                .clone()
                .with_distortion(-0.05, 0.03, 0.0005, -0.0004);
        })
        .shot(View::tilted(10.0, 42.0, 200.0)),
        Draft::new("a stray dot of 0.9 mm on a ruled line", &p.coupon, 1305)
            .marks([dot(52.4, 76.2 - 7.94, 0.9)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a stray dot of 0.7 mm on a ruled line", &p.coupon, 1319)
            .marks([dot(107.8, 76.2 - 22.2, 0.7)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a stray tick between two ticks", &p.coupon, 1306)
            .marks([Mark::tick(68.3, 76.2 - 7.94, 1.57)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a small faint stray dot in the open", &p.coupon, 1307)
            .marks([dot(60.0, 25.0, 0.4).dense(0.6)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a stray dot 2 mm from the edge", &p.coupon, 1308)
            .marks([dot(90.0, 2.0, 0.8)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a stray dot in a mill stamp", &p.coupon, 1309)
            .under([Mark::stamp(30.0, 22.0, 0.0, "6061-T6 .032 ALUMINUM")])
            .marks([dot(56.0, 24.1, 0.8)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new(
            "dark scratches where two marks are missing",
            &p.coupon,
            1310,
        )
        .without("A4")
        .without("B5")
        .marks([
            dark_scratch(60.3, 76.2 - 7.94),
            dark_scratch(84.1, 76.2 - 22.2),
        ])
        .cards(&RIGHT_TOP)
        .shot(View::above(10.0)),
        Draft::new("a stamp's strokes where a mark is missing", &p.coupon, 1311)
            .without("B3")
            .under([Mark::stamp(50.2, 52.2, 0.0, "1-11 LOT 1177")])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("marks struck through once", &p.coupon, 1312)
            .slashed("A3", 7.0)
            .slashed("B6", 9.0)
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("one small cross-out on a tick", &p.coupon, 1313)
            .crossed_sized("A5", 4.6)
            .cards(&RIGHT_TOP)
            .shot(View::above(8.0)),
        Draft::new("one cross-out over a cross, blurred", &p.singles, 1314)
            .crossed_sized("H4", 5.5)
            .cards(&RIGHT_TOP)
            .with(|d| d.scene.sensor.blur_px = 1.6)
            .shot(View::above(9.0)),
        Draft::new("swarf where a mark is missing", &p.singles, 1315)
            .without("H5")
            .marks([Mark::new(Shape::Swarf {
                at: Point::new(77.0, 47.0),
                length_mm: 3.0,
            })])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a stray in a hard shadow", &p.tab, 1316)
            .marks([dot(70.0, 28.0, 0.8)])
            .with(|d| {
                d.scene
                    .light
                    .shadows
                    .push(shadow(60.0, 30.0, -50.0, 3.0, 0.65))
            })
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("double at 1.1 mm on a line", &p.coupon, 1317)
            .faults(&[Fault::Double(1.1)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
        Draft::new("a stray pencil dot", &p.tab, 1318)
            .marks([dot(70.0, 28.0, 0.7).dense(0.4)])
            .cards(&BOTH_SIDES)
            .shot(View::above(10.0)),
        Draft::new("a stray pencil tick on a line", &p.coupon, 1320)
            .marks([Mark::tick(52.4, 76.2 - 7.94, 1.5).dense(0.4)])
            .cards(&RIGHT_TOP)
            .shot(View::above(10.0)),
    ]
}
