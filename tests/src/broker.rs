//! A real MQTT broker, and a subscriber of an independent make to read back what it was given.
//!
//! The broker keeps nothing over a restart: the hardest case for whoever publishes to it.

use crate::process::{Process, installed};
use crate::wait::{SOON, eventually, until};
use rustix::process::Signal;
use serde_json::Value;
use std::fs;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::process::Command;
use tempfile::TempDir;

/// How often another port is tried where somebody took the chosen one meanwhile.
const TRIES: usize = 5;

/// A message as the subscriber saw it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// Topic.
    pub topic: String,
    /// Whether the broker gave it from what it retains.
    pub retained: bool,
    /// Payload as text.
    pub payload: String,
}

/// A broker on loopback.
#[derive(Debug)]
pub struct Broker {
    folder: TempDir,
    port: u16,
    more: String,
    process: Option<Process>,
    subscribers: usize,
}

/// A standing subscription.
#[derive(Debug)]
pub struct Subscriber {
    process: Process,
}

impl Message {
    /// The payload as JSON.
    ///
    /// # Panics
    /// Where it is none.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.payload)
            .unwrap_or_else(|why| panic!("{}: {why}: {}", self.topic, self.payload))
    }
}

/// A port of loopback that was free a moment ago.
///
/// # Panics
/// Where the system has none to give.
#[must_use]
pub fn free_port() -> u16 {
    TcpListener::bind((Ipv4Addr::LOCALHOST, 0))
        .and_then(|listener| listener.local_addr())
        .expect("the system gives a port")
        .port()
}

impl Broker {
    /// Starts a broker on a port that the system chose.
    ///
    /// # Panics
    /// Where it does not start; `tests/install` installs it.
    #[must_use]
    pub fn start() -> Self {
        Self::start_with("")
    }

    /// As [`Broker::start`], with more lines in its settings: limits for its listener, and then
    /// listeners of their own.
    ///
    /// # Panics
    /// Where it does not start.
    #[must_use]
    pub fn start_with(more: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut broker = Self {
            folder,
            port: 0,
            more: more.to_owned(),
            process: None,
            subscribers: 0,
        };
        let started = (0..TRIES).any(|_| {
            broker.port = free_port();
            broker.listens()
        });
        assert!(started, "the broker found no port in {TRIES} tries");
        broker
    }

    /// Its port on 127.0.0.1.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Ends it; it forgets everything.
    ///
    /// # Panics
    /// Where it does not end.
    pub fn stop(&mut self) {
        self.process.take().expect("is running").terminate();
    }

    /// SIGSTOP: it keeps its connections and answers nothing any more.
    ///
    /// # Panics
    /// Where it does not run.
    pub fn hang(&self) {
        self.signal(Signal::STOP);
    }

    /// SIGCONT: goes on where it hung.
    ///
    /// # Panics
    /// Where it does not run.
    pub fn go_on(&self) {
        self.signal(Signal::CONT);
    }

    fn signal(&self, signal: Signal) {
        self.process.as_ref().expect("is running").signal(signal);
    }

    /// Starts it again on its port, with nothing in it.
    ///
    /// # Panics
    /// Where it does not start.
    pub fn start_again(&mut self) {
        assert!(self.listens(), "the broker does not start again");
    }

    /// Subscribes, and returns when the broker has noted it.
    ///
    /// # Panics
    /// Where it does not.
    pub fn subscribe(&mut self, filter: &str) -> Subscriber {
        self.subscribers += 1;
        let id = format!("reader-{}", self.subscribers);
        let process = Process::start(
            &id,
            self.folder.path(),
            self.client().args(["-q", "1", "-i", &id, "-t", filter]),
        );
        let noted = format!("{id} 1 {filter}");
        until("the broker notes the subscription", SOON, || {
            self.process
                .as_ref()
                .is_some_and(|broker| broker.stderr().contains(&noted))
        });
        Subscriber { process }
    }

    /// What the broker retains under the filter, by topic.
    ///
    /// # Panics
    /// Where the broker cannot be asked.
    #[must_use]
    pub fn retained(&self, filter: &str) -> Vec<Message> {
        // The subscriber cannot know that nothing more comes: it waits a second.
        let output = self
            .client()
            .args(["-q", "1", "-t", filter, "--retained-only", "-W", "1"])
            .output()
            .expect("the subscriber is installed");
        let mut messages = parse(&String::from_utf8_lossy(&output.stdout));
        messages.sort_by(|a, b| a.topic.cmp(&b.topic));
        messages
    }

    fn client(&self) -> Command {
        let mut command = Command::new("mosquitto_sub");
        command
            .args(["-h", "127.0.0.1", "-p", &self.port.to_string()])
            .args(["-F", "%j"]);
        command
    }

    fn listens(&mut self) -> bool {
        let file = self.folder.path().join("broker.conf");
        fs::write(&file, settings(self.port) + &self.more).expect("the folder is writable");
        let mut process = Process::start(
            "broker",
            self.folder.path(),
            Command::new(installed("mosquitto")).arg("-c").arg(&file),
        );
        let listens = eventually("the broker listens or ends", SOON, || {
            if process.ended().is_some() {
                return Some(false);
            }
            TcpStream::connect((Ipv4Addr::LOCALHOST, self.port))
                .ok()
                .map(|_| true)
        });
        self.process = listens.then_some(process);
        listens
    }
}

impl Subscriber {
    /// All messages so far, in the order in which they came.
    #[must_use]
    pub fn messages(&self) -> Vec<Message> {
        parse(&self.process.stdout())
    }

    /// All messages so far whose topic ends so.
    #[must_use]
    pub fn under(&self, topic_end: &str) -> Vec<Message> {
        let mut messages = self.messages();
        messages.retain(|message| message.topic.ends_with(topic_end));
        messages
    }

    /// Waits for this many messages whose topic ends so; gives all that came.
    ///
    /// # Panics
    /// Where they do not come.
    #[must_use]
    pub fn wait_for(&self, count: usize, topic_end: &str) -> Vec<Message> {
        eventually(
            &format!("{count} messages under `{topic_end}`"),
            SOON,
            || {
                let found = self.under(topic_end);
                (found.len() >= count).then_some(found)
            },
        )
    }
}

/// `max_queued_messages 0` is no limit: a slow subscriber must not cost the test a message.
fn settings(port: u16) -> String {
    format!(
        "listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\n\
         set_tcp_nodelay true\nmax_queued_messages 0\n\
         log_dest stderr\nlog_type error\nlog_type warning\nlog_type subscribe\n"
    )
}

fn parse(output: &str) -> Vec<Message> {
    // The last line may still be on its way.
    let whole = output.rfind('\n').map_or("", |end| &output[..end]);
    whole
        .lines()
        .filter_map(|line| serde_json::from_str::<Value>(line).ok())
        .map(|line| Message {
            topic: line["topic"].as_str().unwrap_or_default().to_owned(),
            retained: line["retain"] == 1,
            payload: line["payload"].as_str().unwrap_or_default().to_owned(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn publish(broker: &Broker, topic: &str, payload: &str) {
        let status = Command::new("mosquitto_pub")
            .args([
                "-h",
                "127.0.0.1",
                "-p",
                &broker.port().to_string(),
                "-q",
                "1",
                "-r",
            ])
            .args(["-t", topic, "-m", payload])
            .status()
            .expect("the publisher is installed");
        assert!(status.success());
    }

    #[test]
    fn what_is_published_is_read_back_and_forgotten_over_a_restart() {
        let mut broker = Broker::start();
        let reader = broker.subscribe("cellar/#");
        publish(&broker, "cellar/mash/reading", r#"{"value":20.5}"#);
        let came = reader.wait_for(1, "/reading");
        assert_eq!(came[0].json()["value"], 20.5);
        assert!(!came[0].retained);
        assert!(broker.retained("#")[0].retained);
        broker.stop();
        broker.start_again();
        assert_eq!(broker.retained("#"), []);
    }
}
