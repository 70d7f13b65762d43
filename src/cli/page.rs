//! `punchready page`: where the page for the browser is, and serving it to a phone.

use std::fs;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, TcpStream, UdpSocket};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use qrcodegen::{QrCode, QrCodeEcc};

use super::args::PageArgs;
use super::exit::{Failure, Status};
use super::out;

/// The folder that is served, and the one file beside it.
const FOLDER: &str = "app";
const SINGLE: &str = "punchready.html";
/// What is served: the name asked for, the file, and what it is. Nothing else of the computer can be reached.
const FILES: [(&str, &str, &str); 5] = [
    ("/", "index.html", "text/html; charset=utf-8"),
    ("/index.html", "index.html", "text/html; charset=utf-8"),
    (
        "/manifest.webmanifest",
        "manifest.webmanifest",
        "application/manifest+json",
    ),
    ("/sw.js", "sw.js", "text/javascript"),
    ("/icon.svg", "icon.svg", "image/svg+xml"),
];
/// Longest head of a request that is read, bytes, and how long one may take.
const LONGEST_HEAD: u64 = 16_384;
const PATIENCE: Duration = Duration::from_secs(20);
/// Most requests at once; a page asks for four.
const MOST_AT_ONCE: usize = 32;

/// Says where the page is, or serves it until it is stopped.
pub(crate) fn run(args: &PageArgs) -> Result<Status, Failure> {
    let folder = folder(args.folder.as_deref())?;
    if !args.serve {
        let single = folder.join(SINGLE);
        out::print(&format!(
            "{}\nOne file that needs no network: open it in a browser, mail it to yourself, or put it on any web space.\n\
             To show it to a phone from here: punchready page --serve --lan\n",
            out::name(&single)
        ))?;
        return Ok(Status::Done);
    }
    let host = if args.lan {
        Ipv4Addr::UNSPECIFIED
    } else {
        Ipv4Addr::LOCALHOST
    };
    let listener = TcpListener::bind((host, args.port)).map_err(|e| {
        Failure::new(
            format!("port {}: cannot be served: {e}", args.port),
            "choose another with --port",
        )
    })?;
    let port = listener.local_addr().map_or(args.port, |a| a.port());
    let shown = if args.lan { own_address() } else { None };
    let address = format!(
        "http://{}:{port}/",
        shown.unwrap_or(Ipv4Addr::LOCALHOST.into())
    );
    let mut said = format!("{address}\n");
    if args.lan {
        said.push_str(&code(&address));
        said.push_str(
            "Whoever is in this network can open the page; photos stay on their phones.\n",
        );
    }
    said.push_str("Stop with Ctrl-C.\n");
    out::print(&said)?;
    serve(&listener, &folder.join(FOLDER));
    Ok(Status::Done)
}

/// The built page: the folder that is named, or one beside this program.
fn folder(named: Option<&Path>) -> Result<PathBuf, Failure> {
    let program = std::env::current_exe().ok();
    let beside = program.iter().flat_map(|p| {
        // As released, and as cargo leaves it under target/release.
        let near = p.parent().map(|d| d.join("page"));
        let above = p.parent().and_then(Path::parent).map(|d| d.join("page"));
        near.into_iter().chain(above)
    });
    let mut all = named.map(Path::to_owned).into_iter().chain(beside);
    let found = if named.is_some() {
        all.next().filter(|f| has_page(f))
    } else {
        all.find(|f| has_page(f))
    };
    found.ok_or_else(|| {
        let place = named.map_or_else(
            || "beside this program".to_owned(),
            |f| format!("in {}", out::name(f)),
        );
        Failure::new(
            format!("there is no built page {place}"),
            "build it with npm --prefix crates/page/web run page, or name its folder with --folder",
        )
    })
}

fn has_page(folder: &Path) -> bool {
    folder.join(SINGLE).is_file() && folder.join(FOLDER).join("index.html").is_file()
}

/// This computer's address in its network: the one it would send from. Nothing is sent.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    // An address kept for documentation (RFC 5737, from memory), so that any route out will do.
    socket.connect(SocketAddr::from(([192, 0, 2, 1], 9))).ok()?;
    Some(socket.local_addr().ok()?.ip())
}

/// The address as a QR code (ISO/IEC 18004, by the library), two modules a character, light ones drawn.
fn code(address: &str) -> String {
    /// The quiet zone that readers need, modules.
    const QUIET: i32 = 4;
    let Ok(code) = QrCode::encode_text(address, QrCodeEcc::Medium) else {
        return String::new();
    };
    let mut out = String::new();
    let light = |x, y| !code.get_module(x, y);
    for y in (-QUIET..code.size() + QUIET).step_by(2) {
        for x in -QUIET..code.size() + QUIET {
            out.push(match (light(x, y), light(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            });
        }
        out.push('\n');
    }
    out
}

/// Answers until the program is stopped.
fn serve(listener: &TcpListener, folder: &Path) {
    thread::scope(|scope| {
        let mut at_work = Vec::new();
        for stream in listener.incoming().flatten() {
            at_work.retain(|w: &thread::ScopedJoinHandle<()>| !w.is_finished());
            if at_work.len() < MOST_AT_ONCE {
                // What goes wrong with one visitor is no matter of the others.
                at_work.push(scope.spawn(move || drop(answer(stream, folder))));
            }
        }
    });
}

fn answer(stream: TcpStream, folder: &Path) -> io::Result<()> {
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    let mut reader = BufReader::new((&stream).take(LONGEST_HEAD));
    let mut first = String::new();
    reader.read_line(&mut first)?;
    let mut line = String::new();
    while reader.read_line(&mut line)? > 2 {
        line.clear();
    }
    let mut words = first.split(' ');
    let (method, target) = (words.next().unwrap_or(""), words.next().unwrap_or(""));
    let path = target.split('?').next().unwrap_or("");
    let file = FILES.iter().find(|(name, ..)| *name == path);
    let (status, kind, body) = match (method, file) {
        ("GET" | "HEAD", Some((_, file, kind))) => match fs::read(folder.join(file)) {
            Ok(bytes) => ("200 OK", *kind, bytes),
            Err(_) => ("404 Not Found", "text/plain", b"not there\n".to_vec()),
        },
        ("GET" | "HEAD", None) => ("404 Not Found", "text/plain", b"not there\n".to_vec()),
        _ => (
            "405 Method Not Allowed",
            "text/plain",
            b"GET only\n".to_vec(),
        ),
    };
    let mut out = &stream;
    write!(
        out,
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nCache-Control: no-cache\r\n\
         X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nConnection: close\r\n\r\n",
        body.len()
    )?;
    if method != "HEAD" {
        out.write_all(&body)?;
    }
    out.flush()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_page_is_served() {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("index.html"), "the page").unwrap();
        fs::write(dir.path().join("secret"), "no").unwrap();
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let address = listener.local_addr().unwrap();
        let ask = |request: &str| {
            let mut visitor = TcpStream::connect(address).unwrap();
            visitor.write_all(request.as_bytes()).unwrap();
            let (stream, _) = listener.accept().unwrap();
            answer(stream, dir.path()).unwrap();
            let mut told = String::new();
            visitor.read_to_string(&mut told).unwrap();
            told
        };
        let page = ask("GET /?x=1 HTTP/1.1\r\nHost: a\r\n\r\n");
        assert!(
            page.starts_with("HTTP/1.1 200") && page.ends_with("the page"),
            "{page}"
        );
        for path in ["/secret", "/../secret", "//index.html", "/sw.js", ""] {
            let told = ask(&format!("GET {path} HTTP/1.1\r\n\r\n"));
            assert!(told.starts_with("HTTP/1.1 404"), "{path}: {told}");
        }
        assert!(ask("POST / HTTP/1.1\r\n\r\n").starts_with("HTTP/1.1 405"));
        let head = ask("HEAD / HTTP/1.1\r\n\r\n");
        assert!(head.contains("Content-Length: 8") && head.ends_with("\r\n\r\n"));
    }

    #[test]
    fn the_code_has_a_light_rim_all_round() {
        let code = code("http://192.168.178.20:8420/");
        let lines: Vec<Vec<char>> = code.lines().map(|l| l.chars().collect()).collect();
        let wide = lines[0].len();
        assert!(lines.iter().all(|l| l.len() == wide));
        // Four modules: two lines above, four columns at the sides.
        assert!(lines[..2].iter().flatten().all(|c| *c == '█'));
        for line in &lines[2..] {
            assert!(
                line[..4]
                    .iter()
                    .chain(&line[wide - 4..])
                    .all(|c| matches!(c, '█' | '▀'))
            );
        }
    }
}
