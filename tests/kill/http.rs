//! As much of HTTP as the loop needs: one request per connection, and a clear line between "the answer came whole"
//! and "nobody knows".

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

/// How long one request may take before the client gives up and asks again.
const PATIENCE: Duration = Duration::from_secs(10);

/// A request, ready to be sent as often as needed.
#[derive(Debug, Clone)]
pub(crate) struct Request {
    head: String,
    body: String,
}

/// An answer that came whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) headers: Vec<(String, String)>,
    pub(crate) body: String,
}

/// No whole answer came: the server may or may not have done what was asked.
#[derive(Debug)]
pub(crate) struct Unknown;

impl From<std::io::Error> for Unknown {
    fn from(_: std::io::Error) -> Self {
        Self
    }
}

impl Request {
    pub(crate) fn get(path: &str) -> Self {
        Self { head: format!("GET {path} HTTP/1.1\r\nHost: house\r\nConnection: close\r\n"), body: String::new() }
    }

    pub(crate) fn post(path: &str, kind: &str, body: String) -> Self {
        let length = body.len();
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: house\r\nConnection: close\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\n"
        );
        Self { head, body }
    }

    /// A form as a browser sends it.
    pub(crate) fn form(path: &str, fields: &[(&str, &str)]) -> Self {
        let body = serde_urlencoded::to_string(fields).unwrap();
        Self::post(path, "application/x-www-form-urlencoded", body)
    }

    pub(crate) fn header(mut self, name: &str, value: &str) -> Self {
        self.head.push_str(&format!("{name}: {value}\r\n"));
        self
    }

    fn bytes(&self, address: SocketAddr) -> Vec<u8> {
        // The host a browser would name, so that checks of the origin see what they would see in life.
        let head = self.head.replace("Host: house", &format!("Host: {address}"));
        format!("{head}\r\n{}", self.body).into_bytes()
    }

    /// Sends it and waits for the whole answer.
    pub(crate) fn send(&self, address: SocketAddr) -> Result<Answer, Unknown> {
        let mut stream = self.write_to(address)?;
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes)?;
        parse(&bytes).ok_or(Unknown)
    }

    /// Sends it, waits a moment and walks away without reading: a Wi-Fi that drops.
    pub(crate) fn send_and_leave(&self, address: SocketAddr, after: Duration) -> Result<(), Unknown> {
        let stream = self.write_to(address)?;
        std::thread::sleep(after);
        drop(stream);
        Ok(())
    }

    fn write_to(&self, address: SocketAddr) -> Result<TcpStream, Unknown> {
        let mut stream = TcpStream::connect_timeout(&address, PATIENCE)?;
        stream.set_read_timeout(Some(PATIENCE))?;
        stream.set_nodelay(true)?;
        stream.write_all(&self.bytes(address))?;
        Ok(stream)
    }
}

impl Answer {
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(found, _)| found == name).map(|(_, value)| value.as_str())
    }

    /// The cookies it sets, as a browser would send them back.
    pub(crate) fn cookies(&self) -> Vec<String> {
        self.headers
            .iter()
            .filter(|(name, _)| name == "set-cookie")
            .filter_map(|(_, value)| value.split(';').next())
            .map(str::to_owned)
            .collect()
    }
}

/// `None` for an answer that broke off.
pub(crate) fn parse(bytes: &[u8]) -> Option<Answer> {
    let text = std::str::from_utf8(bytes).ok()?;
    let (head, body) = text.split_once("\r\n\r\n")?;
    let mut lines = head.lines();
    let status = lines.next()?.strip_prefix("HTTP/1.1 ")?.get(..3)?.parse().ok()?;
    let headers: Vec<(String, String)> = lines
        .filter_map(|line| line.split_once(':'))
        .map(|(name, value)| (name.to_ascii_lowercase(), value.trim().to_owned()))
        .collect();
    let length = headers.iter().find(|(name, _)| name == "content-length").map(|(_, value)| value.parse());
    let body = match length {
        Some(length) => body.get(..length.ok()?)?.to_owned(),
        None if headers.iter().any(|(name, value)| name == "transfer-encoding" && value == "chunked") => unchunk(body)?,
        None => body.to_owned(),
    };
    Some(Answer { status, headers, body })
}

fn unchunk(mut rest: &str) -> Option<String> {
    let mut body = String::new();
    loop {
        let (length, after) = rest.split_once("\r\n")?;
        let length = usize::from_str_radix(length.trim(), 16).ok()?;
        if length == 0 {
            return Some(body);
        }
        body.push_str(after.get(..length)?);
        rest = after.get(length..)?.strip_prefix("\r\n")?;
    }
}

#[test]
fn an_answer_that_breaks_off_is_no_answer() {
    let whole = "HTTP/1.1 201 Created\r\nContent-Length: 4\r\nX: y\r\n\r\nkept";
    let answer = parse(whole.as_bytes()).unwrap();
    assert_eq!((answer.status, answer.body.as_str(), answer.header("x")), (201, "kept", Some("y")));
    for cut in 0..whole.len() {
        assert_eq!(parse(&whole.as_bytes()[..cut]), None, "cut after {cut} bytes");
    }
    let chunked = "HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n3\r\nkep\r\n1\r\nt\r\n0\r\n\r\n";
    assert_eq!(parse(chunked.as_bytes()).unwrap().body, "kept");
    assert_eq!(parse(&chunked.as_bytes()[..chunked.len() - 8]), None);
}
