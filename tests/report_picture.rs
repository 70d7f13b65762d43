mod report_fixture;
use punchready::report::picture;
use report_fixture::{every_state, photo, pixel_from_sheet};

#[test]
fn show() {
    let f = every_state();
    let photo = photo(&f);
    let t = std::time::Instant::now();
    let p = picture::draw(&f.report(), &photo, &pixel_from_sheet).unwrap();
    println!("{:?}", t.elapsed());
    p.save("/tmp/report_pic.png").unwrap();
}
