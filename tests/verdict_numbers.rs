//! The numeric cores of the verdict against published and computed values.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::PathBuf;

use nalgebra::{Matrix2, Vector2};
use punchready::verdict::decision_rule::{
    Proof, conformance_probability, erfc, guard_over_u, judge, judge_between, normal_cdf,
};
use punchready::verdict::line_fit::{orthogonal, robust, weighted};
use punchready::verdict::pairing::{Link, assign, pair};
use serde_json::Value;

fn reference(file: &str) -> Option<Value> {
    let folder = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"),
        PathBuf::from,
    );
    let path = folder.join(file);
    if !path.exists() {
        println!("SKIPPED: {file} is not at hand");
        return None;
    }
    Some(serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap())
}

fn num(v: &Value) -> f64 {
    v.as_f64().unwrap_or_else(|| panic!("no number: {v}"))
}

fn list(v: &Value) -> Vec<f64> {
    v.as_array().unwrap().iter().map(num).collect()
}

fn points(v: &Value) -> Vec<Vector2<f64>> {
    let point = |p: &Value| Vector2::new(num(&p[0]), num(&p[1]));
    v.as_array().unwrap().iter().map(point).collect()
}

#[track_caller]
fn near(got: f64, want: f64, allowed: f64, what: &str) {
    assert!(
        (got - want).abs() <= allowed,
        "{what}: {got}, expected {want}, off by {:e}, allowed {allowed:e}",
        got - want
    );
}

/// Abramowitz and Stegun, table 7.1 (erf) and the exact symmetries; from memory, checked with
/// scipy 1.17 `special.erfc`.
#[test]
fn error_function() {
    /// The values have 15 digits.
    const PRINTED: f64 = 1e-15;
    let table = [
        (0.0, 1.0),
        (0.5, 0.479500122186953),
        (1.0, 0.157299207050285),
        (2.0, 0.004677734981047),
        (2.5, 0.000406952017445),
        (3.0, 0.000022090496999),
        (-1.0, 1.842700792949715),
    ];
    for (x, want) in table {
        near(erfc(x), want, PRINTED, &format!("erfc({x})"));
    }
    near(erfc(10.0) / 2.088487583762545e-45, 1.0, 1e-13, "erfc(10)");
    for i in -60..=60 {
        let x = f64::from(i) / 10.0;
        near(erfc(x) + erfc(-x), 2.0, 1e-15, "erfc(x) + erfc(-x)");
        let step = normal_cdf(x + 0.05) - normal_cdf(x);
        assert!(step > 0.0 || x > 5.0, "the distribution falls at {x}");
    }
    assert_eq!(erfc(f64::INFINITY), 0.0);
    assert_eq!(erfc(f64::NEG_INFINITY), 2.0);
}

#[test]
fn a_number_that_is_none_proves_nothing() {
    assert_eq!(judge(f64::NAN, 0.1, 1.0), Proof::Neither);
    assert_eq!(judge(0.1, f64::NAN, 1.0), Proof::Neither);
    assert_eq!(judge(0.1, f64::INFINITY, 1.0), Proof::Neither);
}

/// `decision-rule-values.json`: the guard band of a chosen risk, r = z / 2, by scipy 1.17, and what it accepts.
#[test]
fn reference_guard_band_of_a_risk() {
    let Some(data) = reference("decision-rule-values.json") else {
        return;
    };
    /// The reference gives nine digits.
    const NINE_DIGITS: f64 = 1e-9;
    for row in data["quantiles"].as_array().unwrap() {
        let r = guard_over_u(Some(1.0 - num(&row["pc"])));
        near(r, num(&row["r_for_U_2u"]), NINE_DIGITS, "guard band over U");
    }
    // The 95 % rule, one upper limit only: accepted and refused as the conformance probability says.
    let r = guard_over_u(Some(0.05));
    for row in data["conformance"].as_array().unwrap() {
        let (value, u, upper) = (num(&row["measured"]), num(&row["u"]), num(&row["TU"]));
        let pc = num(&row["pc_upper_limit_only"]);
        let said = judge(value, r * 2.0 * u, upper);
        let wanted = if pc >= 0.95 {
            Proof::Kept
        } else if pc <= 0.05 {
            Proof::Broken
        } else {
            Proof::Neither
        };
        assert_eq!(said, wanted, "{row}");
    }
    near(guard_over_u(None), 1.0, 0.0, "unsaid");
}

/// `decision-rule-values.json`: rule w = U, k = 2, and conformance probability by scipy 1.17.
#[test]
fn reference_decision_rule() {
    let Some(data) = reference("decision-rule-values.json") else {
        return;
    };
    /// As the reference asks.
    const PROBABILITY: f64 = 1e-9;
    let mut checked = 0;
    for row in data["conformance"].as_array().unwrap() {
        let (lower, upper) = (num(&row["TL"]), num(&row["TU"]));
        let (value, u) = (num(&row["measured"]), num(&row["u"]));
        let pc = conformance_probability(value, u, lower, upper);
        near(pc, num(&row["pc_two_sided"]), PROBABILITY, "both limits");
        let pc = conformance_probability(value, u, f64::NEG_INFINITY, upper);
        near(
            pc,
            num(&row["pc_upper_limit_only"]),
            PROBABILITY,
            "upper limit",
        );
        let said = match judge_between(value, 2.0 * u, lower, upper) {
            Proof::Kept => "conforms",
            Proof::Broken => "does not conform",
            Proof::Neither => "not proven",
        };
        assert_eq!(said, row["verdict_U_k2"], "{row}");
        checked += 1;
    }
    for row in data["guard_bands"].as_array().unwrap() {
        let (limit, expanded) = (num(&row["T"]), num(&row["U"]));
        let accept = num(&row["acceptance_half_width_r1"]);
        let reject = num(&row["rejection_half_width_r1"]);
        let step = 1e-9;
        assert_eq!(judge(accept - step, expanded, limit), Proof::Kept);
        assert_eq!(judge(accept + step, expanded, limit), Proof::Neither);
        assert_eq!(judge(reject - step, expanded, limit), Proof::Neither);
        assert_eq!(judge(reject + step, expanded, limit), Proof::Broken);
        checked += 1;
    }
    for row in data["quantiles"].as_array().unwrap() {
        near(
            normal_cdf(num(&row["z_one_sided"])),
            num(&row["pc"]),
            PROBABILITY,
            "quantile",
        );
        checked += 1;
    }
    assert_eq!(checked, 17 + 5 + 6, "the reference has changed");
}

/// `line-fit.json`: Pearson 1901, York 1966 and 2004, and lines drawn with and without outliers.
#[test]
fn reference_line_fit() {
    let Some(data) = reference("line-fit.json") else {
        return;
    };
    /// As the reference asks.
    const FIT: f64 = 1e-9;
    let pearson = &data["pearson_1901"];
    let (x, y) = (list(&pearson["x"]), list(&pearson["y"]));
    let drawn: Vec<_> = x
        .iter()
        .zip(&y)
        .map(|(&x, &y)| Vector2::new(x, y))
        .collect();
    check_line(
        &orthogonal(&drawn).unwrap(),
        &pearson["computed_orthogonal"],
        FIT,
    );

    let york = &data["york_1966_weights"];
    let (wx, wy) = (list(&york["weights_x"]), list(&york["weights_y"]));
    let weighed: Vec<_> = (0..drawn.len())
        .map(|i| (drawn[i], Matrix2::new(1.0 / wx[i], 0.0, 0.0, 1.0 / wy[i])))
        .collect();
    let line = weighted(&weighed).unwrap();
    let want = &york["computed_york2004"];
    near(line.intercept, num(&want["intercept"]), FIT, "intercept");
    near(line.slope, num(&want["slope"]), FIT, "slope");
    near(
        line.u_intercept,
        num(&want["sigma_intercept_unscaled"]),
        FIT,
        "u of intercept",
    );
    near(
        line.u_slope,
        num(&want["sigma_slope_unscaled"]),
        FIT,
        "u of slope",
    );
    near(line.chi_squared, num(&want["S"]), FIT, "S");
    near(line.u_at(0.0), line.u_intercept, 1e-12, "u at 0");

    let mut robust_cases = 0;
    for case in data["orthogonal_cases"]["cases"].as_array().unwrap() {
        let drawn = points(&case["points"]);
        check_line(&orthogonal(&drawn).unwrap(), &case["fit"], FIT);
        let Some(want) = case.get("fit_without_outliers") else {
            continue;
        };
        let (line, on_line) = robust(&drawn, 0.0).unwrap();
        let out: Vec<f64> = (0..on_line.len())
            .filter(|&i| !on_line[i])
            .map(|i| i as f64)
            .collect();
        assert_eq!(out, list(&case["outlier_indices"]));
        check_line(&line, want, FIT);
        robust_cases += 1;
    }
    assert_eq!(robust_cases, 1);
}

#[track_caller]
fn check_line(line: &punchready::verdict::line_fit::Line, want: &Value, allowed: f64) {
    // The reference's numbers have 12 digits behind the point; offsets reach 1500.
    near(
        line.direction.x,
        num(&want["direction"][0]),
        allowed,
        "direction x",
    );
    near(
        line.direction.y,
        num(&want["direction"][1]),
        allowed,
        "direction y",
    );
    near(
        line.centroid.x,
        num(&want["centroid"][0]),
        allowed,
        "centroid x",
    );
    near(
        line.centroid.y,
        num(&want["centroid"][1]),
        allowed,
        "centroid y",
    );
    let offset = line.normal().dot(&line.centroid);
    near(
        offset,
        num(&want["offset_n_dot_centroid"]),
        allowed,
        "offset",
    );
    near(line.rms, num(&want["rms_distance"]), allowed, "rms");
}

/// A level, an upright and a turned line, with covariances that are turned with it.
#[test]
fn weighted_line_turns_with_its_points() {
    let base: Vec<(f64, f64)> = vec![
        (0.0, 0.1),
        (10.0, -0.2),
        (20.0, 0.15),
        (30.0, 0.0),
        (40.0, 0.2),
    ];
    let cov = Matrix2::new(0.04, 0.01, 0.01, 0.02);
    let fit = |angle: f64| {
        let (s, c) = angle.sin_cos();
        let turn = Matrix2::new(c, -s, s, c);
        let turned: Vec<_> = base
            .iter()
            .map(|&(x, y)| (turn * Vector2::new(x, y), turn * cov * turn.transpose()))
            .collect();
        weighted(&turned).unwrap()
    };
    let level = fit(0.0);
    for angle in [0.3, -0.7, 1.2] {
        let line = fit(angle);
        near(
            line.slope.atan(),
            level.slope.atan() + angle,
            1e-12,
            "angle",
        );
        near(line.chi_squared, level.chi_squared, 1e-9, "chi squared");
    }
    assert!(weighted(&[(Vector2::new(0.0, 0.0), cov), (Vector2::new(0.0, 1.0), cov)]).is_none());
    assert!(orthogonal(&[Vector2::new(1.0, 1.0), Vector2::new(1.0, 1.0)]).is_none());
    assert!(robust(&[Vector2::new(1.0, 1.0)], 0.1).is_none());
}

/// Whole numbers of nm² below the gate of 4 mm: rounding is far below.
const COST: f64 = 1e-6;

/// `assignment.json`: scipy 1.17 `linear_sum_assignment`.
#[test]
fn reference_assignment() {
    let Some(data) = reference("assignment.json") else {
        return;
    };
    let mut checked = 0;
    for problem in data["problems"].as_array().unwrap() {
        let name = problem["name"].as_str().unwrap();
        let want = num(&problem["optimal_cost"]);
        if problem["kind"] == "plain" {
            let table: Vec<Vec<f64>> = problem["cost"]
                .as_array()
                .unwrap()
                .iter()
                .map(list)
                .collect();
            let mut links = Vec::new();
            for (h, row) in table.iter().enumerate() {
                for (m, &cost) in row.iter().enumerate() {
                    links.push(Link { h, m, cost });
                }
            }
            // A forgone pair costs more than any whole assignment: as many pairs as there can be.
            let pairs = assign(&links, table.len(), table[0].len(), 1000.0);
            let chosen: Vec<f64> = (0..table.len())
                .filter_map(|h| pairs.mark_of[h].map(|m| table[h][m]))
                .collect();
            assert_eq!(chosen.len(), table.len().min(table[0].len()), "{name}");
            near(chosen.iter().sum(), want, COST, name);
        } else {
            check_gated(problem, name, want);
        }
        checked += 1;
    }
    assert_eq!(checked, 12, "the reference has changed");
}

fn check_gated(problem: &Value, name: &str, want: f64) {
    let (plan, found) = (points(&problem["plan_mm"]), points(&problem["found_mm"]));
    let gate = num(&problem["gate_mm"]);
    let pairs = pair(&plan, &found, |_, _| gate, gate);
    let index = |v: &Value| usize::try_from(v.as_u64().unwrap()).unwrap();
    let mut expected = vec![None; plan.len()];
    for p in problem["pairs"].as_array().unwrap() {
        expected[index(&p[0])] = Some(index(&p[1]));
    }
    assert_eq!(pairs.mark_of, expected, "{name}");
    let missing: Vec<usize> = (0..plan.len())
        .filter(|&h| pairs.mark_of[h].is_none())
        .collect();
    let extra: Vec<usize> = (0..found.len())
        .filter(|&m| pairs.hole_of[m].is_none())
        .collect();
    let indices = |v: &Value| v.as_array().unwrap().iter().map(index).collect::<Vec<_>>();
    assert_eq!(missing, indices(&problem["missing_plan_indices"]), "{name}");
    assert_eq!(extra, indices(&problem["extra_found_indices"]), "{name}");
    let mut cost = (missing.len() + extra.len()) as f64 * gate * gate / 2.0;
    for (h, m) in pairs.mark_of.iter().enumerate() {
        cost += m.map_or(0.0, |m| (plan[h] - found[m]).norm_squared());
    }
    near(cost, want, COST, name);
}
