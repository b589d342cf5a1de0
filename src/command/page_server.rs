//! The page's server: one page and its questions, for this computer alone.
//!
//! HTTP as far as that needs it: `httparse` takes a request's head apart, std's sockets do the rest, each with its time. (What was
//! looked at instead has no limit for a slow client, or brings an asynchronous runtime.) It listens on the loopback address; a
//! request must name a random token, and come by this address and from this page: other programs' pages, and names that lead here
//! from outside, are turned away before anything is read.

use howflat::page::{LONGEST_QUESTION, answer_between};
use std::{
    io::{self, Read, Write},
    net::{Ipv4Addr, Shutdown, TcpListener, TcpStream},
    panic::{AssertUnwindSafe, catch_unwind, resume_unwind},
    sync::{
        Arc,
        atomic::{AtomicU64, AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

/// A request that is not there after this is dropped.
const TIME_TO_ASK: Duration = Duration::from_secs(10);
/// A question that is not answered after this is given up.
const TIME_TO_ANSWER: Duration = Duration::from_secs(300);
/// Most bytes of a request's head.
const LONGEST_HEAD: usize = 16 << 10;
/// Most requests at a time; a browser keeps to six.
const MOST_AT_ONCE: usize = 16;

/// The server, before it serves.
pub struct Server {
    listener: TcpListener,
    shared: Arc<Shared>,
}

struct Shared {
    port: u16,
    token: String,
    page: String,
    /// The number of the newest question: older ones give up.
    newest: AtomicU64,
    n_open: AtomicUsize,
}

impl Server {
    /// Listens on a free port of the loopback address.
    pub fn new(page: String) -> io::Result<Self> {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        let mut token = [0_u8; 16];
        getrandom::fill(&mut token).map_err(|error| io::Error::other(error.to_string()))?;
        let token = token.iter().map(|byte| format!("{byte:02x}")).collect();
        let port = listener.local_addr()?.port();
        let shared = Shared { port, token, page, newest: AtomicU64::new(0), n_open: AtomicUsize::new(0) };
        Ok(Self { listener, shared: Arc::new(shared) })
    }

    /// Where the page is.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}/{}/", self.shared.port, self.shared.token)
    }

    /// Serves until the program is stopped.
    pub fn serve(&self) -> io::Result<()> {
        for stream in self.listener.incoming() {
            // A client that has gone again is no reason to stop.
            let Ok(stream) = stream else { continue };
            let shared = Arc::clone(&self.shared);
            if shared.n_open.fetch_add(1, Ordering::SeqCst) >= MOST_AT_ONCE {
                shared.n_open.fetch_sub(1, Ordering::SeqCst);
                continue;
            }
            thread::Builder::new().spawn(move || {
                let _ = converse(stream, &shared);
                shared.n_open.fetch_sub(1, Ordering::SeqCst);
            })?;
        }
        Ok(())
    }
}

/// What is sent back.
struct Response {
    status: &'static str,
    kind: &'static str,
    body: String,
}

impl Response {
    fn refusal(status: &'static str, why: &str) -> Self {
        Self { status, kind: "text/plain; charset=utf-8", body: format!("{why}\n") }
    }
}

/// The head of a request that may be answered.
struct Head {
    is_post: bool,
    path: String,
    length: Option<usize>,
    /// The beginning of the body, that came with the head.
    rest: Vec<u8>,
}

fn converse(mut stream: TcpStream, shared: &Shared) -> io::Result<()> {
    let until = Instant::now() + TIME_TO_ASK;
    stream.set_write_timeout(Some(TIME_TO_ASK))?;
    let response = match head(&mut stream, shared, until)? {
        Ok(head) => response(&mut stream, shared, head, until)?,
        Err(refused) => refused,
    };
    let Response { status, kind, body } = response;
    let head = format!(
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nConnection: close\r\nCache-Control: no-store\r\n\
         X-Content-Type-Options: nosniff\r\nReferrer-Policy: no-referrer\r\nX-Frame-Options: DENY\r\n\
         Cross-Origin-Resource-Policy: same-origin\r\nContent-Security-Policy: frame-ancestors 'none'\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes())?;
    stream.write_all(body.as_bytes())?;
    stream.shutdown(Shutdown::Write)?;
    // What a refused client still sends is taken, or it would never read the refusal.
    let mut sink = [0; 4096];
    while Instant::now() < until && read_until(&mut stream, &mut sink, until).is_ok_and(|n| n > 0) {}
    Ok(())
}

/// Reads what is there, but not after a time.
fn read_until(stream: &mut TcpStream, into: &mut [u8], until: Instant) -> io::Result<usize> {
    let left = until.saturating_duration_since(Instant::now());
    if left.is_zero() {
        return Err(io::ErrorKind::TimedOut.into());
    }
    stream.set_read_timeout(Some(left))?;
    stream.read(into)
}

fn head(stream: &mut TcpStream, shared: &Shared, until: Instant) -> io::Result<Result<Head, Response>> {
    let mut bytes = Vec::new();
    let mut buffer = [0; 4096];
    loop {
        let n = read_until(stream, &mut buffer, until)?;
        bytes.extend_from_slice(&buffer[..n]);
        let mut fields = [httparse::EMPTY_HEADER; 64];
        let mut request = httparse::Request::new(&mut fields);
        match request.parse(&bytes) {
            Ok(httparse::Status::Complete(end)) => return Ok(admitted(&request, &bytes[end..], shared)),
            Ok(httparse::Status::Partial) if n > 0 && bytes.len() < LONGEST_HEAD => {}
            Ok(httparse::Status::Partial) | Err(_) => {
                return Ok(Err(Response::refusal("400 Bad Request", "not a request that is understood")));
            }
        }
    }
}

/// Whether a request may be answered: by what name it came, from which page, and whether it knows the token.
fn admitted(request: &httparse::Request, rest: &[u8], shared: &Shared) -> Result<Head, Response> {
    let forbidden = |why| Err(Response::refusal("403 Forbidden", why));
    // A field that is there twice has no value that could be trusted.
    let field = |name: &str| -> Result<Option<&str>, Response> {
        let mut named = request.headers.iter().filter(|field| field.name.eq_ignore_ascii_case(name));
        match (named.next(), named.next()) {
            (None, _) => Ok(None),
            (Some(field), None) => Ok(std::str::from_utf8(field.value).ok()),
            _ => Err(Response::refusal("400 Bad Request", "a field of the head is there twice")),
        }
    };
    let hosts = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", shared.port));
    let host = field("host")?;
    let Some(host) = hosts.iter().find(|known| Some(known.as_str()) == host) else {
        return forbidden("this page is served by the address 127.0.0.1 alone");
    };
    let is_post = request.method == Some("POST");
    let own_origin = format!("http://{host}");
    match field("origin")? {
        Some(origin) if origin != own_origin => return forbidden("this comes from another page"),
        None if is_post => return forbidden("a question must come from the page"),
        _ => {}
    }
    if is_post && field("content-type")? != Some("application/json") {
        return Err(Response::refusal("415 Unsupported Media Type", "a question is JSON"));
    }
    if field("transfer-encoding")?.is_some() {
        return Err(Response::refusal("411 Length Required", "a question says how long it is"));
    }
    let length = field("content-length")?.map(|length| length.parse().unwrap_or(usize::MAX));
    let path = request.path.unwrap_or_default().to_string();
    Ok(Head { is_post, path, length, rest: rest.to_vec() })
}

fn response(stream: &mut TcpStream, shared: &Shared, head: Head, until: Instant) -> io::Result<Response> {
    let page = format!("/{}/", shared.token);
    let ask = format!("{page}ask");
    Ok(match (head.is_post, head.path) {
        (false, path) if path == page => {
            Response { status: "200 OK", kind: "text/html; charset=utf-8", body: shared.page.clone() }
        }
        (true, path) if path == ask => match head.length {
            None => Response::refusal("411 Length Required", "a question says how long it is"),
            Some(length) if length > LONGEST_QUESTION => {
                let why = format!("a question has at most {LONGEST_QUESTION} bytes");
                Response::refusal("413 Content Too Large", &why)
            }
            Some(length) => match body(stream, head.rest, length, until)? {
                Some(question) => answered(shared, &question),
                None => {
                    Response::refusal("400 Bad Request", "a question is text in UTF-8, as long as it says")
                }
            },
        },
        _ => {
            Response::refusal("404 Not Found", "there is nothing here; open the address that howflat printed")
        }
    })
}

/// The body of a request; `None` where it is shorter than said, or no text.
fn body(
    stream: &mut TcpStream,
    mut bytes: Vec<u8>,
    length: usize,
    until: Instant,
) -> io::Result<Option<String>> {
    let mut buffer = [0; 64 << 10];
    while bytes.len() < length {
        match read_until(stream, &mut buffer, until)? {
            0 => return Ok(None),
            n => bytes.extend_from_slice(&buffer[..n]),
        }
    }
    bytes.truncate(length);
    Ok(String::from_utf8(bytes).ok())
}

/// Why a question was given up.
struct GivenUp;

fn answered(shared: &Shared, question: &str) -> Response {
    let mine = shared.newest.fetch_add(1, Ordering::SeqCst) + 1;
    let until = Instant::now() + TIME_TO_ANSWER;
    let between = || {
        if shared.newest.load(Ordering::Relaxed) != mine || Instant::now() > until {
            // Not a mistake, so nobody is told as of a panic; it ends the work on all threads.
            resume_unwind(Box::new(GivenUp));
        }
    };
    match catch_unwind(AssertUnwindSafe(|| answer_between(question, &between))) {
        Ok(body) => Response { status: "200 OK", kind: "application/json", body },
        Err(why) if why.is::<GivenUp>() => {
            Response::refusal("409 Conflict", "given up: something else was asked, or it took too long")
        }
        Err(_) => Response::refusal("500 Internal Server Error", "a mistake of the program, not of yours"),
    }
}
