//! `healthcheck`: one plain HTTP request to the running service, without a client library or a shell tool, so that the
//! smallest container can ask.

use std::io::{Read, Write};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use super::exit::{Exit, answer};
use crate::config::Config;

/// How long everything together may take.
const PATIENCE: Duration = Duration::from_secs(3);

/// The most that is read in search of the status line, in bytes.
const STATUS_LINE_LIMIT: u64 = 1024;

/// Asks `/readyz` at the listen address.
pub(super) fn healthcheck(config: &Config) -> Result<(), Exit> {
    let address = reachable(config.listen);
    if address.port() == 0 {
        return Err(Exit::Input("listen has port 0, so the port of the running service is not known here.".into()));
    }
    let path = config.url("/readyz");
    match status(address, &path) {
        Ok(200) => answer("ready"),
        Ok(status) => Err(Exit::Failed(format!("not ready: http://{address}{path} answered {status}."))),
        Err(error) => Err(Exit::Failed(format!("not ready: http://{address}{path}: {error}."))),
    }
}

/// "Every address" can be listened at but not asked; loopback is one of them.
fn reachable(listen: SocketAddr) -> SocketAddr {
    let ip = match listen.ip() {
        IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
        IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
        ip => ip,
    };
    SocketAddr::new(ip, listen.port())
}

fn status(address: SocketAddr, path: &str) -> std::io::Result<u16> {
    let until = Instant::now() + PATIENCE;
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE)?;
    stream.set_write_timeout(Some(left(until)?))?;
    // In one piece: some servers and proxies answer a request that arrives in fragments with an error.
    let request = format!(
        "GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nUser-Agent: stillroom-healthcheck\r\n\r\n"
    );
    stream.write_all(request.as_bytes())?;
    let mut line = Vec::new();
    let mut byte = [0; 1];
    while (line.len() as u64) < STATUS_LINE_LIMIT && !line.ends_with(b"\n") {
        stream.set_read_timeout(Some(left(until)?))?;
        if stream.read(&mut byte)? == 0 {
            break;
        }
        line.extend_from_slice(&byte);
    }
    let line = String::from_utf8_lossy(&line);
    let mut words = line.split_whitespace();
    let is_http = words.next().is_some_and(|word| word.starts_with("HTTP/1."));
    let status = words.next().and_then(|word| word.parse().ok()).filter(|_| is_http);
    status.ok_or_else(|| std::io::Error::other("the answer is not HTTP"))
}

/// The time left; a timeout of zero would mean to wait for ever.
fn left(until: Instant) -> std::io::Result<Duration> {
    let left = until.saturating_duration_since(Instant::now());
    if left.is_zero() { Err(std::io::ErrorKind::TimedOut.into()) } else { Ok(left) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::TcpListener;

    fn served(reply: &'static [u8]) -> SocketAddr {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            let mut asked = [0; 256];
            let n = stream.read(&mut asked).unwrap();
            assert!(asked[..n].starts_with(b"GET /studio/readyz HTTP/1.1\r\n"));
            stream.write_all(reply).unwrap();
        });
        address
    }

    #[test]
    fn the_status_is_read_from_the_first_line() {
        for (reply, wanted) in [
            (&b"HTTP/1.1 200 OK\r\n\r\n"[..], Some(200)),
            (b"HTTP/1.1 503 Service Unavailable\r\nx: y\r\n\r\n", Some(503)),
            (b"SSH-2.0-x 200\r\n", None),
            (b"", None),
        ] {
            assert_eq!(status(served(reply), "/studio/readyz").ok(), wanted);
        }
    }

    #[test]
    fn a_service_that_accepts_and_stays_silent_is_given_up_after_three_seconds() {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let begun = Instant::now();
        assert!(status(listener.local_addr().unwrap(), "/readyz").is_err());
        let took = begun.elapsed();
        assert!(took >= PATIENCE - Duration::from_millis(100) && took < PATIENCE + Duration::from_secs(3), "{took:?}");
    }

    #[test]
    fn every_address_is_asked_at_loopback() {
        for (listen, asked) in [("0.0.0.0:8270", "127.0.0.1:8270"), ("[::]:1", "[::1]:1"), ("10.0.0.2:3", "10.0.0.2:3")]
        {
            assert_eq!(reachable(listen.parse().unwrap()), asked.parse().unwrap());
        }
    }
}
