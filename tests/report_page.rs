mod report_fixture;
use punchready::report::page;
use report_fixture::{every_state, photo, pixel_from_sheet};

#[test]
fn show() {
    let f = every_state();
    let photo = photo(&f);
    let t = std::time::Instant::now();
    let p = page::html(&f.report(), &photo, &pixel_from_sheet).unwrap();
    println!("{:?} {}", t.elapsed(), p.len());
    std::fs::write("/tmp/report_page.html", p).unwrap();
}
