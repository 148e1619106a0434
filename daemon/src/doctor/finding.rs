//! What was found: how bad it is, where, what, and what to do about it. Plain values.

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// As it should be.
    Ok,
    /// The night can go well, but something would make that surer.
    Advice,
    /// Something will not work, or can take readings with it.
    Wrong,
}

impl Severity {
    /// As it stands in what is printed.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ok => "ok",
            Self::Advice => "advice",
            Self::Wrong => "wrong",
        }
    }
}

/// One thing that was looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// How bad it is.
    pub severity: Severity,
    /// Where: ``board `bench` ``.
    pub place: String,
    /// What was found.
    pub what: String,
    /// What to do; empty where nothing is to be done.
    pub remedy: String,
}

impl Finding {
    /// All is well.
    pub fn ok(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self::new(Severity::Ok, place, what, "")
    }

    /// The night can go well, but.
    pub fn advice(
        place: impl Into<String>,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self::new(Severity::Advice, place, what, remedy)
    }

    /// This goes wrong.
    pub fn wrong(
        place: impl Into<String>,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self::new(Severity::Wrong, place, what, remedy)
    }

    /// From a message of another part of the program, `what happened; what to do`. Where it ends
    /// with what happened, `otherwise` is what to do.
    pub fn told(
        severity: Severity,
        place: impl Into<String>,
        message: &str,
        otherwise: &str,
    ) -> Self {
        let (what, remedy) = message.split_once("; ").unwrap_or((message, otherwise));
        Self::new(severity, place, what, remedy)
    }

    fn new(
        severity: Severity,
        place: impl Into<String>,
        what: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            severity,
            place: place.into(),
            what: what.into(),
            remedy: remedy.into(),
        }
    }
}

/// What was looked at together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Section {
    /// The configuration file.
    Configuration,
    /// The host's clock.
    Clock,
    /// The log and the medium under it.
    Log,
    /// Serial ports, where there is no configuration.
    Ports,
    /// Boards.
    Boards,
    /// Outlets.
    Outlets,
    /// Certificates.
    Certificates,
    /// Secrets.
    Secrets,
    /// The service manager.
    Service,
    /// Alarms.
    Alarms,
}

impl Section {
    /// As it stands in what is printed.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Configuration => "configuration",
            Self::Clock => "clock",
            Self::Log => "log",
            Self::Ports => "ports",
            Self::Boards => "boards",
            Self::Outlets => "outlets",
            Self::Certificates => "certificates",
            Self::Secrets => "secrets",
            Self::Service => "service",
            Self::Alarms => "alarms",
        }
    }
}

/// Everything that was found, in the order in which it is told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// The sections.
    pub chapters: Vec<(Section, Vec<Finding>)>,
    /// What was left behind at receivers, each in words.
    pub left: Vec<String>,
}

impl Report {
    /// All findings with their sections.
    pub fn findings(&self) -> impl Iterator<Item = (Section, &Finding)> {
        let chapters = self.chapters.iter();
        chapters.flat_map(|(section, findings)| findings.iter().map(move |it| (*section, it)))
    }

    /// How many findings are so bad.
    #[must_use]
    pub fn count(&self, severity: Severity) -> usize {
        let findings = self.findings();
        findings.filter(|(_, it)| it.severity == severity).count()
    }

    /// Whether something is wrong.
    #[must_use]
    pub fn is_wrong(&self) -> bool {
        self.count(Severity::Wrong) > 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_is_cut_where_it_begins_to_say_what_to_do() {
        let told = |message| Finding::told(Severity::Wrong, "here", message, "start it");
        let cases = [
            (
                "no permission; join; then wait",
                "no permission",
                "join; then wait",
            ),
            ("connection refused", "connection refused", "start it"),
        ];
        for (message, what, remedy) in cases {
            let finding = told(message);
            assert_eq!((&*finding.what, &*finding.remedy), (what, remedy));
        }
    }
}
