//! Boards: is what each is read from there, and may it be read? No serial port is opened, because
//! that resets most boards; no program is started.

mod files;
mod modem;
mod network;
mod serial;

use super::bounded;
use super::finding::Finding;
use super::host::{Host, Process};
use crate::config::{Board, Config, PolledFile, Program, Source};
use std::path::{Path, PathBuf};

pub use serial::ports;

/// Looks at every board, all at once; in the order of the configuration.
pub async fn examine(host: &Host, config: &Config, service: Option<&Process>) -> Vec<Finding> {
    let mut looks = Vec::new();
    for board in &config.boards {
        let (board, earlier) = (board.clone(), same_device(config, board));
        let (host, service) = (host.clone(), service.cloned());
        looks.push(tokio::spawn(async move {
            board_findings(&host, &board, earlier, service.as_ref()).await
        }));
    }
    let mut findings = Vec::new();
    for look in looks {
        findings.extend(look.await.unwrap_or_default());
    }
    findings
}

async fn board_findings(
    host: &Host,
    board: &Board,
    same_device: Option<String>,
    service: Option<&Process>,
) -> Vec<Finding> {
    let place = format!("board `{}`", board.name);
    match &board.source {
        Source::Serial { port, .. } => {
            serial::examine(host, &place, &board.name, port, same_device, service)
        }
        Source::Replay { file, .. } => vec![recording(&place, file).await],
        Source::Simulated { .. } => vec![Finding::ok(place, "it is simulated")],
        Source::Mqtt(subscription) => vec![network::subscribed(&place, subscription).await],
        Source::Program(program) => to_be_started(&place, program).await,
        Source::File(polled) => numbers(&place, &polled.files).await,
        Source::Tcp(bridge) => vec![network::bridged(&place, bridge, service).await],
    }
}

async fn recording(place: &str, file: &Path) -> Finding {
    let own = file.to_owned();
    let look = move |place: &str| files::readable(place, &own);
    let found = bounded::examine(place, file, look).await;
    found.unwrap_or_else(|hung| hung)
}

async fn to_be_started(place: &str, program: &Program) -> Vec<Finding> {
    let own = program.clone();
    let look = move |place: &str| files::program(place, &own);
    let found = bounded::examine(place, &program.folder, look).await;
    found.unwrap_or_else(|hung| vec![hung])
}

async fn numbers(place: &str, polled: &[PolledFile]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for file in polled {
        let own = file.clone();
        let look = move |place: &str| files::number(place, &own);
        let found = bounded::examine(place, &file.path, look).await;
        findings.push(found.unwrap_or_else(|hung| hung));
    }
    findings
}

/// The earlier board whose port is the same device under another name.
fn same_device(config: &Config, board: &Board) -> Option<String> {
    let device = |board: &Board| -> Option<PathBuf> {
        match &board.source {
            Source::Serial { port, .. } => port.canonicalize().ok(),
            _ => None,
        }
    };
    let own = device(board)?;
    let mut earlier = config.boards.iter().take_while(|it| it.name != board.name);
    let twin = earlier.find(|it| device(it).as_ref() == Some(&own))?;
    Some(twin.name.clone())
}
