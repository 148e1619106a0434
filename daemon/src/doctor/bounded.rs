//! Looks at files whose medium may not answer: each on a thread of its own, which is left to itself
//! when its time is up, so that the other checks go on and a hung card is said. What the look is for
//! stands beside each check.

use super::finding::Finding;
use std::path::Path;
use std::time::Duration;
use tokio::task::spawn_blocking;
use tokio::time::timeout;

/// Longest wait for a medium: beyond a disk that spins up, or a card that puts itself in order.
const ANSWERS_WITHIN: Duration = Duration::from_secs(20);

/// Looks at `file`; what is to be thought of `place` where its medium does not answer.
///
/// # Errors
/// The finding that says so.
pub async fn examine<T: Send + 'static>(
    place: &str,
    file: &Path,
    look: impl FnOnce(&str) -> T + Send + 'static,
) -> Result<T, Finding> {
    within(ANSWERS_WITHIN, place, file, look).await
}

async fn within<T: Send + 'static>(
    bound: Duration,
    place: &str,
    file: &Path,
    look: impl FnOnce(&str) -> T + Send + 'static,
) -> Result<T, Finding> {
    let own = place.to_owned();
    match timeout(bound, spawn_blocking(move || look(&own))).await {
        Ok(Ok(found)) => Ok(found),
        _ => Err(hung(bound, place, file)),
    }
}

fn hung(bound: Duration, place: &str, file: &Path) -> Finding {
    let (shown, bound) = (file.display(), bound.as_secs_f64());
    Finding::wrong(
        place,
        format!("the medium of `{shown}` does not answer within {bound} s"),
        "read `sudo dmesg`; a card that hangs is dying, and a network folder is worth as much as \
         its server",
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::doctor::finding::Severity;
    use std::sync::mpsc;

    #[tokio::test]
    async fn a_medium_that_hangs_is_said_and_holds_nothing_up() {
        let (release, hangs) = mpsc::channel::<()>();
        let file = Path::new("card/night.sqlite");
        let bound = Duration::from_millis(20);
        let hung = within(bound, "log", file, move |_| hangs.recv()).await;
        let hung = hung.unwrap_err();
        assert_eq!((hung.severity, &*hung.place), (Severity::Wrong, "log"));
        assert_eq!(
            hung.what,
            "the medium of `card/night.sqlite` does not answer within 0.02 s"
        );
        drop(release);
        let found = examine("log", file, str::to_owned).await;
        assert_eq!(found.unwrap(), "log");
    }
}
