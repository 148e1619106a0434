//! Secrets: there, not empty, and nobody else's to read. They are read to see that they can be, and
//! forgotten at once.

use super::bounded;
use super::finding::{Finding, Severity};
use super::outlets::{file_of, is_unset, secrets};
use crate::config::{Config, OutletKind, Secret, Source};
use crate::outlet::secret;

/// Looks at every secret of a configuration, all at once.
pub async fn examine(config: &Config) -> Vec<Finding> {
    let all = of(config).into_iter();
    let looks: Vec<_> = all.map(|it| tokio::spawn(look(it.0, it.1))).collect();
    let mut findings = Vec::new();
    for look in looks {
        findings.extend(look.await);
    }
    findings
}

/// Every secret, with the place that it is for.
fn of(config: &Config) -> Vec<(String, Secret)> {
    let outlets = config.outlets.iter().flat_map(|outlet| {
        let place = format!("outlet `{}`", outlet.name);
        let own = secrets(&outlet.kind).into_iter().cloned();
        let own: Vec<Secret> = own.chain(key(&outlet.kind)).collect();
        own.into_iter().map(move |secret| (place.clone(), secret))
    });
    let boards = config
        .boards
        .iter()
        .filter_map(|board| match &board.source {
            Source::Mqtt(it) => Some((format!("board `{}`", board.name), it.password.clone()?)),
            _ => None,
        });
    boards.chain(outlets).collect()
}

/// A private key is a secret as well.
fn key(kind: &OutletKind) -> Option<Secret> {
    match kind {
        OutletKind::Mqtt(mqtt) => {
            let client = mqtt.tls.as_ref()?.client.as_ref()?;
            Some(Secret::File(client.key_file.clone()))
        }
        _ => None,
    }
}

async fn look(place: String, secret: Secret) -> Finding {
    // The environment's are in memory, which answers.
    let file = file_of(&secret).unwrap_or_default();
    let found = bounded::examine(&place, &file, move |place| judge(place, &secret)).await;
    found.unwrap_or_else(|hung| hung)
}

fn judge(place: &str, secret: &Secret) -> Finding {
    if let Some(variable) = is_unset(secret) {
        let what = format!("environment variable `{variable}` is not set here");
        let remedy = "set it where the service is started (`systemctl edit`, `EnvironmentFile=`)";
        return Finding::advice(place, what, remedy);
    }
    if let Err(why) = secret::read(secret) {
        return Finding::told(Severity::Wrong, place, &why.to_string(), "");
    }
    match (secret::warning(secret), secret) {
        (Some(warning), _) => Finding::told(Severity::Wrong, place, &warning, ""),
        (None, Secret::File(path)) => {
            let shown = path.display();
            Finding::ok(
                place,
                format!("secret file `{shown}` is for this user and its group only"),
            )
        }
        (None, Secret::Environment(name)) => {
            Finding::ok(place, format!("environment variable `{name}` is set"))
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::finding::Severity::{Advice, Ok, Wrong};
    use super::*;
    use std::fs;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_secret_is_there_alone_and_not_empty() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("secret");
        let table = [
            ("open sesame\n", 0o600, Ok),
            ("open sesame\n", 0o640, Ok),
            ("open sesame\n", 0o644, Wrong),
            ("\n", 0o600, Wrong),
            ("", 0o600, Wrong),
        ];
        for (text, mode, expected) in table {
            fs::write(&path, text).unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
            let found = judge("outlet", &Secret::File(path.clone()));
            assert_eq!(found.severity, expected, "{text:?} {mode:o}");
            assert!(!format!("{found:?}").contains("sesame"));
        }
        let missing = Secret::File(folder.path().join("none"));
        assert_eq!(judge("outlet", &missing).severity, Wrong);
        let unset = Secret::Environment("NIGHTBENCH_NO_SUCH_VARIABLE".to_owned());
        assert_eq!(judge("outlet", &unset).severity, Advice);
    }
}
