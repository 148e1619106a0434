//! Does a broker take a message, and pass it on? On a topic that is nobody's, never retained.

mod echo;

use super::{Outcome, doctors_id, no_answer, troubled};
use crate::clock;
use crate::config::{Mqtt, MqttVersion};
use crate::doctor::TRIED_WITHIN;
use crate::doctor::finding::{Finding, Severity};
use crate::outlet::Trouble;
use crate::outlet::mqtt::{Trial, publish_once};
use echo::Ear;
use tokio::time::timeout;

/// Publishes a message beside the service, and listens for it where the version calls for that.
pub(super) async fn publish(place: &str, site: &str, settings: &Mqtt) -> Outcome {
    let settings = Mqtt {
        client_id: doctors_id(&settings.client_id),
        ..settings.clone()
    };
    let at = format!("broker `{}:{}`", settings.host, settings.port);
    let topic = format!("{site}/doctor");
    // Its own, so that its echo cannot be another one's.
    let (time_ms, process) = (clock::now().wall_ms, std::process::id());
    let text = format!("a test ({time_ms} of process {process}); nothing to do");
    let tried = timeout(TRIED_WITHIN, tell(site, &settings, &topic, &text)).await;
    match tried {
        Ok((ear, Ok(Trial::Taken))) => {
            let passed_on = match (settings.version, ear) {
                (MqttVersion::V5, _) => true,
                (MqttVersion::V3, None) => false,
                (MqttVersion::V3, Some(ear)) => ear.hears(&text).await,
            };
            taken(place, site, (&at, &topic), passed_on)
        }
        // Rules may well allow the outlet's own topics only.
        Ok((_, Ok(Trial::Refused(words)))) => {
            let remedy = "look at the broker's access rules";
            (Finding::told(Severity::Advice, place, &words, remedy), None)
        }
        Ok((_, Err(trouble))) => (troubled(place, &trouble), None),
        Err(_) => (no_answer(place, &at), None),
    }
}

/// Publishes; with somebody who listens where the version asks for that.
async fn tell(
    site: &str,
    settings: &Mqtt,
    topic: &str,
    text: &str,
) -> (Option<Ear>, Result<Trial, Trouble>) {
    let ear = match settings.version {
        MqttVersion::V3 => Ear::open(site, settings, topic).await,
        MqttVersion::V5 => None,
    };
    (ear, publish_once(site, settings.clone(), topic, text).await)
}

fn taken(place: &str, site: &str, (at, topic): (&str, &str), passed_on: bool) -> Outcome {
    let left = format!("a message on `{topic}` at {at}, not retained");
    if passed_on {
        let what = format!("{at} acknowledged a message on `{topic}`");
        return (Finding::ok(place, what), Some(left));
    }
    let what = format!("{at} acknowledged a message on `{topic}`, but did not pass it on");
    let remedy = format!(
        "its rules may forbid `{topic}`, and 3.1.1 does not say so; use `version = \"5\"`, or let \
         `{site}/#` be written and read"
    );
    let left = format!("{left}, if the broker kept it");
    (Finding::advice(place, what, remedy), Some(left))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn an_acknowledgement_without_an_echo_is_no_promise() {
        let at = ("broker `b:1883`", "cellar/doctor");
        let (heard, left) = taken("outlet", "cellar", at, true);
        assert_eq!((heard.severity, left.is_some()), (Severity::Ok, true));
        let (unheard, left) = taken("outlet", "cellar", at, false);
        assert_eq!(unheard.severity, Severity::Advice);
        assert!(unheard.remedy.contains("`cellar/#`"), "{}", unheard.remedy);
        assert!(left.unwrap().ends_with("if the broker kept it"));
    }
}
