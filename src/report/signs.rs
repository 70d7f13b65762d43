//! The signs: one shape and one colour for each state.
//!
//! Colours are after M. Okabe and K. Ito, "Color Universal Design" (2008, from memory), some made
//! darker for contrast on white. Grave things are vermilion, absent ones blue, doubtful ones orange;
//! no two signs share a shape, so that the colour is never needed.

use std::fmt::Write;

use crate::verdict::{Decision, HoleState, Stray, StrayState};

/// Vermilion, darkened to 5 : 1 on white.
const VERMILION: &str = "#b84a00";
/// Blue.
const BLUE: &str = "#0072b2";
/// Reddish purple, darkened.
const PURPLE: &str = "#9a3f78";
/// Orange, darkened to 4 : 1 on white.
const ORANGE: &str = "#a86f00";
/// Bluish green, darkened.
const GREEN: &str = "#007a5a";
/// For what does not call for action.
const GREY: &str = "#444444";

/// What a sign says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Sign {
    /// A live, ringed stray.
    RingedStray,
    /// A live stray.
    Stray,
    /// A hole's mark beyond tolerance.
    Off,
    /// No mark.
    Missing,
    /// A hole's mark, crossed out.
    Cancelled,
    /// Two marks for a hole.
    Double,
    /// Cannot be proven.
    Close,
    /// Ink without a name.
    Unsure,
    /// A hole that is not in view.
    Unseen,
    /// In order.
    Good,
    /// A stray, crossed out.
    CancelledStray,
}

/// All signs, the gravest first: the order of legends and of label places.
pub(super) const ALL: [Sign; 11] = [
    Sign::RingedStray,
    Sign::Stray,
    Sign::Off,
    Sign::Missing,
    Sign::Cancelled,
    Sign::Double,
    Sign::Close,
    Sign::Unsure,
    Sign::Unseen,
    Sign::Good,
    Sign::CancelledStray,
];

impl Sign {
    /// The sign of a hole.
    pub(super) fn of_hole(state: HoleState) -> Self {
        match state {
            HoleState::Good => Self::Good,
            HoleState::Off => Self::Off,
            HoleState::Close => Self::Close,
            HoleState::Missing => Self::Missing,
            HoleState::Cancelled => Self::Cancelled,
            HoleState::Double => Self::Double,
            HoleState::Unseen => Self::Unseen,
        }
    }

    /// The sign of a stray.
    pub(super) fn of_stray(stray: &Stray) -> Self {
        match (stray.state, stray.ringed) {
            (StrayState::Stray, true) => Self::RingedStray,
            (StrayState::Stray, false) => Self::Stray,
            (StrayState::Unsure, _) => Self::Unsure,
            (StrayState::Cancelled, _) => Self::CancelledStray,
        }
    }

    /// Its colour.
    pub(super) fn colour(self) -> &'static str {
        match self {
            Self::RingedStray | Self::Stray | Self::Off => VERMILION,
            Self::Missing | Self::Cancelled => BLUE,
            Self::Double => PURPLE,
            Self::Close | Self::Unsure => ORANGE,
            Self::Good => GREEN,
            Self::Unseen | Self::CancelledStray => GREY,
        }
    }

    /// Small and thin: nothing to do there.
    pub(super) fn quiet(self) -> bool {
        matches!(self, Self::Good | Self::CancelledStray)
    }

    /// What the legend says.
    pub(super) fn legend(self) -> &'static str {
        match self {
            Self::RingedStray => "ringed extra mark",
            Self::Stray => "extra mark",
            Self::Off => "out of place (arrow: way to go)",
            Self::Missing => "missing",
            Self::Cancelled => "crossed out",
            Self::Double => "double",
            Self::Close => "too close to call",
            Self::Unsure => "unclear mark",
            Self::Unseen => "hole not visible or unclear",
            Self::Good => "good",
            Self::CancelledStray => "extra mark, crossed out",
        }
    }

    /// Its radius in units of the picture (see `overlay`).
    pub(super) fn radius(self) -> f64 {
        match self {
            Self::RingedStray => 0.95,
            Self::Good => 0.3,
            Self::CancelledStray => 0.4,
            _ => 0.6,
        }
    }

    /// The sign round `at`, its outside `r` from there, with a white halo.
    pub(super) fn svg(self, at: [f64; 2], r: f64) -> String {
        let stroke = match self {
            Self::RingedStray => 0.2 * r,
            Self::Good | Self::CancelledStray => 0.24 * r,
            _ => 0.26 * r,
        };
        let path = self.path(at, r - stroke / 2.0);
        let dash = match self {
            Self::Missing | Self::Unseen => format!("{:.2} {:.2}", 0.48 * r, 0.3 * r),
            Self::CancelledStray => format!("{:.2} {:.2}", 0.3 * r, 0.3 * r),
            _ => "none".into(),
        };
        let halo = stroke * 1.9;
        format!(
            "<path d=\"{path}\" fill=\"none\" stroke-linejoin=\"round\" stroke=\"#fff\" \
             stroke-opacity=\".85\" stroke-width=\"{halo:.2}\"/>\
             <path d=\"{path}\" fill=\"none\" stroke-linejoin=\"round\" stroke=\"{}\" \
             stroke-width=\"{stroke:.2}\" stroke-dasharray=\"{dash}\"/>",
            self.colour()
        )
    }

    /// The sign as a small picture for lists, within `r` of `at`: with its arrow where it has one.
    pub(super) fn icon(self, at: [f64; 2], r: f64) -> String {
        if self == Self::Off {
            let small = 0.68 * r;
            let x = at[0] + r - small;
            return self.svg([x, at[1]], small)
                + &arrow(
                    [x - small, at[1]],
                    [at[0] - 1.05 * r, at[1]],
                    0.18 * r,
                    self.colour(),
                );
        }
        self.svg(at, if self.quiet() { 0.7 * r } else { r })
    }

    fn path(self, at: [f64; 2], r: f64) -> String {
        match self {
            Self::Good | Self::Off | Self::Missing => circle(at, r),
            Self::Double => {
                let r2 = r * 0.68;
                let d = r - r2;
                circle([at[0] - d, at[1]], r2) + &circle([at[0] + d, at[1]], r2)
            }
            Self::Close => polygon(at, r, 4, 0.0),
            Self::Cancelled | Self::Unseen => polygon(at, r, 4, 0.5),
            Self::Stray | Self::CancelledStray => polygon(at, r, 3, 0.0),
            Self::Unsure => polygon(at, r, 6, 0.5),
            Self::RingedStray => polygon(at, r, 8, 0.5) + &polygon(at, r * 0.62, 8, 0.5),
        }
    }
}

/// Regular polygon with corners on radius `r`, the first straight up, turned by `turn` corners.
fn polygon(at: [f64; 2], r: f64, corners: u32, turn: f64) -> String {
    let mut d = String::new();
    for i in 0..corners {
        let a = (f64::from(i) + turn) * std::f64::consts::TAU / f64::from(corners);
        let letter = if i == 0 { 'M' } else { 'L' };
        // Writing to a string cannot fail.
        let _ = write!(
            d,
            "{letter}{:.2} {:.2}",
            at[0] + r * a.sin(),
            at[1] - r * a.cos()
        );
    }
    d + "Z"
}

fn circle(at: [f64; 2], r: f64) -> String {
    let [x, y] = at;
    format!(
        "M{:.2} {y:.2}A{r:.2} {r:.2} 0 1 0 {:.2} {y:.2}A{r:.2} {r:.2} 0 1 0 {:.2} {y:.2}Z",
        x - r,
        x + r,
        x - r
    )
}

/// An arrow from `a` to `b` with its head's point on `b`, stroke `w`, with a white halo.
pub(super) fn arrow(a: [f64; 2], b: [f64; 2], w: f64, colour: &str) -> String {
    let d = [b[0] - a[0], b[1] - a[1]];
    let long = d[0].hypot(d[1]).max(1e-9);
    let (x, y) = (d[0] / long, d[1] / long);
    let head = 3.4 * w;
    let base = [b[0] - x * head, b[1] - y * head];
    let side = 0.55 * head;
    let shaft = format!("M{:.2} {:.2}L{:.2} {:.2}", a[0], a[1], base[0], base[1]);
    let tip = format!(
        "M{:.2} {:.2}L{:.2} {:.2}L{:.2} {:.2}Z",
        b[0],
        b[1],
        base[0] - y * side,
        base[1] + x * side,
        base[0] + y * side,
        base[1] - x * side
    );
    let halo = 0.9 * w;
    format!(
        "<path d=\"{shaft}\" fill=\"none\" stroke=\"#fff\" stroke-opacity=\".85\" \
         stroke-width=\"{:.2}\"/><path d=\"{tip}\" fill=\"#fff\" stroke=\"#fff\" \
         stroke-width=\"{halo:.2}\"/><path d=\"{shaft}\" fill=\"none\" stroke=\"{colour}\" \
         stroke-width=\"{w:.2}\"/><path d=\"{tip}\" fill=\"{colour}\"/>",
        w + halo
    )
}

/// Dark ground and white text for a decision: at least 7 : 1 contrast.
pub(super) fn ground(d: Decision) -> &'static str {
    match d {
        Decision::Ready => "#005a43",
        Decision::NotReady => "#8a2c00",
        Decision::CannotTell => "#5c3f00",
    }
}

/// The decision's own sign, white: a ticked circle, a barred octagon, a questioning diamond.
pub(super) fn badge(d: Decision, at: [f64; 2], r: f64) -> String {
    let [x, y] = at;
    let w = 0.2 * r;
    let (outline, inner) = match d {
        Decision::Ready => (
            circle(at, r - w / 2.0),
            format!(
                "M{:.2} {:.2}L{:.2} {:.2}L{:.2} {:.2}",
                x - 0.42 * r,
                y + 0.02 * r,
                x - 0.1 * r,
                y + 0.36 * r,
                x + 0.45 * r,
                y - 0.34 * r
            ),
        ),
        Decision::NotReady => (
            polygon(at, r - w / 2.0, 8, 0.5),
            format!("M{:.2} {y:.2}L{:.2} {y:.2}", x - 0.48 * r, x + 0.48 * r),
        ),
        Decision::CannotTell => (
            polygon(at, r, 4, 0.0),
            format!(
                "M{:.2} {:.2}a{q:.2} {q:.2} 0 1 1 {q:.2} {q:.2}v{:.2}M{x:.2} {:.2}v{:.2}",
                x - 0.24 * r,
                y - 0.16 * r,
                0.16 * r,
                y + 0.4 * r,
                0.14 * r,
                q = 0.24 * r
            ),
        ),
    };
    format!(
        "<path d=\"{outline}\" fill=\"none\" stroke=\"#fff\" stroke-width=\"{w:.2}\" \
         stroke-linejoin=\"round\"/><path d=\"{inner}\" fill=\"none\" stroke=\"#fff\" \
         stroke-width=\"{w:.2}\"/>"
    )
}
