//! A report built by hand that holds every state once, and a drawn photo for it. Not a test of its
//! own: the other `report_*` tests include this file.
#![allow(
    dead_code,
    reason = "each test that includes this file uses a part of it"
)]

use image::{Rgb, RgbImage};
use punchready::decide::Outcome;
use punchready::frame::{Pixel, Point, Sheet};
use punchready::ink::{MarkKind, RuledLine, Seen};
use punchready::plan::{Edge, Hole, Plan, Row, Units};
use punchready::report::{
    CardSummary, Fit, InPhoto, LensSource, PhotoSummary, Report, Shown, SurveySummary,
};
use punchready::sheet::{MeasuredEdge, Outline};
use punchready::verdict::coach::Advice;
use punchready::verdict::{
    Decision, HoleResult, HoleState, Reason, RowFigures, Stray, StrayState, Verdict,
};

pub(crate) const IN: f64 = 25.4;

pub(crate) struct Fixture {
    pub(crate) plan: Plan,
    pub(crate) verdict: Verdict,
    pub(crate) lines: Vec<RuledLine>,
    pub(crate) seen: Seen,
    pub(crate) outline: Outline,
    pub(crate) survey: SurveySummary,
    pub(crate) in_photo: Vec<InPhoto>,
    pub(crate) photos: Vec<PhotoSummary>,
    pub(crate) notes: Vec<String>,
    pub(crate) shown: Vec<Option<Shown>>,
    pub(crate) person: Outcome,
    pub(crate) advice: Vec<Advice>,
}

impl Fixture {
    pub(crate) fn report(&self) -> Report<'_> {
        Report {
            plan: &self.plan,
            verdict: &self.verdict,
            budgets: vec![None; self.verdict.holes.len()],
            lines: &self.lines,
            seen: &self.seen,
            person: &self.person,
            advice: &self.advice,
            outline: &self.outline,
            survey: self.survey.clone(),
            in_photo: self.in_photo.clone(),
            photos: self.photos.clone(),
            shown: self.shown.iter().map(Option::as_ref).collect(),
            notes: self.notes.clone(),
        }
    }
}

/// 12 x 8 1/2 in, row A along the bottom (14 holes), row B along the left (8), one single hole.
pub(crate) fn plan() -> Plan {
    let a: Vec<f64> = (0..14)
        .map(|i| (0.6875 + 0.8125 * f64::from(i)) * IN)
        .collect();
    let b: Vec<f64> = (0..8).map(|i| (1.25 + 0.875 * f64::from(i)) * IN).collect();
    let rows = vec![
        Row {
            name: "A".into(),
            along: Edge::Bottom,
            edge_distance_mm: 0.3125 * IN,
            stations_mm: a.clone(),
        },
        Row {
            name: "B".into(),
            along: Edge::Left,
            edge_distance_mm: 0.375 * IN,
            stations_mm: b.clone(),
        },
    ];
    let hole = |row: &str, i: usize, x, y| Hole {
        name: format!("{row}{}", i + 1),
        row: Some(row.into()),
        at: Point::new(x, y),
    };
    let mut holes: Vec<Hole> = a
        .iter()
        .enumerate()
        .map(|(i, &x)| hole("A", i, x, 0.3125 * IN))
        .collect();
    holes.extend(
        b.iter()
            .enumerate()
            .map(|(i, &y)| hole("B", i, 0.375 * IN, y)),
    );
    holes.push(Hole {
        name: "P1".into(),
        row: None,
        at: Point::new(6.0 * IN, 2.53125 * IN),
    });
    Plan {
        title: "Hatch cover, outboard row".into(),
        units: Units::Inch,
        width_mm: 12.0 * IN,
        height_mm: 8.5 * IN,
        thickness_mm: Some(0.04 * IN),
        rivet_mm: Some(0.125 * IN),
        head: None,
        drill: None,
        tolerance_mm: IN / 32.0,
        seen_fraction: 0.98,
        risk: None,
        datum: None,
        drilled: Vec::new(),
        runs: Vec::new(),
        rows,
        holes,
    }
}

/// Every hole state and every sort of stray.
pub(crate) fn every_state() -> Fixture {
    let plan = plan();
    let holes = plan.holes.iter().enumerate().map(result).collect();
    let stray = |x, y, ringed, state, size_mm, why| Stray {
        at: Point::new(x, y),
        uncertainty_mm: 0.21,
        ringed,
        state,
        size_mm,
        why,
        probability: (state != StrayState::Unsure).then_some(0.624),
    };
    let strays = vec![
        stray(181.3, 70.2, true, StrayState::Stray, 0.9, None),
        stray(226.0, 61.0, false, StrayState::Stray, 0.8, None),
        stray(92.0, 44.0, false, StrayState::Cancelled, 0.7, None),
        stray(
            118.4,
            131.0,
            false,
            StrayState::Unsure,
            3.1,
            Some(punchready::ink::Doubt::StrokeAlone),
        ),
    ];
    let reason = |code, text: &str| Reason {
        code,
        text: text.into(),
    };
    let verdict = Verdict {
        decision: Decision::NotReady,
        reasons: vec![
            reason(
                "stray-ringed",
                "1 ringed extra mark, 1/2 in (12.7 mm) above P1: no hole is planned there, and a ring says drill here",
            ),
            reason(
                "stray-mark",
                "1 extra mark, 1 3/4 in (44.5 mm) right of P1: no hole is planned there",
            ),
            reason(
                "hole-off",
                "A3 is out of place by 0.057 in (1.45 mm); the plan allows 0.031 in (0.79 mm)",
            ),
            reason("hole-missing", "A5 has no mark"),
            reason("hole-unseen", "B8 is not visible in the photo"),
        ],
        holes,
        strays,
        rows: vec![
            RowFigures {
                row: "A".into(),
                edge_distance_mm: Some([7.94, 8.31]),
                angle_deg: Some(0.081),
                uncertainty_mm: Some(0.18),
                pitch_mm: Some([18.92, 20.64, 22.36]),
                pitch_uncertainty_mm: Some(0.14),
                straightness_mm: Some(0.34),
            },
            RowFigures {
                row: "B".into(),
                edge_distance_mm: None,
                angle_deg: None,
                uncertainty_mm: None,
                pitch_mm: Some([22.1, 22.23, 22.4]),
                pitch_uncertainty_mm: Some(0.16),
                straightness_mm: Some(0.12),
            },
        ],
        bench: vec![
            "RINGED extra mark 1/2 in (12.7 mm) above P1: it will be drilled as it stands; cross it out before anything else"
                .into(),
            "extra mark 1 3/4 in (44.5 mm) right of P1: cross it out".into(),
            "A3: cross it out and mark it again 1/16 in (1.4 mm) to the left".into(),
            "A5: mark it at 3 15/16 in (100.0 mm) from the left edge, 5/16 in (7.9 mm) from the bottom edge".into(),
            "measure A7 with a steel rule: 0.027 in (0.69 mm) from its place (0.027 in left), give or take 0.008 in (0.20 mm); the plan allows 0.031 in (0.79 mm)"
                .into(),
            "look at B8 by eye, or take one more photo: this one does not show it".into(),
        ],
    };
    let lines = vec![
        RuledLine {
            ends: [Point::new(4.0, 7.95), Point::new(300.0, 8.3)],
            width_mm: 0.4,
            u_mm: 0.05,
        },
        RuledLine {
            ends: [Point::new(9.5, 25.0), Point::new(9.55, 195.0)],
            width_mm: 0.4,
            u_mm: 0.05,
        },
    ];
    let edge = |edge, a: (f64, f64), b: (f64, f64)| MeasuredEdge {
        edge,
        ends: [Point::new(a.0, a.1), Point::new(b.0, b.1)],
        u_offset_mm: 0.05,
        u_angle_rad: 1e-4,
    };
    let (w, h) = (plan.width_mm, plan.height_mm);
    let outline = Outline {
        edges: vec![
            edge(Edge::Bottom, (0.0, 0.0), (w, 0.0)),
            edge(Edge::Right, (w, 0.0), (w, h)),
            edge(Edge::Left, (0.0, 0.0), (0.0, h)),
        ],
        width_mm: Some([w + 0.1, 0.08]),
        height_mm: None,
    };
    Fixture {
        seen: seen(&plan),
        plan,
        verdict,
        lines,
        outline,
        survey: SurveySummary {
            fit: Some(Fit {
                rms_px: 0.31,
                mm_per_px: 0.0812,
                lens: LensSource::Exif,
                scale: [1.0021, 0.9987],
                scale_u: 0.0005,
            }),
            cards: vec![
                CardSummary {
                    number: 3,
                    saddles: 48,
                    rms_px: Some(0.29),
                    used: true,
                    note: None,
                },
                CardSummary {
                    number: 7,
                    saddles: 31,
                    rms_px: Some(1.42),
                    used: false,
                    note: Some("not lying flat".into()),
                },
            ],
            left_out: vec!["5 checker corners of card 3 lay in glare.".into()],
        },
        in_photo: Vec::new(),
        photos: vec![PhotoSummary {
            file: "hatch cover.jpg".into(),
            name: "hatch cover.jpg".into(),
            width: 4000,
            height: 3000,
            camera: Some("Example Phone 12".into()),
            left_out: None,
        }],
        notes: vec!["The top edge of the sheet was not found.".into()],
        shown: Vec::new(),
        person: Outcome::default(),
        advice: vec![Advice {
            cause: "glare",
            holes: vec!["B8".into()],
            text: "glare over B8: move the lamp or tilt the phone a little".into(),
        }],
    }
}

fn result((i, hole): (usize, &Hole)) -> HoleResult {
    let (state, dx, dy, u) = match hole.name.as_str() {
        "A3" => (HoleState::Off, Some(1.42), 0.28, 0.19),
        "A5" => (HoleState::Missing, None, 0.0, 0.0),
        "A7" => (HoleState::Close, Some(-0.68), -0.12, 0.2),
        "A9" => (HoleState::Cancelled, Some(0.1), 0.2, 0.18),
        "A11" => (HoleState::Double, Some(0.3), 0.1, 0.2),
        "B8" | "B6" => (HoleState::Unseen, None, 0.0, 0.0),
        _ => {
            let wobble = (i * 37 % 11) as f64 / 11.0 - 0.5;
            (HoleState::Good, Some(0.5 * wobble), -0.3 * wobble, 0.17)
        }
    };
    HoleResult {
        name: hole.name.clone(),
        row: hole.row.clone(),
        planned: hole.at,
        found: dx.map(|dx| Point::new(hole.at.x + dx, hole.at.y + dy)),
        uncertainty_mm: dx.map(|_| u),
        state,
        unclear: hole.name == "B6",
        ringed: hole.name == "P1" || hole.name == "A3",
        kind: dx.map(|_| {
            if hole.row.is_some() {
                MarkKind::Tick
            } else {
                MarkKind::Cross
            }
        }),
        probability: dx.map(|_| 0.97),
    }
}

/// One patch at the upper left with B8 in it, a small one, and one with a seen island inside.
fn seen(plan: &Plan) -> Seen {
    let cell_mm = 5.0;
    let columns = (plan.width_mm / cell_mm).ceil() as usize;
    let rows = (plan.height_mm / cell_mm).ceil() as usize;
    let cells = (0..columns * rows)
        .map(|i| {
            let (c, r) = (i % columns, i / columns);
            let corner = c < 7 && r > 35 && c + (rows - r) < 12;
            let small = (30..32).contains(&c) && r == 20;
            let island = (44..51).contains(&c) && (25..31).contains(&r) && (47, 28) != (c, r);
            !(corner || small || island)
        })
        .collect();
    Seen {
        cell_mm,
        columns,
        rows,
        size_mm: [plan.width_mm, plan.height_mm],
        cells,
        blind: Vec::new(),
    }
}

/// Everything good and seen.
pub(crate) fn ready() -> Fixture {
    let mut f = every_state();
    f.verdict.decision = Decision::Ready;
    f.advice.clear();
    f.verdict.reasons = vec![Reason {
        code: "all-good",
        text: "Every planned hole has its mark, and nothing else is on the sheet.".into(),
    }];
    f.verdict.strays.clear();
    f.verdict.bench.clear();
    f.notes.clear();
    f.survey.left_out.clear();
    f.seen.cells.fill(true);
    for h in &mut f.verdict.holes {
        h.state = HoleState::Good;
        h.found = Some(Point::new(h.planned.x + 0.1, h.planned.y));
        h.uncertainty_mm = Some(0.2);
    }
    f
}

/// Where the drawn photo shows a place of the sheet: a mild perspective in 4000 x 3000 px.
pub(crate) fn pixel_from_sheet(p: Point<Sheet>) -> Option<Point<Pixel>> {
    let (x, y) = (p.x - 152.4, p.y - 108.0);
    let w = 1.0 + 0.0006 * y + 0.0002 * x;
    let px = Point::new(
        2000.0 + (11.6 * x + 0.4 * y) / w,
        1480.0 - (11.4 * y - 0.3 * x) / w,
    );
    (w > 0.1).then_some(px)
}

/// The inverse of [`pixel_from_sheet`], by solving its two linear equations.
fn sheet_from_pixel(px: f64, py: f64) -> Point<Sheet> {
    let (u, v) = (px - 2000.0, 1480.0 - py);
    // u (1 + 0.0006 y + 0.0002 x) = 11.6 x + 0.4 y; v (...) = 11.4 y - 0.3 x
    let a = nalgebra::Matrix2::new(
        11.6 - 0.0002 * u,
        0.4 - 0.0006 * u,
        -0.3 - 0.0002 * v,
        11.4 - 0.0006 * v,
    );
    let s = a.try_inverse().unwrap() * nalgebra::Vector2::new(u, v);
    Point::new(s.x + 152.4, s.y + 108.0)
}

/// A grey sheet on a brown bench with ink for everything that `every_state` holds.
pub(crate) fn photo(f: &Fixture) -> RgbImage {
    let mut img = RgbImage::from_fn(4000, 3000, |x, y| {
        let s = sheet_from_pixel(f64::from(x) + 0.5, f64::from(y) + 0.5);
        if (0.0..f.plan.width_mm).contains(&s.x) && (0.0..f.plan.height_mm).contains(&s.y) {
            let grain = 6.0 * (s.y * 23.0).sin() * (s.x * 0.11 + s.y).cos();
            let v = (168.0 + 40.0 * s.x / f.plan.width_mm + grain) as u8;
            return Rgb([v, v, v + 4]);
        }
        let grain = ((x * 7 + y * 131) % 13) as u8;
        Rgb([120 + grain, 92 + grain, 66 + grain])
    });
    let mut spot = |at: Point<Sheet>, radius_mm: f64, ink: Rgb<u8>| {
        let Some(c) = pixel_from_sheet(at) else {
            return;
        };
        let r = radius_mm * 11.0;
        for y in (c.y - r) as i64..=(c.y + r) as i64 {
            for x in (c.x - r) as i64..=(c.x + r) as i64 {
                let d = (x as f64 + 0.5 - c.x).hypot(y as f64 + 0.5 - c.y);
                if d < r && (0..4000).contains(&x) && (0..3000).contains(&y) {
                    img.put_pixel(x as u32, y as u32, ink);
                }
            }
        }
    };
    let ink = Rgb([38, 36, 44]);
    for l in &f.lines {
        for i in 0..6000 {
            let t = f64::from(i) / 6000.0;
            spot(l.ends[0] + (l.ends[1] - l.ends[0]) * t, 0.18, ink);
        }
    }
    for h in &f.verdict.holes {
        if let Some(at) = h.found {
            for i in -12..=12 {
                spot(
                    at + nalgebra::Vector2::new(0.0, f64::from(i) * 0.15),
                    0.2,
                    ink,
                );
                if h.row.as_deref() != Some("A") {
                    spot(
                        at + nalgebra::Vector2::new(f64::from(i) * 0.15, 0.0),
                        0.2,
                        ink,
                    );
                }
                if h.state == HoleState::Cancelled {
                    let d = f64::from(i) * 0.3;
                    spot(at + nalgebra::Vector2::new(d, d), 0.25, ink);
                    spot(at + nalgebra::Vector2::new(d, -d), 0.25, ink);
                }
            }
        }
        if h.state == HoleState::Double {
            spot(h.planned + nalgebra::Vector2::new(-1.6, 0.4), 0.5, ink);
        }
        if h.ringed {
            ring(&mut spot, h.found, ink);
        }
    }
    for s in &f.verdict.strays {
        spot(s.at, s.size_mm / 2.0, ink);
        if s.ringed {
            ring(&mut spot, Some(s.at), ink);
        }
        if s.state == StrayState::Cancelled {
            for i in -12..=12 {
                let d = f64::from(i) * 0.3;
                spot(s.at + nalgebra::Vector2::new(d, d), 0.25, ink);
                spot(s.at + nalgebra::Vector2::new(d, -d), 0.25, ink);
            }
        }
    }
    img
}

fn ring(spot: &mut impl FnMut(Point<Sheet>, f64, Rgb<u8>), at: Option<Point<Sheet>>, ink: Rgb<u8>) {
    for i in 0..240 {
        let (s, c) = (f64::from(i) * std::f64::consts::TAU / 240.0).sin_cos();
        if let Some(at) = at {
            spot(at + nalgebra::Vector2::new(3.2 * c, 3.2 * s), 0.22, ink);
        }
    }
}

/// Texts from files that try to break out of what they are put in, and names without end.
pub(crate) fn hostile() -> Fixture {
    let mut f = every_state();
    f.plan.title = "<script>alert(1)</script>\u{1b}[31m\"'&]]> \u{202e}evil".into();
    f.plan.rows[0].name = "row<b>".into();
    f.verdict.rows[0].row = "row<b>".into();
    for (i, h) in f.plan.holes.iter_mut().enumerate() {
        h.name = format!("<img src=x onerror=alert({i})>\u{7}\n{}", "long".repeat(30));
    }
    for (h, p) in f.verdict.holes.iter_mut().zip(&f.plan.holes) {
        h.name = p.name.clone();
    }
    f.photos[0].file = "</dd><iframe src='http://example.org/'>\u{0}.jpg".into();
    f.photos[0].camera = Some("\"><svg onload=alert(2)>".into());
    f.survey.cards[1].note = Some("</script><b>".into());
    f.notes
        .push("<a href=\"https://example.org\">note</a>".into());
    f.verdict
        .bench
        .push("<u>bench</u> \u{1b}]0;title\u{7}".into());
    f.verdict.reasons[0].text = "reason <i>\u{9b}31m".into();
    f
}

/// A large plan with nothing where it should be.
pub(crate) fn crowd() -> Fixture {
    let mut f = every_state();
    f.plan.holes = (0..400)
        .map(|i| Hole {
            name: format!("H{i}"),
            row: None,
            at: Point::new(
                10.0 + 14.0 * f64::from(i % 20),
                8.0 + 10.0 * f64::from(i / 20),
            ),
        })
        .collect();
    f.plan.rows.clear();
    f.verdict.rows.clear();
    f.verdict.holes = f
        .plan
        .holes
        .iter()
        .map(|h| HoleResult {
            name: h.name.clone(),
            row: None,
            planned: h.at,
            found: Some(h.at + nalgebra::Vector2::new(1.5, -1.0)),
            uncertainty_mm: Some(0.2),
            state: HoleState::Off,
            unclear: false,
            ringed: false,
            kind: Some(MarkKind::Dot),
            probability: Some(0.97),
        })
        .collect();
    f
}

/// A check that ended before anything was measured: two cards read, the wrong thing taken for the sheet.
pub(crate) fn stopped() -> Fixture {
    let mut f = every_state();
    f.verdict.decision = Decision::CannotTell;
    f.verdict.reasons = vec![Reason {
        code: "no-sheet",
        text: "no sheet of 304.8 x 215.9 mm was found".into(),
    }];
    f.verdict.bench = vec!["put right what kept the photo from being measured".into()];
    f.verdict.strays.clear();
    for hole in &mut f.verdict.holes {
        hole.state = HoleState::Unseen;
        hole.found = None;
        hole.uncertainty_mm = None;
    }
    f.lines.clear();
    f.outline = Outline::default();
    f.seen.cells.fill(false);
    f.survey.fit = None;
    for card in &mut f.survey.cards {
        (card.rms_px, card.used) = (None, false);
    }
    let square = |x: f64, y: f64, side: f64| {
        let corners = [(0.0, 0.0), (side, 0.0), (side, side), (0.0, side)];
        corners.map(|(a, b)| Point::new(x + a, y + b)).to_vec()
    };
    f.in_photo = vec![
        InPhoto {
            photo: 0,
            card: Some(3),
            corners: square(300.0, 400.0, 500.0),
        },
        InPhoto {
            photo: 0,
            card: None,
            corners: square(1500.0, 600.0, 1800.0),
        },
    ];
    f
}
