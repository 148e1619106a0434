//! TLS against a real broker: who is trusted, who is let in, and what is said of a certificate that
//! is of no use.

use crate::certificates::{Authority, Signed};
use crate::mosquitto::{Mosquitto, SETTINGS};
use crate::scene::{reading, receiver, settings};
use crate::{later, person};
use nightbench::config::{ClientCertificate, Mqtt, MqttVersion, Tls};
use nightbench::outlet::{Parcel, Receiver, Trouble};
use std::path::Path;
use tempfile::TempDir;

/// A broker behind a certificate, and who signed it.
struct Scene {
    folder: TempDir,
    authority: Authority,
    broker: Mosquitto,
}

impl Scene {
    fn new() -> Self {
        Self::with(|authority, folder| authority.signs("127.0.0.1", folder), "")
    }

    fn with(sign: impl FnOnce(&Authority, &Path) -> Signed, more: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let authority = Authority::new("home", folder.path());
        let server = sign(&authority, folder.path());
        let broker = Mosquitto::start_with(&format!(
            "certfile {}\nkeyfile {}\ncafile {}\n{more}{SETTINGS}",
            server.certificate.display(),
            server.key.display(),
            authority.file.display(),
        ));
        Self {
            folder,
            authority,
            broker,
        }
    }

    fn wants_certificates() -> Self {
        let sign = |authority: &Authority, folder: &Path| authority.signs("127.0.0.1", folder);
        Self::with(sign, "require_certificate true\n")
    }

    fn settings(&self) -> Mqtt {
        Mqtt {
            tls: Some(Tls {
                ca_file: Some(self.authority.file.clone()),
                client: None,
            }),
            ..settings(self.broker.port)
        }
    }

    fn settings_as(&self, client: Signed) -> Mqtt {
        Mqtt {
            tls: Some(Tls {
                ca_file: Some(self.authority.file.clone()),
                client: Some(ClientCertificate {
                    certificate_file: client.certificate,
                    key_file: client.key,
                }),
            }),
            ..settings(self.broker.port)
        }
    }
}

async fn delivers(settings: Mqtt) {
    for version in [MqttVersion::V3, MqttVersion::V5] {
        let mut outlet = receiver(Mqtt {
            version,
            ..settings.clone()
        });
        outlet.connect().await.unwrap();
        outlet.deliver(Parcel::Live(&[reading(1)])).await.unwrap();
        outlet.close().await;
    }
}

/// The same in both versions.
async fn refusal(settings: Mqtt) -> Trouble {
    let mut troubles = Vec::new();
    for version in [MqttVersion::V3, MqttVersion::V5] {
        let mut outlet = receiver(Mqtt {
            version,
            ..settings.clone()
        });
        troubles.push(outlet.connect().await.unwrap_err());
    }
    assert_eq!(troubles[0], troubles[1]);
    troubles.swap_remove(0)
}

#[tokio::test]
async fn a_broker_of_our_own_authority_is_trusted() {
    delivers(Scene::new().settings()).await;
}

#[tokio::test]
async fn a_broker_of_another_authority_gets_nothing_and_a_person_is_told() {
    let scene = Scene::new();
    let other = Authority::new("elsewhere", scene.folder.path());
    let settings = Mqtt {
        tls: Some(Tls {
            ca_file: Some(other.file),
            client: None,
        }),
        ..scene.settings()
    };
    let trouble = refusal(settings).await;
    let expected = format!(
        "broker `127.0.0.1:{}`: the server's certificate is from an authority that this host does \
         not trust; name its authority with `ca_file`",
        scene.broker.port
    );
    assert_eq!(person(&trouble), expected);
}

#[tokio::test]
async fn the_hosts_own_authorities_do_not_know_ours() {
    let scene = Scene::new();
    let settings = Mqtt {
        tls: Some(Tls::default()),
        ..scene.settings()
    };
    let said = person(&refusal(settings).await).to_owned();
    // A host may have no authorities at all: a container mostly has none.
    let expected = [
        "this host does not trust; name",
        "knows no authority for certificates",
    ];
    assert!(expected.iter().any(|words| said.contains(words)), "{said}");
}

#[tokio::test]
async fn a_certificate_for_another_name_is_told() {
    let scene = Scene::with(
        |authority, folder| authority.signs("broker.example", folder),
        "",
    );
    let trouble = refusal(scene.settings()).await;
    assert!(
        person(&trouble).contains("is for another host name; write `host` as"),
        "{trouble}"
    );
}

#[tokio::test]
async fn a_certificate_out_of_its_time_is_told_with_the_clock_and_tried_again() {
    let scene = Scene::with(|it, folder| it.signed_long_ago("127.0.0.1", folder), "");
    let trouble = refusal(scene.settings()).await;
    let words = "has expired; renew it there, or this host's clock is wrong: set it";
    assert!(later(&trouble).contains(words), "{trouble}");
    let scene = Scene::with(|it, folder| it.signs_in_the_future("127.0.0.1", folder), "");
    let trouble = refusal(scene.settings()).await;
    assert!(later(&trouble).contains("is not valid yet; "), "{trouble}");
}

#[tokio::test]
async fn a_broker_that_wants_certificates_lets_ours_in() {
    let scene = Scene::wants_certificates();
    let client = scene.authority.signs("cellar", scene.folder.path());
    delivers(scene.settings_as(client)).await;
}

#[tokio::test]
async fn a_broker_that_wants_certificates_and_gets_none_says_which_keys_to_give() {
    let scene = Scene::wants_certificates();
    let trouble = refusal(scene.settings()).await;
    assert!(
        person(&trouble)
            .contains("wants a certificate from its clients; give `client_certificate_file`"),
        "{trouble}"
    );
}

#[tokio::test]
async fn a_broker_that_does_not_know_our_authority_says_so() {
    let scene = Scene::wants_certificates();
    let other = Authority::new("elsewhere", scene.folder.path());
    let client = other.signs("cellar", scene.folder.path());
    let trouble = refusal(scene.settings_as(client)).await;
    assert!(
        person(&trouble).contains("`client_certificate_file`"),
        "{trouble}"
    );
}

#[tokio::test]
async fn a_renewed_certificate_is_used_at_the_next_connect() {
    let scene = Scene::wants_certificates();
    let old = scene
        .authority
        .signed_long_ago("cellar", scene.folder.path());
    let settings = scene.settings_as(old);
    let trouble = refusal(settings.clone()).await;
    assert!(
        person(&trouble).contains("of `client_certificate_file`"),
        "{trouble}"
    );
    scene.authority.signs("cellar", scene.folder.path());
    delivers(settings).await;
}

#[tokio::test]
async fn a_connection_in_the_clear_to_an_encrypted_port_is_told_what_is_missing() {
    let scene = Scene::new();
    let settings = Mqtt {
        tls: None,
        ..scene.settings()
    };
    let mut outlet = receiver(settings);
    let trouble = outlet.connect().await.unwrap_err();
    assert!(
        later(&trouble).contains("if it wants TLS, write `tls = true`"),
        "{trouble}"
    );
}

#[tokio::test]
async fn an_encrypted_connection_to_a_port_in_the_clear_is_told() {
    let (scene, clear) = (Scene::new(), Mosquitto::start());
    let settings = Mqtt {
        port: clear.port,
        ..scene.settings()
    };
    let trouble = receiver(settings).connect().await.unwrap_err();
    assert!(
        later(&trouble).contains("if it speaks no TLS there, take its port for TLS"),
        "{trouble}"
    );
}
