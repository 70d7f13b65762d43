//! Plans of the ladder: the shipped fixtures, and small pieces that keep photos small.

use std::path::Path;

use punchready::plan::{Plan, parse};

/// The outboard rows of a hatch cover: fewer holes than the demo's plan, and no symmetry.
const OUTBOARD: &str = r#"title = "Hatch cover, outboard row"
units = "in"

[sheet]
width = 12
height = "8 1/2"
thickness = 0.040

[rivet]
diameter = "1/8"
head = "protruding"

[tolerance]
position = "1/32"

[[row]]
name = "A"
along = "bottom"
edge_distance = "5/16"
first = "11/16"
pitch = "13/16"
count = 14

[[row]]
name = "B"
along = "right"
edge_distance = "5/16"
first = "1 3/8"
pitch = "13/16"
count = 8

[[hole]]
name = "P1"
x = "6"
y = "2 17/32"

[[hole]]
name = "P2"
x = "3 1/4"
y = "5 7/16"
"#;

/// Two rows square to each other and three single holes; metric, tight tolerance.
const TAB: &str = r#"title = "Tab plate"
units = "mm"
[sheet]
width = 110
height = 70
thickness = 1.2
[rivet]
diameter = 3.2
head = "protruding"
[tolerance]
position = 0.6
[[row]]
name = "A"
along = "bottom"
edge_distance = 8
first = 10
pitch = 18
count = 6
[[row]]
name = "B"
along = "left"
edge_distance = 9
first = 26
pitch = 16
count = 3
[[hole]]
name = "P1"
x = 55
y = 42
[[hole]]
name = "P2"
x = 84
y = 51.5
"#;

/// Single holes only.
const SINGLES: &str = r#"title = "Hinge plate"
units = "mm"
[sheet]
width = 120
height = 80
thickness = 0.8
[tolerance]
position = 0.7
[[hole]]
name = "H1"
x = 12
y = 12
[[hole]]
name = "H2"
x = 60
y = 14
[[hole]]
name = "H3"
x = 104
y = 22
[[hole]]
name = "H4"
x = 31
y = 41
[[hole]]
name = "H5"
x = 77
y = 47
[[hole]]
name = "H6"
x = 15
y = 66
[[hole]]
name = "H7"
x = 95
y = 68
"#;

/// Two close rows of close holes.
const DENSE: &str = r#"title = "Dense lap"
units = "mm"
[sheet]
width = 130
height = 60
thickness = 0.8
[rivet]
diameter = 2.4
[tolerance]
position = 0.6
[[row]]
name = "A"
along = "bottom"
edge_distance = 7
first = 9
pitch = 7
count = 17
[[row]]
name = "B"
along = "bottom"
edge_distance = 14
first = 12.5
pitch = 7
count = 16
"#;

/// A square piece: only its marks tell which way round it lies.
const SQUARE: &str = r#"title = "Square doubler"
units = "mm"
[sheet]
width = 90
height = 90
thickness = 1.0
[tolerance]
position = 0.7
[[row]]
name = "A"
along = "bottom"
edge_distance = 9
first = 12
pitch = 15
count = 5
[[row]]
name = "B"
along = "left"
edge_distance = 11
first = 27
pitch = 17
count = 4
[[hole]]
name = "P1"
x = 58
y = 61
"#;

/// All plans of the ladder.
pub(crate) struct Plans {
    pub(crate) demo: Plan,
    pub(crate) hatch: Plan,
    pub(crate) keel: Plan,
    pub(crate) coupon: Plan,
    pub(crate) tab: Plan,
    pub(crate) singles: Plan,
    pub(crate) dense: Plan,
    pub(crate) square: Plan,
}

impl Plans {
    pub(crate) fn read() -> Result<Self, String> {
        let fixture = |name: &str| {
            let path = Path::new(env!("CARGO_MANIFEST_DIR"))
                .join("fixtures")
                .join(name);
            punchready::plan::read(&path).map_err(|e| e.to_string())
        };
        let own = |text: &str| parse(text, Path::new("ladder.toml")).map_err(|e| e.to_string());
        Ok(Self {
            demo: own(OUTBOARD)?,
            hatch: fixture("hatch-cover.toml")?,
            keel: fixture("keel-strip.toml")?,
            coupon: fixture("coupon.toml")?,
            tab: own(TAB)?,
            singles: own(SINGLES)?,
            dense: own(DENSE)?,
            square: own(SQUARE)?,
        })
    }
}
