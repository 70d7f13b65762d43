fn main() {
    let all: Vec<u16> = (1..=64).collect();
    punchready::card::print::write_pngs(std::path::Path::new("/tmp/ext/cards"), &all, 20).unwrap();
}
