//! Whose photo is which.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::fs;
use std::path::{Path, PathBuf};

use punchready::grade::class::{Class, by_list, by_name};
use punchready::grade::roster;

fn files(dir: &Path, names: &[&str]) {
    for name in names {
        let path = dir.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, "not looked into").unwrap();
    }
}

fn told(class: &Class, dir: &Path) -> Vec<(String, Vec<String>)> {
    let short = |p: &PathBuf| p.strip_prefix(dir).unwrap().display().to_string();
    class
        .pieces
        .iter()
        .map(|p| (p.who.clone(), p.photos.iter().map(short).collect()))
        .collect()
}

fn wanted(list: &[(&str, &[&str])]) -> Vec<(String, Vec<String>)> {
    let text = |s: &&str| (*s).to_owned();
    list.iter()
        .map(|(who, photos)| ((*who).to_owned(), photos.iter().map(text).collect()))
        .collect()
}

#[test]
fn folders_and_names() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    files(
        dir,
        &[
            "c/Ana/IMG_1.jpg",
            "c/Ana/IMG_2.JPG",
            "c/Ana/notes.txt",
            "c/Ben Li/a.png",
            "c/chidi.jpg",
            "c/chidi-2.jpg",
            "c/.hidden.jpg",
            "c/.thumbnails/x.jpg",
            "c/list.csv",
            "c/empty/readme.txt",
            "c/grades/sheets/x.png",
            "c/last-week/.punchready-grade",
            "c/last-week/sheets/x.png",
            "dora (2).jpg",
            "dora.jpg",
        ],
    );
    let given = [
        dir.join("c"),
        dir.join("dora.jpg"),
        dir.join("dora (2).jpg"),
    ];
    let class = by_name(&given, &dir.join("c/grades")).unwrap();
    let expected = wanted(&[
        ("Ana", &["c/Ana/IMG_1.jpg", "c/Ana/IMG_2.JPG"]),
        ("Ben Li", &["c/Ben Li/a.png"]),
        ("chidi", &["c/chidi-2.jpg", "c/chidi.jpg"]),
        ("dora", &["dora (2).jpg", "dora.jpg"]),
        // Nothing was handed in: to be seen, not passed over.
        ("empty", &[]),
    ]);
    assert_eq!(told(&class, dir), expected);
    // Another order, and a file named twice, change nothing.
    let other = [
        given[2].clone(),
        given[0].clone(),
        given[1].clone(),
        given[2].clone(),
        dir.join("c/../c"),
    ];
    assert_eq!(by_name(&other, &dir.join("c/grades")).unwrap(), class);
}

#[test]
fn a_class_that_would_be_one_student_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let names: Vec<String> = ('a'..='d')
        .flat_map(|d| (1..=3).map(move |n| format!("{d}/photo-{n}.jpg")))
        .collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    files(dir.path(), &names);
    let given: Vec<PathBuf> = names.iter().map(|n| dir.path().join(n)).collect();
    let refused = by_name(&given, Path::new("none")).unwrap_err().to_string();
    assert!(
        refused.contains("\"photo\"") && refused.contains("--whose"),
        "{refused}"
    );
    let empty = tempfile::tempdir().unwrap();
    let refused = by_name(&[empty.path().to_owned()], Path::new("none")).unwrap_err();
    assert!(refused.to_string().contains("no photos found"), "{refused}");
    let missing = by_name(&[empty.path().join("nowhere")], Path::new("none")).unwrap_err();
    assert!(missing.to_string().contains("nowhere"), "{missing}");
}

#[test]
fn a_list_says_whose() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    files(dir, &["c/1.jpg", "c/2.jpg", "c/deep/3.jpg", "c/4.jpg"]);
    let list = dir.join("list.csv");
    let cases = [
        "photo,student\n1.jpg,Ana\n2.jpg,Ben\ndeep/3.jpg,Ana\n",
        "\u{feff}Student;Photo;Note\r\nAna;1.jpg;\r\nBen; 2.jpg;late\r\n;;\r\nAna;3.jpg;\r\n",
    ];
    for text in cases {
        fs::write(&list, text).unwrap();
        let class = by_list(&list, &[dir.join("c")], Path::new("none")).unwrap();
        let expected = wanted(&[("Ana", &["c/1.jpg", "c/deep/3.jpg"]), ("Ben", &["c/2.jpg"])]);
        assert_eq!(told(&class, dir), expected, "{text}");
        assert_eq!(class.nobodys, [dir.join("c/4.jpg")]);
    }
    let broken = [
        ("file,student\n1.jpg,Ana\n", ":1:", "no column \"photo\""),
        ("photo,student\n1.jpg,\n", ":2:", "a photo and a student"),
        ("photo,student\n,Ana\n", "", "no photos found"),
        ("photo,student\n1.jpg,Ana\n2.jpg\n", ":3:", "fields"),
    ];
    for (text, line, says) in broken {
        fs::write(&list, text).unwrap();
        let refused = by_list(&list, &[dir.join("c")], Path::new("none"))
            .unwrap_err()
            .to_string();
        assert!(refused.contains(&format!("list.csv{line}")), "{refused}");
        assert!(refused.contains(says), "{refused}");
    }
    fs::write(&list, "photo,student\n1.jpg,Ana\n,Ben\n").unwrap();
    let class = by_list(&list, &[dir.join("c")], Path::new("none")).unwrap();
    let expected = wanted(&[("Ana", &["c/1.jpg"]), ("Ben", &[])]);
    assert_eq!(told(&class, dir), expected);
    files(dir, &["c/deep/1.jpg"]);
    fs::write(&list, "photo,student\n1.jpg,Ana\n").unwrap();
    let refused = by_list(&list, &[dir.join("c")], Path::new("none"))
        .unwrap_err()
        .to_string();
    assert!(
        refused.contains("may be") && refused.contains("more of the path"),
        "{refused}"
    );
}

/// A link back into a folder above is no more photos, and never an endless walk.
#[cfg(unix)]
#[test]
fn links_and_strange_names() {
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::symlink;
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    files(dir, &["c/1.jpg", "c/deep/3.jpg"]);
    symlink("..", dir.join("c/deep/up")).unwrap();
    symlink("loop", dir.join("c/loop")).unwrap();
    let list = dir.join("list.csv");
    fs::write(&list, "photo,student\n1.jpg,Ana\n").unwrap();
    let given = [dir.join("c"), dir.join("c/deep/up")];
    let class = by_list(&list, &given, Path::new("none")).unwrap();
    assert_eq!(class.nobodys, [dir.join("c/deep/3.jpg")]);
    // Two folders whose names are no text in UTF-8 are two students.
    let names: Vec<String> = [&b"Jos\xe9"[..], b"Jos\xe8"]
        .iter()
        .map(|name| {
            let folder = dir.join("d").join(std::ffi::OsStr::from_bytes(name));
            fs::create_dir_all(&folder).unwrap();
            fs::write(folder.join("a.jpg"), "x").unwrap();
            name.len().to_string()
        })
        .collect();
    let class = by_name(&[dir.join("d")], Path::new("none")).unwrap();
    assert_eq!(class.pieces.len(), names.len(), "{class:?}");
    assert_ne!(class.pieces[0].who, class.pieces[1].who);
}

#[test]
fn a_roster_says_who_is_missing() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    // The same name with its accent apart, as some systems write it, is the same student.
    files(
        dir,
        &[
            "c/Ana/1.jpg",
            "c/Zoe\u{301}/1.jpg",
            "c/Zo\u{e9}/2.jpg",
            "c/guest/1.jpg",
        ],
    );
    let roster = dir.join("roster.txt");
    let class = || by_name(&[dir.join("c")], Path::new("none")).unwrap();
    assert_eq!(told(&class(), dir)[1].1.len(), 2, "{:?}", class());
    for text in [
        "ana\nBen Li\n\nZo\u{e9}\n",
        "\u{feff}student;mail\r\nAna;a@x\r\nBen Li;b@x\r\nZoe\u{301};z@x\r\n",
        "group,name\n1,Ana\n1,Ben Li\n2,Zo\u{e9}\n",
    ] {
        fs::write(&roster, text).unwrap();
        let mut class = class();
        roster::hold(&mut class, &roster::read(&roster).unwrap());
        let who: Vec<&str> = class.pieces.iter().map(|p| p.who.as_str()).collect();
        assert_eq!(who, ["Ana", "Ben Li", "Zo\u{e9}", "guest"], "{text}");
        assert!(class.pieces[1].photos.is_empty());
        assert_eq!(class.odd, ["\"guest\" is not on the roster"]);
    }
    for (text, says) in [
        ("", "no names"),
        ("first,last\nAna,Li\n", "no column \"student\""),
        ("Ana\nana\n", "\"ana\" is in line 1 too"),
    ] {
        fs::write(&roster, text).unwrap();
        let refused = roster::read(&roster).unwrap_err().to_string();
        assert!(refused.contains(says), "{text:?}: {refused}");
    }
    // Two names that differ in case only are told.
    files(dir, &["d/ana/1.jpg", "d/Ana/1.jpg"]);
    let class = by_name(&[dir.join("d")], Path::new("none")).unwrap();
    if class.pieces.len() == 2 {
        assert!(
            class.odd[0].contains("\"Ana\" and \"ana\" are two students"),
            "{class:?}"
        );
    } else {
        eprintln!("SKIPPED: upper and lower case are one in this file system");
    }
}
