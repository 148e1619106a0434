//! Boards behind a broker or a network bridge: is somebody there?

use crate::config::{Bridge, Subscription};
use crate::doctor::TRIED_WITHIN;
use crate::doctor::finding::{Finding, Severity};
use crate::doctor::host::Process;
use crate::doctor::outlets::{doctors_id, file_of, is_unset, read_beforehand};
use crate::outlet::words;
use crate::source::mqtt::subscribe_once;
use tokio::net::TcpStream;
use tokio::time::timeout;

const OTHERWISE: &str = "start it, or correct `host` and `port`";

/// A broker that boards publish to: connected and subscribed under another client identifier.
pub async fn subscribed(place: &str, subscription: &Subscription) -> Finding {
    if let Some(variable) = subscription.password.as_ref().and_then(is_unset) {
        return untried(place, &variable);
    }
    let secret = subscription.password.iter().filter_map(file_of).collect();
    if let Err(hung) = read_beforehand(place, secret).await {
        return hung;
    }
    let trial = Subscription {
        client_id: doctors_id(&subscription.client_id),
        ..subscription.clone()
    };
    let at = format!("broker `{}:{}`", trial.host, trial.port);
    let topic = &trial.topic;
    match timeout(TRIED_WITHIN, subscribe_once(&trial)).await {
        Ok(Ok(())) => Finding::ok(place, format!("{at} lets `{topic}` be read")),
        Ok(Err(why)) => Finding::told(Severity::Wrong, place, &why, OTHERWISE),
        Err(_) => no_answer(place, &at),
    }
}

/// A bridge, unless the service has it: most serve one client, and throw the first one out for a
/// second.
pub async fn bridged(place: &str, bridge: &Bridge, service: Option<&Process>) -> Finding {
    let at = format!("bridge `{}:{}`", bridge.host, bridge.port);
    if service.is_some() {
        let what = format!("{at} is left to the service that runs; its journal says how it goes");
        return Finding::ok(place, what);
    }
    let host = bridge.host.trim_matches(['[', ']']);
    match timeout(TRIED_WITHIN, TcpStream::connect((host, bridge.port))).await {
        Ok(Ok(_)) => Finding::ok(place, format!("{at} answers")),
        Ok(Err(why)) => Finding::wrong(place, format!("{at}: {}", words(&why)), OTHERWISE),
        Err(_) => no_answer(place, &at),
    }
}

/// The service may have what this shell has not.
fn untried(place: &str, variable: &str) -> Finding {
    Finding::advice(
        place,
        format!("not tried: environment variable `{variable}` is not set here"),
        "set it as the service has it, and run this again",
    )
}

fn no_answer(place: &str, at: &str) -> Finding {
    let within = TRIED_WITHIN.as_secs();
    let what = format!("{at}: no answer within {within} s");
    Finding::wrong(place, what, "check host, port and firewall")
}
