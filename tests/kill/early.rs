//! The control: a front that acknowledges before anything is committed, as a careless server would. It answers at
//! once, keeps the request in memory and passes it on when it comes to it; a kill takes what it still holds.

use std::collections::VecDeque;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

#[derive(Default)]
struct Held {
    requests: Mutex<VecDeque<Vec<u8>>>,
    behind: Mutex<Option<SocketAddr>>,
    closed: AtomicBool,
}

/// The careless front.
pub(crate) struct EarlyFront {
    pub(crate) address: SocketAddr,
    held: Arc<Held>,
}

impl EarlyFront {
    pub(crate) fn open() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let held = Arc::new(Held::default());
        let accepting = Arc::clone(&held);
        std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok) {
                if accepting.closed.load(Ordering::Relaxed) {
                    break;
                }
                let held = Arc::clone(&accepting);
                std::thread::spawn(move || acknowledge(stream, &held));
            }
        });
        let passing_on = Arc::clone(&held);
        std::thread::spawn(move || pass_on(&passing_on));
        Self { address, held }
    }

    /// The server behind it is up, there.
    pub(crate) fn stand_before(&self, server: SocketAddr) {
        *self.held.behind.lock().unwrap() = Some(server);
    }

    /// The power goes: what was only in memory is gone. Returns how many requests that were.
    pub(crate) fn lose_memory(&self) -> usize {
        *self.held.behind.lock().unwrap() = None;
        std::mem::take(&mut *self.held.requests.lock().unwrap()).len()
    }
}

impl Drop for EarlyFront {
    fn drop(&mut self) {
        self.held.closed.store(true, Ordering::Relaxed);
        // Wakes the accepting thread, which then sees that it is over.
        drop(TcpStream::connect(self.address));
    }
}

/// Reads a request, keeps it in memory and says that all is well.
fn acknowledge(mut stream: TcpStream, held: &Held) {
    let Some(request) = read_request(&mut stream) else { return };
    let answer = if request.starts_with(b"POST /api/") {
        "HTTP/1.1 201 Created\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
    } else {
        "HTTP/1.1 303 See Other\r\nLocation: /\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"
    };
    held.requests.lock().unwrap().push_back(request);
    stream.write_all(answer.as_bytes()).ok();
}

fn read_request(stream: &mut TcpStream) -> Option<Vec<u8>> {
    stream.set_read_timeout(Some(Duration::from_secs(10))).ok()?;
    let mut bytes = Vec::new();
    let mut piece = [0; 4096];
    loop {
        let read = stream.read(&mut piece).ok()?;
        bytes.extend_from_slice(&piece[..read]);
        if is_whole(&bytes) {
            return Some(bytes);
        }
        if read == 0 {
            return None;
        }
    }
}

fn is_whole(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let Some((head, body)) = text.split_once("\r\n\r\n") else { return false };
    let length = head.lines().find_map(|line| line.strip_prefix("Content-Length: "));
    body.len() >= length.map_or(0, |length| length.trim().parse().unwrap_or(0))
}

/// Hands on one request after the other, while there is a server.
fn pass_on(held: &Held) {
    while !held.closed.load(Ordering::Relaxed) {
        let server = *held.behind.lock().unwrap();
        let next = server.and_then(|_| held.requests.lock().unwrap().pop_front());
        match (server, next) {
            (Some(server), Some(request)) => hand_over(server, &request),
            _ => std::thread::sleep(Duration::from_millis(1)),
        }
    }
}

fn hand_over(server: SocketAddr, request: &[u8]) {
    let Ok(mut stream) = TcpStream::connect(server) else { return };
    stream.set_read_timeout(Some(Duration::from_secs(10))).ok();
    if stream.write_all(request).is_ok() {
        stream.read_to_end(&mut Vec::new()).ok();
    }
}
