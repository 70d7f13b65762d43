use punchready::ink::flat;
fn main() {
    for (f, d) in [
        ("board-08_56_08-left", 33.0),
        ("metal-14_08_32-left", 21.0),
        ("metal-14_09_35-left", 23.5),
        ("metal-14_12_44-left", 23.0),
    ] {
        let p = format!("/work/shared/reference/dot-grid-photos/{f}.jpg");
        let g = punchready::photo::read(std::path::Path::new(&p))
            .unwrap()
            .grey;
        let ink = flat::read(&g, d / 1.2);
        let s: String = ink
            .marks
            .iter()
            .map(|m| format!("{} {} {:?}\n", m.at.x - 0.5, m.at.y - 0.5, m.kind))
            .collect();
        std::fs::write(format!("/tmp/look/{f}.txt"), s).unwrap();
        for u in &ink.unsure {
            println!("{f} {u:?}");
        }
        for l in &ink.lines {
            println!("{f} {l:?}");
        }
    }
}
