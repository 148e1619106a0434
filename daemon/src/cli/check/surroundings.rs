//! What a configuration names on this host: ports, secrets, the log's folder.
//!
//! Looks, and opens nothing but secrets. What is missing now may be there when the service starts,
//! so all of this warns only.

use crate::config::{Config, OutletKind, Remark, Secret, Source};
use crate::outlet::secret;
use std::fs;
use std::os::unix::fs::FileTypeExt;
use std::path::Path;

/// What is odd about what the configuration names.
pub fn look(config: &Config) -> Vec<Remark> {
    let mut remarks: Vec<Remark> = folder(&config.log.path).into_iter().collect();
    for board in &config.boards {
        let (key, odd) = match &board.source {
            Source::Serial { port, .. } => ("port", of_port(port)),
            Source::Mqtt(broker) => (
                "password_file",
                broker.password.as_ref().and_then(of_secret),
            ),
            _ => continue,
        };
        if let Some((what, right)) = odd {
            remarks.push(remark(&["board", &board.name, key], what, right));
        }
    }
    for outlet in &config.outlets {
        for (key, place) in secrets(&outlet.kind) {
            if let Some((what, right)) = of_secret(place) {
                remarks.push(remark(&["outlet", &outlet.name, key], what, right));
            }
        }
    }
    remarks
}

fn remark(keys: &[&str], what: String, right: &str) -> Remark {
    Remark {
        keys: keys.iter().map(|key| (*key).to_owned()).collect(),
        what,
        right: right.to_owned(),
    }
}

/// The log's folder: the service makes the last one of its path, and no other.
fn folder(log: &Path) -> Option<Remark> {
    let folder = log
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty())?;
    if folder.exists() {
        return None;
    }
    let (what, right) = match crate::log::missing_above(folder) {
        Some(missing) => (
            format!("the folder `{}` is not there", missing.display()),
            "mount what it is on, or make it: the service will not start without it",
        ),
        None => (
            format!("the folder `{}` is not there yet", folder.display()),
            "the service makes it; where it should be on a stick, mount that first",
        ),
    };
    Some(remark(&["log", "path"], what, right))
}

const STABLE: &str = "take the board's name under `/dev/serial/by-id`";

fn of_port(port: &Path) -> Option<(String, &'static str)> {
    let shown = port.display();
    if port.starts_with("/dev/pts") {
        let what = format!(
            "`{shown}` belongs to a terminal, or to a simulated board that is gone with it"
        );
        return Some((what, STABLE));
    }
    match fs::metadata(port) {
        Ok(found) if found.file_type().is_char_device() => None,
        Ok(_) => Some((format!("`{shown}` is no serial port"), STABLE)),
        Err(_) => Some((
            format!("`{shown}` is not there (not plugged in now?)"),
            "the service looks for it for as long as it takes",
        )),
    }
}

fn secrets(kind: &OutletKind) -> Vec<(&'static str, &Secret)> {
    let (password, token) = match kind {
        OutletKind::Mqtt(mqtt) => (&mqtt.password, &None),
        OutletKind::LineProtocol(http) => (&http.password, &http.token),
        OutletKind::LineProtocolFile(_) => (&None, &None),
    };
    let password = password.iter().map(|place| ("password_file", place));
    password
        .chain(token.iter().map(|place| ("token_file", place)))
        .collect()
}

/// An environment variable is another one where the service runs, a file that only the service may
/// read is as it should be, and a pipe gives its secret once: none of them can be judged here.
fn of_secret(place: &Secret) -> Option<(String, &'static str)> {
    let Secret::File(path) = place else {
        return None;
    };
    let is_pipe = fs::metadata(path).is_ok_and(|found| !found.is_file() && !found.is_dir());
    let is_denied = || {
        let opened = fs::File::open(path);
        opened.is_err_and(|error| error.kind() == std::io::ErrorKind::PermissionDenied)
    };
    if is_pipe || is_denied() {
        return None;
    }
    match secret::read(place) {
        Err(why) => Some((why.to_string(), "")),
        Ok(_) => secret::warning(place).map(|what| (what, "")),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::config;
    use std::os::unix::fs::PermissionsExt;

    /// What is said in a folder in which there are a socket, no secret, an open one and an empty one.
    fn told(log: &str, port: &str) -> String {
        let folder = tempfile::tempdir().unwrap();
        let make = |name: &str, text: &str, mode: u32| {
            let path = folder.path().join(name);
            fs::write(&path, text).unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
        };
        make("open.secret", "x\n", 0o644);
        make("empty.secret", "\n", 0o600);
        make("good.secret", "x\n", 0o600);
        let text = format!(
            "site = \"cellar\"\n[log]\npath = \"{log}\"\n\
             [board.bench]\nsource = \"serial\"\nport = \"{port}\"\n\
             [board.bench.channel.a0]\nfront_end = \"none\"\n\
             [probe.turns]\nboard = \"bench\"\nchannel = \"a0\"\ndriver = \"divider\"\n\
             quantity = \"count\"\nunit = \"1\"\n"
        );
        let outlets = ["none", "open", "empty", "good"].map(|secret| {
            format!(
                "[outlet.{secret}]\nkind = \"mqtt\"\nhost = \"h\"\nuser = \"u\"\n\
                 password_file = \"{secret}.secret\"\n"
            )
        });
        let text = text + &outlets.concat();
        let (config, problems) = config::parse(&text, folder.path());
        assert_eq!(problems, []);
        let remarks = config::remarks(&text, look(&config.unwrap()));
        let shown: Vec<String> = remarks.iter().map(ToString::to_string).collect();
        let base = folder.path().display().to_string();
        shown.join("\n").replace(&base, "FOLDER")
    }

    #[test]
    fn what_is_not_there_or_not_as_it_should_be_is_warned_of() {
        insta::assert_snapshot!(told("night.sqlite", "/dev/serial/by-id/none"), @"
    6:8: warning: board `bench`: `/dev/serial/by-id/none` is not there (not plugged in now?); the service looks for it for as long as it takes
    19:17: warning: outlet `none`: secret file `FOLDER/none.secret`: no such file or directory; check that it exists and that the program's user may read it
    24:17: warning: outlet `open`: secret file `FOLDER/open.secret` can be read by every user of this host; `chmod o-r FOLDER/open.secret`
    29:17: warning: outlet `empty`: secret file `FOLDER/empty.secret` is empty; put the password or token there, alone on the first line
    ");
        insta::assert_snapshot!(told("a/night.sqlite", "open.secret").lines().take(2).collect::<Vec<_>>().join("\n"), @"
    3:8: warning: log: the folder `FOLDER/a` is not there yet; the service makes it; where it should be on a stick, mount that first
    6:8: warning: board `bench`: `FOLDER/open.secret` is no serial port; take the board's name under `/dev/serial/by-id`
    ");
        insta::assert_snapshot!(told("a/b/night.sqlite", "/dev/pts/7").lines().take(2).collect::<Vec<_>>().join("\n"), @"
    3:8: warning: log: the folder `FOLDER/a` is not there; mount what it is on, or make it: the service will not start without it
    6:8: warning: board `bench`: `/dev/pts/7` belongs to a terminal, or to a simulated board that is gone with it; take the board's name under `/dev/serial/by-id`
    ");
    }

    #[test]
    fn a_device_that_is_there_is_not_warned_of() {
        assert!(!told("night.sqlite", "/dev/null").contains("board"));
    }
}
