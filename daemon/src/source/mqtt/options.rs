//! What the client library is told: address, identity, limits.

use super::{MAX_PACKET_BYTES, trouble};
use crate::config::Subscription;
use crate::outlet::secret::{self, Hidden};
use rumqttc::MqttOptions;
use std::time::Duration;

/// MQTT 3.1.1, 3.1.2.10: whole seconds in two bytes; the library panics under one second.
const KEEP_ALIVE: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(65_535));

/// Everything for one connection; the password is read anew, so that a changed one is picked up.
///
/// # Errors
/// Where the password is of no use, in words.
pub fn build(subscription: &Subscription) -> Result<MqttOptions, String> {
    let Subscription {
        client_id,
        keep_alive,
        ..
    } = subscription;
    let host = trouble::bracketed(&subscription.host);
    let mut options = MqttOptions::new(client_id, host, subscription.port);
    options
        .set_clean_session(true)
        .set_keep_alive((*keep_alive).clamp(KEEP_ALIVE.0, KEEP_ALIVE.1))
        .set_max_packet_size(MAX_PACKET_BYTES, MAX_PACKET_BYTES);
    if let Some(user) = &subscription.user {
        let password = subscription.password.as_ref().map(secret::read);
        let password = password.transpose().map_err(|error| error.to_string())?;
        options.set_credentials(user, password.as_ref().map_or("", Hidden::expose));
    }
    Ok(options)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::tests::subscription;
    use super::*;
    use crate::config::Secret;

    #[test]
    fn a_keep_alive_that_the_library_would_panic_on_is_held_in_bounds() {
        let hasty = Subscription {
            keep_alive: Duration::ZERO,
            ..subscription()
        };
        let options = build(&hasty).unwrap();
        assert_eq!(options.keep_alive(), Duration::from_secs(1));
        assert!(options.clean_session());
        assert_eq!(options.max_packet_size(), MAX_PACKET_BYTES);
    }

    #[test]
    fn a_missing_password_is_told_with_its_file() {
        let subscription = Subscription {
            user: Some("night".to_owned()),
            password: Some(Secret::File("no/such/file".into())),
            ..subscription()
        };
        let trouble = build(&subscription).err().unwrap();
        assert!(trouble.starts_with("secret file `no/such/file`: no such file"));
    }
}
