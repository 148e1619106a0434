//! Outlets: does each take what it is given? A real message and a real point, by the same code and
//! with the same credentials as readings, beside a running service and without disturbing it.

use super::echo::Ear;
use super::finding::{Finding, Severity};
use super::{TRIED_WITHIN, bounded, host};
use crate::clock;
use crate::config::{
    LineProtocol, LineProtocolFile, Mqtt, MqttVersion, Outlet, OutletKind, Secret, Write as Place,
};
use crate::outlet::line_protocol::write_once;
use crate::outlet::mqtt::{Trial, publish_once};
use crate::outlet::{Trouble, words};
use std::path::{Path, PathBuf};
use tokio::time::timeout;

/// The measurement of the point that is written.
pub const MEASUREMENT: &str = "nightbench_doctor";

/// What came of the outlets.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tried {
    /// What was found, in the order of the configuration.
    pub findings: Vec<Finding>,
    /// What was left behind, in words.
    pub left: Vec<String>,
}

/// Tries every outlet, all at once.
pub async fn examine(site: &str, outlets: &[Outlet]) -> Tried {
    let mut trials = Vec::new();
    for outlet in outlets {
        let (site, outlet) = (site.to_owned(), outlet.clone());
        trials.push(tokio::spawn(async move { try_out(&site, &outlet).await }));
    }
    let mut tried = Tried::default();
    for trial in trials {
        if let Ok((finding, left)) = trial.await {
            tried.findings.push(finding);
            tried.left.extend(left);
        }
    }
    tried
}

/// A client identifier beside the configured one: a broker closes the older of two connections
/// with the same.
#[must_use]
pub fn doctors_id(client_id: &str) -> String {
    format!("{client_id}-doctor")
}

/// The environment variable of a secret, where this shell does not have it; the service may.
#[must_use]
pub fn is_unset(secret: &Secret) -> Option<String> {
    match secret {
        Secret::Environment(name) if std::env::var_os(name).is_none() => Some(name.clone()),
        _ => None,
    }
}

type Outcome = (Finding, Option<String>);

async fn try_out(site: &str, outlet: &Outlet) -> Outcome {
    let place = format!("outlet `{}`", outlet.name);
    if let Some(variable) = secrets(&outlet.kind).into_iter().find_map(is_unset) {
        let what = format!("not tried: environment variable `{variable}` is not set here");
        let remedy = "set it as the service has it, and run this again";
        return (Finding::advice(place, what, remedy), None);
    }
    if let Err(hung) = read_beforehand(&place, files(&outlet.kind)).await {
        return (hung, None);
    }
    match &outlet.kind {
        OutletKind::Mqtt(settings) => publish(&place, site, settings).await,
        OutletKind::LineProtocol(settings) => write(&place, site, settings).await,
        OutletKind::LineProtocolFile(file) => {
            let own = file.clone();
            let look = move |place: &str| append(place, &own);
            let found = bounded::examine(&place, &file.path, look).await;
            (found.unwrap_or_else(|hung| hung), None)
        }
    }
}

/// The secrets of an outlet.
pub(super) fn secrets(kind: &OutletKind) -> Vec<&Secret> {
    match kind {
        OutletKind::Mqtt(mqtt) => mqtt.password.iter().collect(),
        OutletKind::LineProtocol(it) => it.token.iter().chain(&it.password).collect(),
        OutletKind::LineProtocolFile(_) => Vec::new(),
    }
}

/// Lets the files be read that a connection needs: it reads them where all checks would wait.
pub(super) async fn read_beforehand(place: &str, files: Vec<PathBuf>) -> Result<(), Finding> {
    for file in files {
        let own = file.clone();
        // What is wrong with its content is told by the connection.
        let look = move |_: &str| drop(std::fs::read(own));
        bounded::examine(place, &file, look).await?;
    }
    Ok(())
}

fn files(kind: &OutletKind) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = secrets(kind).into_iter().filter_map(file_of).collect();
    if let OutletKind::Mqtt(Mqtt { tls: Some(tls), .. }) = kind {
        files.extend(tls.ca_file.clone());
        let pair = tls.client.as_ref();
        files.extend(pair.map(|it| it.certificate_file.clone()));
        files.extend(pair.map(|it| it.key_file.clone()));
    }
    files
}

/// The file that a secret is in.
pub(super) fn file_of(secret: &Secret) -> Option<PathBuf> {
    match secret {
        Secret::File(path) => Some(path.clone()),
        Secret::Environment(_) => None,
    }
}

async fn publish(place: &str, site: &str, settings: &Mqtt) -> Outcome {
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

async fn write(place: &str, site: &str, settings: &LineProtocol) -> Outcome {
    let settings = LineProtocol {
        timeout: settings.timeout.min(TRIED_WITHIN),
        ..settings.clone()
    };
    let now_ms = clock::now().wall_ms;
    let line = format!("{MEASUREMENT},site={site} tested=1 {now_ms}");
    let (at, into) = (&settings.url, database(&settings.write));
    match timeout(TRIED_WITHIN, write_once(&settings, &line)).await {
        Ok(Ok(())) => {
            let left = format!("a point of measurement `{MEASUREMENT}` in {into} at {at}");
            let what = format!("{at} stored a point of measurement `{MEASUREMENT}` in {into}");
            (Finding::ok(place, what), Some(left))
        }
        Ok(Err(trouble)) => (troubled(place, &trouble), None),
        Err(_) => (no_answer(place, at), None),
    }
}

fn database(write: &Place) -> String {
    match write {
        Place::V1 { database } => format!("database `{database}`"),
        Place::V2 { bucket, .. } => format!("bucket `{bucket}`"),
    }
}

fn append(place: &str, file: &LineProtocolFile) -> Finding {
    let path = std::path::absolute(&file.path).unwrap_or_else(|_| file.path.clone());
    let folder = path.parent().unwrap_or(Path::new("/"));
    let shown = folder.display();
    match host::try_writing(folder) {
        Ok(()) => Finding::ok(place, format!("its folder `{shown}` can be written to")),
        Err(error) => Finding::wrong(
            place,
            format!(
                "its folder `{shown}` cannot be written to: {}",
                words(&error)
            ),
            "make the folder, or check its owner, its mode and the disk",
        ),
    }
}

fn troubled(place: &str, trouble: &Trouble) -> Finding {
    let otherwise = "start it, or correct its address";
    Finding::told(Severity::Wrong, place, &trouble.to_string(), otherwise)
}

fn no_answer(place: &str, at: &str) -> Finding {
    let within = TRIED_WITHIN.as_secs();
    let what = format!("{at}: no answer within {within} s");
    Finding::wrong(
        place,
        what,
        "check host, port and firewall, and look at its log",
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::time::Duration;
    use tokio::net::TcpListener;

    fn file(path: &Path) -> LineProtocolFile {
        LineProtocolFile {
            path: path.to_owned(),
            measurement: "reading".to_owned(),
            rotate_at: 1 << 20,
            keep: 1,
            every: Duration::ZERO,
        }
    }

    #[test]
    fn a_files_folder_must_be_there() {
        let folder = tempfile::tempdir().unwrap();
        let there = append("outlet", &file(&folder.path().join("night.lp")));
        assert_eq!(there.severity, Severity::Ok);
        let missing = append("outlet", &file(&folder.path().join("none/night.lp")));
        assert_eq!(missing.severity, Severity::Wrong);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }

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

    #[test]
    fn a_variable_that_is_not_set_here_is_no_fault_of_the_service() {
        let name = "NIGHTBENCH_NO_SUCH_VARIABLE";
        assert_eq!(
            is_unset(&Secret::Environment(name.to_owned())).as_deref(),
            Some(name)
        );
        assert_eq!(is_unset(&Secret::Environment("PATH".to_owned())), None);
        assert_eq!(is_unset(&Secret::File("none".into())), None);
    }

    #[tokio::test]
    async fn a_database_that_accepts_and_says_nothing_is_given_up() {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let settings = LineProtocol {
            url: format!("http://{}", listener.local_addr().unwrap()),
            write: Place::V1 {
                database: "night".to_owned(),
            },
            token: None,
            user: None,
            password: None,
            measurement: "reading".to_owned(),
            batch: 1,
            gzip: false,
            timeout: Duration::from_millis(100),
            every: Duration::ZERO,
        };
        let (finding, left) = write("outlet", "cellar", &settings).await;
        assert_eq!((finding.severity, left), (Severity::Wrong, None));
        assert!(
            finding.what.contains("no answer within 0.1 s"),
            "{}",
            finding.what
        );
    }
}
