//! Whether a broker lets a board's lines be read: connected and subscribed once, under a client
//! identifier of its own, and left again.

use super::session::{Session, Signal};
use super::{CONNECT_WITHIN_S, options, trouble};
use crate::config::Subscription;

/// Connects, and subscribes unless that would take messages away from others.
///
/// # Errors
/// Why not, in words.
pub async fn subscribe_once(subscription: &Subscription) -> Result<(), String> {
    let mut session = Session::open(options::build(subscription)?, CONNECT_WITHIN_S);
    let outcome = converse(&mut session, subscription).await;
    session.leave();
    session.end().await;
    let broker = trouble::broker(subscription);
    outcome.map_err(|why| format!("broker {broker}: {why}"))
}

async fn converse(session: &mut Session, subscription: &Subscription) -> Result<(), String> {
    loop {
        match session.next().await {
            // Of a shared subscription each message goes to one subscriber only (MQTT 5.0, 4.8.2).
            Signal::Connected if subscription.topic.starts_with("$share/") => return Ok(()),
            Signal::Connected => session.subscribe(&subscription.topic),
            Signal::Subscribed(true) => return Ok(()),
            Signal::Subscribed(false) => return Err(trouble::no_subscription(subscription)),
            Signal::Message(_) => {}
            Signal::Lost(error) => return Err(trouble::of(&error, subscription)),
            Signal::Left | Signal::Ended => return Err("the connection is gone".to_owned()),
        }
    }
}
