//! The scene of one test: a folder of its own, boards in it, and the configuration as text, put together
//! from pieces that read as what they set up.
//!
//! The pieces are written out as a person writes them; the program's own types are not used.

use crate::board::Board;
use crate::database::{Database, NAME};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// How often the logs of most scenes commit: short, so that tests need not wait.
pub const COMMIT_MS: u64 = 200;

/// Resistor of every divider in the scenes, ohm.
pub const RESISTOR_OHM: f64 = 10_000.0;

/// A folder, and the configuration so far.
#[derive(Debug)]
pub struct Scene {
    folder: TempDir,
    config: String,
}

impl Scene {
    /// A site `cellar` with a log.
    ///
    /// # Panics
    /// Where no folder can be made.
    #[must_use]
    pub fn new() -> Self {
        Self::committing_every(COMMIT_MS)
    }

    /// As [`Scene::new`], with another commit interval.
    ///
    /// # Panics
    /// Where no folder can be made.
    #[must_use]
    pub fn committing_every(milliseconds: u64) -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder"),
            config: format!(
                "site = \"cellar\"\n\n[log]\npath = \"cellar.sqlite\"\n\
                 commit = \"{milliseconds}ms\"\n"
            ),
        }
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The log's file.
    #[must_use]
    pub fn log(&self) -> PathBuf {
        self.folder().join("cellar.sqlite")
    }

    /// The configuration's file.
    #[must_use]
    pub fn file(&self) -> PathBuf {
        self.folder().join("cellar.toml")
    }

    /// The configuration's text.
    #[must_use]
    pub fn config(&self) -> &str {
        &self.config
    }

    /// Writes the configuration's file.
    ///
    /// # Panics
    /// Where the folder is not writable.
    pub fn write(&self) {
        fs::write(self.file(), &self.config).expect("the folder is writable");
    }

    /// Replaces a piece of the configuration, and writes the file.
    ///
    /// # Panics
    /// Where the piece is not there.
    pub fn change(&mut self, from: &str, to: &str) {
        assert!(self.config.contains(from), "no `{from}` to change");
        self.config = self.config.replace(from, to);
        self.write();
    }

    /// Puts another configuration in place of the one so far.
    pub fn replace(&mut self, config: &str) {
        config.clone_into(&mut self.config);
    }

    /// Adds tables as they stand.
    pub fn add(&mut self, tables: &str) -> &mut Self {
        self.config.push('\n');
        self.config.push_str(tables);
        self
    }

    /// Plugs a board in that writes `name=number` pairs.
    pub fn board(&mut self, name: &str) -> Board {
        self.board_with(name, "silent_after = \"60s\"\n")
    }

    /// Plugs a board in, with more keys for its table.
    ///
    /// # Panics
    /// Never: writing to a text does not fail.
    pub fn board_with(&mut self, name: &str, keys: &str) -> Board {
        let board = Board::plugged_in(name, self.folder());
        let port = board.port().display();
        write!(
            self.config,
            "\n[board.{name}]\nsource = \"serial\"\nport = \"{port}\"\nformat = \"pairs\"\n{keys}"
        )
        .expect("a text takes it");
        board
    }

    /// A divider on a channel, the probe on its low side.
    pub fn divider(&mut self, board: &str, channel: &str, full_scale: u32) -> &mut Self {
        self.add(&format!(
            "[board.{board}.channel.{channel}]\nfront_end = \"divider\"\nprobe_side = \"low\"\n\
             resistor = \"{RESISTOR_OHM} Ohm\"\nfull_scale = {full_scale}\n"
        ))
    }

    /// A channel whose number is taken as it is.
    pub fn bare(&mut self, board: &str, channel: &str) -> &mut Self {
        self.add(&format!(
            "[board.{board}.channel.{channel}]\nfront_end = \"none\"\n"
        ))
    }

    /// A 10 kOhm, 3950 K thermistor by the three Steinhart-Hart coefficients of
    /// `ntc_expected.toml`; `keys` go into the probe's table.
    pub fn thermistor(&mut self, probe: &str, at: (&str, &str), keys: &str) -> &mut Self {
        self.probe(probe, at, "thermistor", keys);
        self.thermistor_parameters(probe)
    }

    /// The same by a driver from a library.
    pub fn thermistor_by(&mut self, driver: &str, at: (&str, &str), probe: &str) -> &mut Self {
        self.probe(probe, at, driver, "");
        self.thermistor_parameters(probe)
    }

    fn thermistor_parameters(&mut self, probe: &str) -> &mut Self {
        self.add(&format!(
            "[probe.{probe}.parameters]\nform = \"steinhart-hart\"\n\
             a = 1.282926065694e-03\nb = 2.078532276332e-04\nc = 2.005478946611e-07\n"
        ))
    }

    /// A photoresistor: 10 kOhm at 10 lx, gamma 0.7.
    pub fn photoresistor(&mut self, probe: &str, at: (&str, &str)) -> &mut Self {
        self.photoresistor_by("photoresistor", at, probe)
    }

    /// The same by a driver from a library.
    pub fn photoresistor_by(&mut self, driver: &str, at: (&str, &str), probe: &str) -> &mut Self {
        self.probe(probe, at, driver, "").add(&format!(
            "[probe.{probe}.parameters]\nr10 = \"10 kOhm\"\ngamma = 0.7\n"
        ))
    }

    /// A plain number through the divider driver: the value is the board's number.
    pub fn number(&mut self, probe: &str, at: (&str, &str)) -> &mut Self {
        let keys = "input = \"number\"\nquantity = \"count\"\nunit = \"1\"\n";
        self.probe(probe, at, "divider", keys)
    }

    /// A probe whose driver, from a library, takes a plain number and needs nothing more.
    pub fn loaded(&mut self, probe: &str, at: (&str, &str), driver: &str) -> &mut Self {
        self.probe(probe, at, driver, "")
    }

    /// A broker on a port of this machine.
    pub fn mqtt(&mut self, outlet: &str, port: u16) -> &mut Self {
        self.add(&format!(
            "[outlet.{outlet}]\nkind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {port}\n"
        ))
    }

    /// The database that takes `/write`.
    pub fn influx(&mut self, outlet: &str, database: &Database) -> &mut Self {
        let url = database.url();
        self.add(&format!(
            "[outlet.{outlet}]\nkind = \"line-protocol\"\nurl = \"{url}\"\ndatabase = \"{NAME}\"\n"
        ))
    }

    /// The database that takes `/api/v2/write`.
    pub fn victoria(&mut self, outlet: &str, database: &Database) -> &mut Self {
        let url = database.url();
        self.add(&format!(
            "[outlet.{outlet}]\nkind = \"line-protocol\"\nurl = \"{url}\"\n\
             org = \"home\"\nbucket = \"night\"\n"
        ))
    }

    /// A probe by any driver, its parameters left out; `keys` go into its table.
    pub fn probe(&mut self, probe: &str, at: (&str, &str), driver: &str, keys: &str) -> &mut Self {
        let (board, channel) = at;
        self.add(&format!(
            "[probe.{probe}]\nboard = \"{board}\"\nchannel = \"{channel}\"\n\
             driver = \"{driver}\"\n{keys}"
        ))
    }
}

impl Default for Scene {
    fn default() -> Self {
        Self::new()
    }
}
