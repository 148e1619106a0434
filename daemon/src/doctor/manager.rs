//! The service manager: does the service start by itself, does it run, and as whom? Asks only.

use super::finding::Finding;
use super::host::{self, Host, ask};

const UNIT: &str = "nightbench.service";
const PLACE: &str = "host";

/// What is known of the service.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Facts {
    /// Whether systemd runs here.
    pub is_managed: bool,
    /// `systemctl is-enabled`; `None` where there is no such unit.
    pub enabled: Option<String>,
    /// `systemctl is-active`.
    pub active: Option<String>,
    /// The unit's user.
    pub service_user: Option<String>,
    /// Who runs this.
    pub user: String,
    /// Whether every permission check passes for that user.
    pub is_root: bool,
}

/// Asks the service manager.
pub async fn examine(host: &Host) -> Vec<Finding> {
    // As sd_booted(3) has it.
    let is_managed = host.path("run/systemd/system").is_dir();
    let mut facts = Facts {
        is_managed,
        enabled: None,
        active: None,
        service_user: None,
        user: host::user(),
        is_root: host::is_root(),
    };
    if is_managed {
        let user = ["show", UNIT, "--property=User", "--value"];
        let (enabled, active, user) = tokio::join!(
            ask("systemctl", &["is-enabled", UNIT]),
            ask("systemctl", &["is-active", UNIT]),
            ask("systemctl", &user),
        );
        facts.enabled = enabled.filter(|word| word != "not-found");
        (facts.active, facts.service_user) = (active, user);
    }
    judge(&facts)
}

/// What to think of it.
#[must_use]
pub fn judge(facts: &Facts) -> Vec<Finding> {
    let mut findings = match &facts.enabled {
        _ if !facts.is_managed => vec![Finding::ok(PLACE, "no systemd runs here: nothing to ask")],
        None => vec![Finding::ok(
            PLACE,
            format!("`{UNIT}` is not installed: nothing starts it but you"),
        )],
        Some(word) => vec![enabled(word), active(facts.active.as_deref())],
    };
    findings.push(user(facts));
    findings
}

fn enabled(word: &str) -> Finding {
    let what = format!("`{UNIT}` is {word}");
    match word {
        "enabled" | "enabled-runtime" | "static" | "alias" | "generated" => {
            Finding::ok(PLACE, what)
        }
        "masked" | "masked-runtime" | "bad" => Finding::wrong(
            PLACE,
            what,
            format!("`sudo systemctl unmask {UNIT}`, then enable it"),
        ),
        _ => Finding::advice(
            PLACE,
            format!("{what}: after a power cut nothing starts it"),
            format!("`sudo systemctl enable {UNIT}`"),
        ),
    }
}

fn active(word: Option<&str>) -> Finding {
    let word = word.unwrap_or("in a state that systemd does not tell");
    let what = format!("`{UNIT}` is {word}");
    let remedy =
        format!("`journalctl -u {UNIT} -n 50` says why; then `sudo systemctl start {UNIT}`");
    match word {
        "active" | "reloading" => Finding::ok(PLACE, what),
        "failed" => Finding::wrong(PLACE, what, remedy),
        _ => Finding::advice(PLACE, what, remedy),
    }
}

/// Permissions hold for who asks.
fn user(facts: &Facts) -> Finding {
    let user = &facts.user;
    let service = facts
        .service_user
        .as_deref()
        .filter(|_| facts.enabled.is_some());
    match service {
        Some(service) if service != user => Finding::advice(
            PLACE,
            format!(
                "this was run by `{user}`, but the service runs as `{service}`: what may be read and written was seen as `{user}`"
            ),
            format!("run it as `sudo -u {service} nightbench doctor …`"),
        ),
        None if facts.is_root => Finding::advice(
            PLACE,
            "this was run by root, who may do everything: permissions were not put to the test",
            "run it as the user that the service will have",
        ),
        _ => Finding::ok(PLACE, format!("permissions were seen as `{user}`")),
    }
}

#[cfg(test)]
mod tests {
    use super::super::finding::Severity::{self, Advice, Ok, Wrong};
    use super::*;

    fn running() -> Facts {
        Facts {
            is_managed: true,
            enabled: Some("enabled".to_owned()),
            active: Some("active".to_owned()),
            service_user: Some("nightbench".to_owned()),
            user: "nightbench".to_owned(),
            is_root: false,
        }
    }

    #[test]
    fn a_service_that_nobody_starts_again_is_told() {
        let word = |word: &str| Some(word.to_owned());
        let table: Vec<(Facts, &[Severity])> = vec![
            (running(), &[Ok, Ok, Ok]),
            (
                Facts {
                    enabled: word("disabled"),
                    ..running()
                },
                &[Advice, Ok, Ok],
            ),
            (
                Facts {
                    enabled: word("masked"),
                    ..running()
                },
                &[Wrong, Ok, Ok],
            ),
            (
                Facts {
                    active: word("failed"),
                    ..running()
                },
                &[Ok, Wrong, Ok],
            ),
            (
                Facts {
                    active: word("inactive"),
                    ..running()
                },
                &[Ok, Advice, Ok],
            ),
            (
                Facts {
                    active: None,
                    ..running()
                },
                &[Ok, Advice, Ok],
            ),
            (
                Facts {
                    user: "me".to_owned(),
                    ..running()
                },
                &[Ok, Ok, Advice],
            ),
            (
                Facts {
                    enabled: None,
                    ..running()
                },
                &[Ok, Ok],
            ),
            (
                Facts {
                    is_managed: false,
                    enabled: None,
                    ..running()
                },
                &[Ok, Ok],
            ),
            (
                Facts {
                    enabled: None,
                    is_root: true,
                    service_user: None,
                    ..running()
                },
                &[Ok, Advice],
            ),
        ];
        for (facts, expected) in table {
            let found = judge(&facts);
            let found: Vec<Severity> = found.iter().map(|it| it.severity).collect();
            assert_eq!(found, expected, "{facts:?}");
        }
    }
}
