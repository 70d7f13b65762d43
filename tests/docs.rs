//! README and docs: short enough, readable, no dead link, no command that does not work, one word for each state.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;
mod lens_set;
mod strip_scene;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use cli_support::run;
use serde_json::Value;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(file: &str) -> String {
    fs::read_to_string(root().join(file)).unwrap()
}

/// README, DEVELOPERS and all of `docs/`, by their paths from the root.
fn pages() -> Vec<String> {
    let mut all: Vec<String> = ["README.md", "DEVELOPERS.md", "fixtures/README.md"]
        .map(str::to_owned)
        .into();
    for entry in fs::read_dir(root().join("docs")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name.ends_with(".md") {
            all.push(format!("docs/{name}"));
        }
    }
    all.sort();
    all
}

#[test]
fn the_readme_is_short() {
    let lines = read("README.md").lines().count();
    println!("README.md: {lines} lines");
    assert!(lines <= 150, "{lines}");
}

/// The figures in the README are those of docs/accuracy.md; PUNCHREADY_BLESS=1 copies them.
#[test]
fn the_readme_has_the_figures_of_the_accuracy_page() {
    const MARKS: [&str; 2] = ["<!-- figures: begin -->\n", "<!-- figures: end -->"];
    let accuracy = read("docs/accuracy.md");
    let figures: String = accuracy
        .split("<!-- readme: begin -->\n")
        .skip(1)
        .map(|rest| rest.split_once("<!-- readme: end -->").unwrap().0)
        .collect();
    assert!(figures.lines().count() >= 3, "{figures}");
    let readme = read("README.md");
    let [from, to] = MARKS.map(|m| readme.find(m).unwrap());
    let from = from + MARKS[0].len();
    if std::env::var_os("PUNCHREADY_BLESS").is_some() {
        let text = format!("{}{figures}{}", &readme[..from], &readme[to..]);
        fs::write(root().join("README.md"), text).unwrap();
        return;
    }
    assert_eq!(&readme[from..to], figures);
}

/// A step of the ladder that is added or renamed makes the table on the accuracy page stale.
#[test]
fn the_ladders_table_has_the_steps_of_the_ladder() {
    let accuracy = read("docs/accuracy.md");
    let (_, rest) = accuracy.split_once("<!-- ladder: begin -->").unwrap();
    let (table, _) = rest.split_once("<!-- ladder: end -->").unwrap();
    let in_table: Vec<&str> = table
        .lines()
        .filter_map(|l| l.strip_prefix("| ")?.split(" | ").next())
        .filter(|c| c.starts_with(|c: char| c.is_ascii_digit()))
        .collect();
    let source = read("benches/ladder/steps.rs")
        + &read("benches/ladder/table.rs")
        + &read("benches/ladder/main.rs");
    let (_, rest) = source.split_once("const STEPS").unwrap();
    let (_, rest) = rest.split_once('=').unwrap();
    let (list, _) = rest.split_once("];").unwrap();
    let steps: Vec<String> = list
        .split('"')
        .skip(1)
        .step_by(2)
        .enumerate()
        .map(|(i, name)| format!("{} {name}", i + 1))
        .collect();
    assert!(steps.len() >= 20, "{steps:?}");
    assert_eq!(in_table, steps);
}

// ---- readability ----

/// Flesch's reading ease, 206.835 - 1.015 words a sentence - 84.6 syllables a word (Rudolf Flesch, "A new readability
/// yardstick", Journal of Applied Psychology 32, 1948, 221-233; from memory). 60 and more is plain English.
fn reading_ease(text: &str) -> f64 {
    let (mut words, mut syllables_, mut sentences) = (0.0, 0.0, 0.0);
    // A sentence ends at a stop with a blank behind it, so that 0.1 and plan.toml are none, or with its line.
    let marked = text
        .replace(". ", ".\n")
        .replace("! ", "!\n")
        .replace("? ", "?\n");
    for sentence in marked.lines() {
        let own: Vec<&str> = sentence
            .split(|c: char| !c.is_alphabetic() && c != '\'')
            .filter(|w| w.chars().any(char::is_alphabetic))
            .collect();
        if own.is_empty() {
            continue;
        }
        sentences += 1.0;
        words += own.len() as f64;
        syllables_ += own.iter().map(|w| syllables(w)).sum::<usize>() as f64;
    }
    206.835 - 1.015 * words / sentences - 84.6 * syllables_ / words
}

/// Groups of vowels, without a silent e at the end: the usual estimate.
fn syllables(word: &str) -> usize {
    let word = word.to_lowercase();
    let is_vowel = |c: char| "aeiouy".contains(c);
    let (mut n, mut was) = (0, false);
    for c in word.chars() {
        n += usize::from(is_vowel(c) && !was);
        was = is_vowel(c);
    }
    let silent = (word.ends_with('e') && !word.ends_with("le") && !word.ends_with("ee"))
        || (word.ends_with("ed") && !word.ends_with("ted") && !word.ends_with("ded"));
    if silent && n > 1 { n - 1 } else { n.max(1) }
}

/// The running text of a page: no code, tables, pictures, comments, nor where links lead.
fn prose(page: &str) -> String {
    let mut out = String::new();
    let mut fenced = false;
    for line in page.lines() {
        if line.starts_with("```") {
            fenced = !fenced;
            continue;
        }
        if fenced || line.starts_with(['|', '!', '<', '#']) {
            continue;
        }
        let mut quoted = false;
        let mut target = false;
        for c in line.chars() {
            match c {
                '`' => quoted = !quoted,
                '(' if out.ends_with(']') => target = true,
                ')' if target => target = false,
                _ if quoted || target => {}
                c => out.push(c),
            }
        }
        // A blank line ends a sentence, a broken line does not.
        out.push(if line.is_empty() { '\n' } else { ' ' });
    }
    out
}

#[test]
fn the_yardstick_measures() {
    assert_eq!(syllables("measure"), 2);
    assert_eq!(syllables("marked"), 1);
    assert_eq!(syllables("the"), 1);
    assert!(reading_ease("The cat sat on the mat. It was fat.") > 100.0);
    assert!(reading_ease("Uncertainty considerations necessitate individual verification.") < 0.0);
}

#[test]
fn the_readme_is_plain_english() {
    for page in pages() {
        println!("{page}: {:.0}", reading_ease(&prose(&read(&page))));
    }
    let ease = reading_ease(&prose(&read("README.md")));
    assert!(ease >= 60.0, "{ease}");
}

/// What the program says of one photo, taken and given in all sorts of ways. Asked once for all tests.
fn said_of_the_fixture() -> &'static [Value] {
    static SAID: OnceLock<Vec<Value>> = OnceLock::new();
    SAID.get_or_init(ask)
}

fn ask() -> Vec<Value> {
    let common = ["check", "fixtures/hatch-cover.jpg", "--json", "-"];
    let dir = tempfile::tempdir().unwrap();
    let other = |name: &str, from: &str, to: &str| {
        let text = read("fixtures/hatch-cover.toml");
        assert!(text.contains(from), "{from}");
        let path = dir.path().join(name);
        fs::write(&path, text.replacen(from, to, 1)).unwrap();
        path.to_str().unwrap().to_owned()
    };
    let fine = other("fine.toml", "\"1/32\"", "\"1/64\"");
    let wide = other("wide.toml", "width = 12", "width = 13");
    let more = other("more.toml", "count = 14", "count = 13");
    let own = "fixtures/hatch-cover.toml";
    let ways: [(&str, &[&str]); 6] = [
        (own, &["--bars", "100mm,100mm", "--card-below", "0mm"]),
        (own, &[]),
        (own, &["--stage", "punched"]),
        (&fine, &["--card-below", "0mm"]),
        (&wide, &[]),
        (&more, &["--bars", "100mm,100mm", "--card-below", "0mm"]),
    ];
    ways.iter()
        .map(|(plan, more)| {
            let args = [&common[..], &["--plan", plan], more].concat();
            let ran = run(root(), &args);
            assert!([0, 1, 3].contains(&ran.code), "{args:?}: {}", ran.err);
            serde_json::from_str(&ran.out).unwrap()
        })
        .collect()
}

#[test]
fn what_it_says_is_plain_english_and_in_the_plans_unit() {
    let mut lines: BTreeSet<String> = BTreeSet::new();
    for result in said_of_the_fixture() {
        for (list, key) in [("reasons", "text"), ("coaching", "text")] {
            for entry in result[list].as_array().unwrap() {
                lines.insert(entry[key].as_str().unwrap().to_owned());
            }
        }
        for entry in result["bench"].as_array().unwrap() {
            lines.insert(entry.as_str().unwrap().to_owned());
        }
    }
    let all: Vec<String> = lines.into_iter().collect();
    let text = all.join(".\n");
    let ease = reading_ease(&text);
    println!("Why, bench and next photo: {ease:.0}\n{text}");
    assert!(ease >= 60.0, "{ease}");
    const OLD: [&str; 10] = [
        "unsaid",
        "unseen",
        "could not be named",
        "unsure",
        "stray",
        "aslant",
        "by rule",
        "straight on",
        "anew",
        "told",
    ];
    for line in &all {
        for old in OLD {
            assert!(!line.contains(old), "{old}: {line}");
        }
        // The plan is in inches: mm stand in brackets, but for what is typed and pixels.
        let bare = line.match_indices(" mm").filter(|(at, _)| {
            let before = &line[..*at];
            before.rfind('(') <= before.rfind(')')
        });
        let bare = bare.count();
        assert!(bare == 0 || line.contains("for each mm"), "{line}");
    }
}

// ---- links ----

/// As code hosts make an anchor of a heading: small letters, blanks to dashes, the rest of the signs left out.
fn anchor(heading: &str) -> String {
    heading
        .trim_start_matches('#')
        .trim()
        .to_lowercase()
        .chars()
        .filter_map(|c| match c {
            ' ' => Some('-'),
            '-' | '_' => Some(c),
            c if c.is_alphanumeric() => Some(c),
            _ => None,
        })
        .collect()
}

#[test]
fn no_link_is_dead() {
    let mut seen = 0;
    for page in pages() {
        let text = read(&page);
        let folder = root().join(&page).parent().unwrap().to_path_buf();
        let joined = text.replace('\n', " ");
        let targets = joined
            .split("](")
            .skip(1)
            .map(|rest| rest.split(')').next().unwrap().trim())
            .chain(
                joined
                    .split("src=\"")
                    .skip(1)
                    .map(|r| r.split('"').next().unwrap()),
            );
        for target in targets {
            if target.starts_with("https://") {
                continue;
            }
            seen += 1;
            let (file, heading) = target.split_once('#').unwrap_or((target, ""));
            let path = if file.is_empty() {
                root().join(&page)
            } else {
                folder.join(file)
            };
            assert!(path.exists(), "{page}: {target}");
            if !heading.is_empty() {
                let of = fs::read_to_string(&path).unwrap();
                let found = of
                    .lines()
                    .any(|l| l.starts_with('#') && anchor(l) == heading);
                assert!(found, "{page}: no heading for {target}");
            }
        }
    }
    assert!(seen > 40, "{seen}");
}

// ---- commands ----

/// Command lines: those of `sh` blocks in the pages, and the examples of the help texts.
fn commands(text: &str, is_page: bool) -> Vec<String> {
    let mut fenced = false;
    let mut all = Vec::new();
    for line in text.lines() {
        if is_page && line.starts_with("```") {
            fenced = line == "```sh";
            continue;
        }
        let starts = ["punchready ", "cargo ", "npm ", "node "];
        let line = line.trim_end();
        let own = if is_page {
            fenced
        } else {
            line.starts_with("  punchready ")
        };
        if own && !line.trim().is_empty() {
            let line = line.trim();
            assert!(
                starts.iter().any(|s| line.starts_with(s)) || line.contains('='),
                "what is {line:?}?"
            );
            all.push(line.to_owned());
        }
    }
    all
}

/// A folder with all that the commands name.
fn workshop() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    let photo = root().join("fixtures/hatch-cover.jpg");
    for name in ["sheet.jpg", "sheet-2.jpg", "punched.jpg"] {
        fs::copy(&photo, at(name)).unwrap();
    }
    // Another picture, by its bytes.
    let mut bytes = fs::read(at("sheet-2.jpg")).unwrap();
    bytes.push(0);
    fs::write(at("sheet-2.jpg"), bytes).unwrap();
    for (name, from) in [
        ("plan", "hatch-cover"),
        ("strip", "keel-strip"),
        ("coupon", "coupon"),
    ] {
        fs::copy(
            root().join(format!("fixtures/{from}.toml")),
            at(&format!("{name}.toml")),
        )
        .unwrap();
    }
    fs::create_dir(at("fixtures")).unwrap();
    fs::copy(&photo, at("fixtures/hatch-cover.jpg")).unwrap();
    fs::copy(
        root().join("fixtures/hatch-cover.toml"),
        at("fixtures/hatch-cover.toml"),
    )
    .unwrap();
    let plan = strip_scene::plan();
    let scene = strip_scene::scene(&plan, strip_scene::marking(&plan, 3), 3);
    for (i, camera) in strip_scene::cameras(&plan).iter().enumerate() {
        strip_scene::photo(&scene, camera, dir.path(), &format!("strip-{}.jpg", i + 1));
    }
    lens_set::draw(dir.path(), &lens_set::GOOD);
    fs::create_dir(at("class")).unwrap();
    fs::copy(at("sheet.jpg"), at("class/ana.jpg")).unwrap();
    fs::write(at("list.csv"), "photo,student\nana.jpg,Ana\n").unwrap();
    dir
}

fn copy_all(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() {
            copy_all(&path, &target);
        } else {
            fs::copy(&path, &target).unwrap();
        }
    }
}

/// What cargo and npm are asked to run is there; running it would build everything a second time.
fn is_there(command: &str) -> bool {
    let words: Vec<&str> = command
        .split('#')
        .next()
        .unwrap()
        .split_whitespace()
        .collect();
    let after = |flag: &str| {
        words
            .iter()
            .position(|w| *w == flag)
            .and_then(|i| words.get(i + 1))
    };
    let tests = words
        .windows(2)
        .filter(|w| w[0] == "--test")
        .all(|w| root().join(format!("tests/{}.rs", w[1])).exists());
    let bench =
        after("--bench").is_none_or(|b| root().join(format!("benches/{b}/main.rs")).exists());
    let script = after("run").is_none_or(|script| {
        !words.contains(&"npm")
            || read("crates/page/web/package.json").contains(&format!("\"{script}\":"))
    });
    let file = words
        .iter()
        .filter(|w| w.ends_with(".mjs"))
        .all(|w| root().join(w).exists());
    tests && bench && script && file
}

#[test]
fn every_command_line_works() {
    let workshop = workshop();
    let program = Path::new(env!("CARGO_BIN_EXE_punchready"));
    let path = format!(
        "{}:{}",
        program.parent().unwrap().display(),
        std::env::var("PATH").unwrap_or_default()
    );
    let mut sources: Vec<(String, bool)> = pages().into_iter().map(|p| (p, true)).collect();
    for entry in fs::read_dir(root().join("tests/cli_help")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        sources.push((format!("tests/cli_help/{name}"), false));
    }
    sources.sort();
    let mut ran = 0;
    for (source, is_page) in sources {
        let lines = commands(&read(&source), is_page);
        if lines.is_empty() {
            continue;
        }
        // Each page starts afresh, and its commands follow each other.
        let dir = tempfile::tempdir().unwrap();
        copy_all(workshop.path(), dir.path());
        for line in lines {
            let line = line.replace("cargo run --release -- ", "punchready ");
            if !line.starts_with("punchready ") {
                assert!(is_there(&line), "{source}: {line}");
                continue;
            }
            // It serves until it is stopped; that it starts is in the tests of the page.
            if line.contains("page --serve") {
                continue;
            }
            let out = Command::new("sh")
                .args(["-c", &line])
                .current_dir(dir.path())
                .env("PATH", &path)
                .stdin(Stdio::null())
                .output()
                .unwrap();
            let code = out.status.code();
            let err = String::from_utf8_lossy(&out.stderr);
            assert!(
                matches!(code, Some(0 | 1 | 3)),
                "{source}: {line}: {code:?} {err}"
            );
            ran += 1;
        }
    }
    println!("{ran} command lines ran");
    assert!(ran > 40, "{ran}");
}

// ---- schema ----

/// What of JSON Schema (draft 2020-12) the project's own schema uses; a word that is not known here is a fault, so that
/// nothing in it goes unchecked.
fn faults(schema: &Value, all: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    let mut own: Vec<String> = Vec::new();
    let mut fault = |text: String| own.push(format!("{at}: {text}"));
    let is = |kind: &str| match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "integer" => value.is_u64() || value.is_i64(),
        "number" => value.is_number(),
        "null" => value.is_null(),
        other => panic!("type {other}"),
    };
    for (word, rule) in schema.as_object().unwrap() {
        match word.as_str() {
            "$schema" | "title" | "description" | "$defs" => {}
            "$ref" => {
                let name = rule.as_str().unwrap().strip_prefix("#/$defs/").unwrap();
                faults(&all["$defs"][name], all, value, at, found);
            }
            "type" => {
                let kinds: Vec<&str> = match rule {
                    Value::Array(list) => list.iter().map(|k| k.as_str().unwrap()).collect(),
                    one => vec![one.as_str().unwrap()],
                };
                if !kinds.iter().any(|k| is(k)) {
                    fault(format!("{value} is not {kinds:?}"));
                }
            }
            "const" if value != rule => fault(format!("{value} is not {rule}")),
            "enum" if !rule.as_array().unwrap().contains(value) => {
                fault(format!("{value} is none of {rule}"))
            }
            "const" | "enum" => {}
            "anyOf" => {
                let fits = rule.as_array().unwrap().iter().any(|s| {
                    let mut own = Vec::new();
                    faults(s, all, value, at, &mut own);
                    own.is_empty()
                });
                if !fits {
                    fault(format!("{value} fits none"));
                }
            }
            "required" => {
                for key in rule.as_array().unwrap() {
                    if value.is_object() && value.get(key.as_str().unwrap()).is_none() {
                        fault(format!("{key} is not there"));
                    }
                }
            }
            "properties" => {
                for (key, own) in rule.as_object().unwrap() {
                    if let Some(v) = value.get(key) {
                        faults(own, all, v, &format!("{at}/{key}"), found);
                    }
                }
            }
            "additionalProperties" => {
                assert!(schema.get("properties").is_none(), "not known here");
                for (key, v) in value.as_object().into_iter().flatten() {
                    faults(rule, all, v, &format!("{at}/{key}"), found);
                }
            }
            "propertyNames" => {
                for (key, _) in value.as_object().into_iter().flatten() {
                    faults(rule, all, &Value::from(key.as_str()), at, found);
                }
            }
            "items" => {
                for (i, v) in value.as_array().into_iter().flatten().enumerate() {
                    faults(rule, all, v, &format!("{at}/{i}"), found);
                }
            }
            "minItems" | "maxItems" => {
                let (n, limit) = (
                    value.as_array().map(Vec::len),
                    rule.as_u64().unwrap() as usize,
                );
                let holds = |n: usize| {
                    if word == "minItems" {
                        n >= limit
                    } else {
                        n <= limit
                    }
                };
                if n.is_some_and(|n| !holds(n)) {
                    fault(format!("{n:?} entries"));
                }
            }
            "minimum" | "maximum" => {
                let limit = rule.as_f64().unwrap();
                let holds = |x: f64| {
                    if word == "minimum" {
                        x >= limit
                    } else {
                        x <= limit
                    }
                };
                if value.as_f64().is_some_and(|x| !holds(x)) {
                    fault(format!("{value} is beyond {limit}"));
                }
            }
            other => panic!("{other} is not known here"),
        }
    }
    found.append(&mut own);
}

#[test]
fn real_results_are_as_the_schema_says() {
    let schema: Value = serde_json::from_str(&read("docs/check.schema.json")).unwrap();
    let mut results = said_of_the_fixture().to_vec();
    let stored = read("tests/report_fixture/every_state.json");
    results.push(serde_json::from_str(&stored).unwrap());
    // Nothing could be measured: the figures are null.
    let ran = run(
        root(),
        &[
            "check",
            "docs/result.jpg",
            "--plan",
            "fixtures/keel-strip.toml",
            "--json",
            "-",
        ],
    );
    results.push(serde_json::from_str(&ran.out).unwrap());
    for result in &results {
        let mut found = Vec::new();
        faults(&schema, &schema, result, "", &mut found);
        assert!(found.is_empty(), "{found:#?}");
        let keys: Vec<&String> = result.as_object().unwrap().keys().collect();
        for key in keys {
            assert!(
                schema["properties"].get(key).is_some(),
                "{key} is not in the schema"
            );
            assert!(
                read("docs/json.md").contains(&format!("`{key}`")) || key == "format",
                "{key} is not in docs/json.md"
            );
        }
    }
    // And a wrong one is found.
    let mut wrong = results[0].clone();
    wrong["holes"][0]["state"] = Value::from("fine");
    let mut found = Vec::new();
    faults(&schema, &schema, &wrong, "", &mut found);
    assert_eq!(found.len(), 1, "{found:?}");
}

// ---- one word for each state ----

/// Rows of the tables in docs/result.md: what people read, and the state in the JSON.
fn words_in_docs() -> Vec<(String, String)> {
    read("docs/result.md")
        .lines()
        .filter_map(|l| {
            let mut cells = l.strip_prefix("| ")?.split(" | ");
            let (word, code) = (cells.next()?, cells.next()?);
            let code = code.strip_prefix('`')?.split('`').next()?;
            Some((word.to_owned(), code.to_owned()))
        })
        .collect()
}

#[test]
fn docs_and_results_have_one_word_for_each_state() {
    let words = words_in_docs();
    assert!(words.len() >= 12, "{words:?}");
    let mut results = said_of_the_fixture().to_vec();
    results.push(serde_json::from_str(&read("tests/report_fixture/every_state.json")).unwrap());
    let mut seen = BTreeSet::new();
    for result in &results {
        for entry in ["holes", "strays"]
            .iter()
            .flat_map(|l| result[*l].as_array().unwrap())
        {
            let word = entry["word"]
                .as_str()
                .unwrap()
                .replace("unclear mark", "unclear");
            let pair = (
                word.trim_end_matches(", ringed").to_owned(),
                entry["state"].as_str().unwrap().to_owned(),
            );
            assert!(words.contains(&pair), "{pair:?} is not in docs/result.md");
            seen.insert(pair);
        }
    }
    println!("{seen:?}");
    assert!(seen.len() >= 10, "{seen:?}");
}
