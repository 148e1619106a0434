//! A gate on the way to a server: a port of its own that passes bytes through while open, and refuses
//! and cuts connections while shut.
//!
//! A broker that starts again with nothing would otherwise get messages before a test has subscribed.

use std::io;
use std::net::{Ipv4Addr, Shutdown, SocketAddrV4, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};

/// A gate; see the module.
#[derive(Debug)]
pub struct Gate {
    port: u16,
    to: u16,
    open: Option<Open>,
}

#[derive(Debug)]
struct Open {
    port: u16,
    shut: Arc<AtomicBool>,
    ways: Arc<Mutex<Vec<TcpStream>>>,
    keeper: JoinHandle<()>,
}

impl Gate {
    /// An open gate to a port of this machine.
    ///
    /// # Panics
    /// Where the system has no port to give.
    #[must_use]
    pub fn to(port: u16) -> Self {
        let listener = listen(0).expect("the system gives a port");
        let own = listener.local_addr().expect("a bound port").port();
        let open = Some(Open::keep(listener, (own, port)));
        Self {
            port: own,
            to: port,
            open,
        }
    }

    /// The port in front of the gate.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Cuts every connection and refuses new ones. Does nothing where it is shut.
    pub fn shut(&mut self) {
        if let Some(open) = self.open.take() {
            open.end();
        }
    }

    /// Lets connections through again, on the same port.
    ///
    /// # Panics
    /// Where somebody else has taken the port.
    pub fn open(&mut self) {
        self.shut();
        let listener = listen(self.port).expect("the gate's own port is free");
        self.open = Some(Open::keep(listener, (self.port, self.to)));
    }
}

impl Drop for Gate {
    fn drop(&mut self) {
        self.shut();
    }
}

impl Open {
    fn keep(listener: TcpListener, (port, to): (u16, u16)) -> Self {
        let shut = Arc::new(AtomicBool::new(false));
        let ways = Arc::new(Mutex::new(Vec::new()));
        let keeper = thread::spawn({
            let (shut, ways) = (Arc::clone(&shut), Arc::clone(&ways));
            move || {
                for near in listener.incoming().flatten() {
                    if shut.load(Ordering::Acquire) {
                        return;
                    }
                    let_through(near, to, &ways);
                }
            }
        });
        Self {
            port,
            shut,
            ways,
            keeper,
        }
    }

    fn end(self) {
        self.shut.store(true, Ordering::Release);
        // Wakes the keeper, who sees that the gate is shut.
        let _ = TcpStream::connect(address(self.port));
        self.keeper.join().expect("the keeper does not panic");
        for way in self
            .ways
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .iter()
        {
            // Fails only where it is closed already.
            let _ = way.shutdown(Shutdown::Both);
        }
    }
}

fn listen(port: u16) -> io::Result<TcpListener> {
    TcpListener::bind(address(port))
}

fn address(port: u16) -> SocketAddrV4 {
    SocketAddrV4::new(Ipv4Addr::LOCALHOST, port)
}

/// Where nobody is behind the gate, the newcomer's connection is just dropped.
fn let_through(near: TcpStream, to: u16, ways: &Mutex<Vec<TcpStream>>) {
    let Ok(far) = TcpStream::connect(address(to)) else {
        return;
    };
    for end in [&near, &far] {
        end.set_nodelay(true).expect("a connected socket");
        let end = end.try_clone().expect("descriptors are not used up");
        ways.lock()
            .unwrap_or_else(PoisonError::into_inner)
            .push(end);
    }
    pass(near.try_clone(), far.try_clone());
    pass(Ok(far), Ok(near));
}

fn pass(from: io::Result<TcpStream>, to: io::Result<TcpStream>) {
    let (Ok(mut from), Ok(mut to)) = (from, to) else {
        return;
    };
    thread::spawn(move || {
        // An error is the end of the connection, which is passed on like any other.
        let _ = io::copy(&mut from, &mut to);
        let _ = to.shutdown(Shutdown::Both);
        let _ = from.shutdown(Shutdown::Both);
    });
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::{Read, Write};

    fn echo() -> u16 {
        let listener = TcpListener::bind(address(0)).expect("a port");
        let port = listener.local_addr().expect("bound").port();
        thread::spawn(move || {
            for mut stream in listener.incoming().flatten() {
                let mut back = stream.try_clone().expect("a descriptor");
                thread::spawn(move || io::copy(&mut stream, &mut back));
            }
        });
        port
    }

    fn ask(port: u16) -> io::Result<[u8; 2]> {
        let mut stream = TcpStream::connect(address(port))?;
        stream.write_all(b"hi")?;
        let mut answer = [0; 2];
        stream.read_exact(&mut answer)?;
        Ok(answer)
    }

    #[test]
    fn an_open_gate_passes_and_a_shut_one_cuts_and_refuses() {
        let mut gate = Gate::to(echo());
        assert_eq!(ask(gate.port()).expect("open"), *b"hi");
        let mut standing = TcpStream::connect(address(gate.port())).expect("open");
        standing.write_all(b"x").expect("open");
        standing.read_exact(&mut [0]).expect("passes");
        gate.shut();
        assert!(matches!(standing.read(&mut [0]), Ok(0) | Err(_)));
        assert!(ask(gate.port()).is_err());
        gate.open();
        assert_eq!(ask(gate.port()).expect("open again"), *b"hi");
    }
}
