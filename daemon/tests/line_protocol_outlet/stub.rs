//! An HTTP server that answers as told, on threads of its own: what a real database cannot be
//! brought to do on demand.

use flate2::read::GzDecoder;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};
use std::collections::HashMap;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

/// A request as it came, its body unpacked.
#[derive(Clone, Debug)]
pub struct Request {
    /// `/write?db=night&precision=ms`.
    pub target: String,
    /// By lower-case name.
    pub headers: HashMap<String, String>,
    /// The lines of the body.
    pub lines: Vec<String>,
}

/// What comes back.
pub enum Reply {
    /// These bytes; the connection stays open.
    Bytes(String),
    /// These bytes, then the end of the connection.
    Broken(String),
    /// Nothing, until the client gives up.
    Silence,
}

type Rule = dyn Fn(&Request) -> Reply + Send + Sync;

struct Shared {
    rule: Box<Rule>,
    tls: Option<Arc<ServerConfig>>,
    requests: Mutex<Vec<Request>>,
    connections: AtomicUsize,
    ends: AtomicBool,
}

/// A running stub; dropping it ends it.
pub struct Stub {
    shared: Arc<Shared>,
    address: SocketAddr,
    accepting: Option<JoinHandle<()>>,
    /// `http://127.0.0.1:PORT`.
    pub url: String,
}

impl Stub {
    pub fn new(rule: impl Fn(&Request) -> Reply + Send + Sync + 'static) -> Self {
        Self::start(rule, None)
    }

    /// The same behind TLS, with a certificate of the authority in `tls/authority.pem`.
    pub fn with_tls(rule: impl Fn(&Request) -> Reply + Send + Sync + 'static) -> Self {
        let mut stub = Self::start(rule, Some(certificate()));
        stub.url = format!("https://{}", stub.address);
        stub
    }

    fn start(
        rule: impl Fn(&Request) -> Reply + Send + Sync + 'static,
        tls: Option<Arc<ServerConfig>>,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let shared = Arc::new(Shared {
            rule: Box::new(rule),
            tls,
            requests: Mutex::default(),
            connections: AtomicUsize::new(0),
            ends: AtomicBool::new(false),
        });
        let accepts = Arc::clone(&shared);
        Self {
            shared,
            address,
            accepting: Some(std::thread::spawn(move || accept(&listener, &accepts))),
            url: format!("http://{address}"),
        }
    }

    /// All requests so far.
    pub fn requests(&self) -> Vec<Request> {
        self.shared.requests.lock().unwrap().clone()
    }

    /// How many connections were made so far.
    pub fn connections(&self) -> usize {
        self.shared.connections.load(Ordering::SeqCst)
    }
}

impl Drop for Stub {
    fn drop(&mut self) {
        self.shared.ends.store(true, Ordering::SeqCst);
        let _ = TcpStream::connect(self.address);
        if let Some(accepting) = self.accepting.take() {
            let _ = accepting.join();
        }
    }
}

/// `HTTP/1.1 STATUS` with headers (each ending in a line break) and a body.
pub fn answer(status: &str, headers: &str, body: &str) -> Reply {
    let length = body.len();
    Reply::Bytes(format!(
        "HTTP/1.1 {status}\r\n{headers}Content-Length: {length}\r\n\r\n{body}"
    ))
}

pub fn no_content() -> Reply {
    Reply::Bytes("HTTP/1.1 204 No Content\r\n\r\n".to_owned())
}

fn accept(listener: &TcpListener, shared: &Arc<Shared>) {
    for stream in listener.incoming().map_while(Result::ok) {
        if shared.ends.load(Ordering::SeqCst) {
            return;
        }
        shared.connections.fetch_add(1, Ordering::SeqCst);
        let shared = Arc::clone(shared);
        std::thread::spawn(move || talk(stream, &shared));
    }
}

fn talk(stream: TcpStream, shared: &Shared) -> Option<()> {
    stream.set_nodelay(true).ok()?;
    match &shared.tls {
        None => serve(stream, shared),
        Some(tls) => {
            let session = ServerConnection::new(Arc::clone(tls)).ok()?;
            serve(StreamOwned::new(session, stream), shared)
        }
    }
}

/// Ends with the client's end of the connection.
fn serve(stream: impl Read + Write, shared: &Shared) -> Option<()> {
    let mut stream = BufReader::new(stream);
    loop {
        let request = read(&mut stream)?;
        shared.requests.lock().unwrap().push(request.clone());
        let (bytes, stays) = match (shared.rule)(&request) {
            Reply::Bytes(bytes) => (bytes, true),
            Reply::Broken(bytes) => (bytes, false),
            Reply::Silence => (String::new(), true),
        };
        stream.get_mut().write_all(bytes.as_bytes()).ok()?;
        stream.get_mut().flush().ok()?;
        if !stays {
            return None;
        }
    }
}

fn certificate() -> Arc<ServerConfig> {
    nightbench::outlet::tls::install();
    let pem = include_bytes!("tls/server.pem");
    let chain = vec![CertificateDer::from_pem_slice(pem).unwrap()];
    let key = PrivateKeyDer::from_pem_slice(pem).unwrap();
    let config = ServerConfig::builder().with_no_client_auth();
    Arc::new(config.with_single_cert(chain, key).unwrap())
}

fn read(reader: &mut impl BufRead) -> Option<Request> {
    let mut head = reader
        .lines()
        .map_while(Result::ok)
        .take_while(|line| !line.is_empty());
    let target = head.next()?.split(' ').nth(1)?.to_owned();
    let header = |line: String| {
        let (name, value) = line.split_once(':')?;
        Some((name.to_ascii_lowercase(), value.trim().to_owned()))
    };
    let headers: HashMap<_, _> = head.filter_map(header).collect();
    let mut body = vec![0; headers.get("content-length")?.parse().ok()?];
    reader.read_exact(&mut body).ok()?;
    let mut text = String::new();
    match headers.get("content-encoding") {
        Some(_) => GzDecoder::new(&body[..]).read_to_string(&mut text).ok()?,
        None => body.as_slice().read_to_string(&mut text).ok()?,
    };
    let lines = text.lines().map(str::to_owned).collect();
    Some(Request {
        target,
        headers,
        lines,
    })
}
