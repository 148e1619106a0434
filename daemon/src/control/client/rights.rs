//! Who may talk to the service, for one who may not.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

/// What a user can do who may not connect to this socket.
#[must_use]
pub fn advice(socket: &Path) -> String {
    let shown = socket.display();
    // The socket itself cannot be looked at where its folder may not be entered.
    let seen = socket.ancestors().find_map(|path| fs::metadata(path).ok());
    let names = |file: &str, number: u32| {
        let text = fs::read_to_string(file).unwrap_or_default();
        name_of(&text, number).unwrap_or_else(|| number.to_string())
    };
    let Some(seen) = seen else {
        return format!("you may not connect to `{shown}`; ask as the user who runs the service");
    };
    let user = names("/etc/passwd", seen.uid());
    let group = names("/etc/group", seen.gid());
    worded(&shown.to_string(), &user, &group)
}

fn worded(socket: &str, user: &str, group: &str) -> String {
    format!(
        "you may not connect to `{socket}`, which belongs to user `{user}` and group `{group}`; put \
         `sudo -u {user}` before the command, or add yourself to the group (`sudo usermod -aG {group} \
         $USER`, then log in again)"
    )
}

/// Looks a number up in the text of a user or group file: `name:password:number:…` (passwd(5),
/// group(5)).
fn name_of(text: &str, number: u32) -> Option<String> {
    text.lines().find_map(|line| {
        let mut fields = line.split(':');
        let (name, _password, found) = (fields.next()?, fields.next()?, fields.next()?);
        (found.parse() == Ok(number)).then(|| name.to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn owner_and_group_are_named_with_both_ways_in() {
        let groups = "root:x:0:\nbroken\nnightbench:x:997:anna\n";
        let group = name_of(groups, 997).unwrap_or_default();
        assert_eq!(name_of(groups, 5), None);
        insta::assert_snapshot!(worded("night.sqlite-control", "nightbench", &group), @"you may not connect to `night.sqlite-control`, which belongs to user `nightbench` and group `nightbench`; put `sudo -u nightbench` before the command, or add yourself to the group (`sudo usermod -aG nightbench $USER`, then log in again)");
    }
}
