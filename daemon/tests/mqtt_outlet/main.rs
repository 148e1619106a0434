//! The MQTT receiver against a real broker, and against one that misbehaves: nothing counts as
//! delivered that was not acknowledged, and nothing is lost that was not.

#![allow(clippy::unwrap_used, missing_docs)]

#[path = "../support/certificates.rs"]
mod certificates;
#[path = "../support/fake_broker.rs"]
mod fake_broker;
#[path = "../support/mosquitto.rs"]
mod mosquitto;
#[path = "../support/scene.rs"]
mod scene;
#[path = "../support/subscriber.rs"]
mod subscriber;
#[path = "../support/wire.rs"]
mod wire;

mod credentials;
mod delivery;
mod encryption;
mod faults;
mod reconnecting;
mod stumbling;
mod version5;

use nightbench::outlet::Trouble;

fn later(trouble: &Trouble) -> &str {
    match trouble {
        Trouble::Later { what, .. } => what,
        Trouble::Person { what } => panic!("needs no person: {what}"),
    }
}

fn person(trouble: &Trouble) -> &str {
    match trouble {
        Trouble::Person { what } => what,
        Trouble::Later { what, .. } => panic!("needs a person: {what}"),
    }
}
