//! Just enough of MQTT 3.1.1 and 5 to play a broker or a subscriber in tests, written from the
//! standards and sharing nothing with the client library under test. Blocking; panics on what it does not
//! expect.

use std::io::{self, Read, Write};

/// Packet types (MQTT 3.1.1, 2.2.1, table 2.1) in the upper half of the first byte.
pub const CONNECT: u8 = 0x10;
pub const CONNACK: u8 = 0x20;
pub const PUBLISH: u8 = 0x30;
pub const PUBACK: u8 = 0x40;
pub const SUBSCRIBE: u8 = 0x82;
pub const SUBACK: u8 = 0x90;
pub const PINGREQ: u8 = 0xc0;
pub const PINGRESP: u8 = 0xd0;
pub const DISCONNECT: u8 = 0xe0;

/// One control packet.
pub struct Packet {
    pub first: u8,
    pub body: Vec<u8>,
}

/// What a PUBLISH says (3.3).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publish {
    pub topic: String,
    pub payload: Vec<u8>,
    pub qos: u8,
    pub retain: bool,
    pub id: Option<u16>,
    /// Message expiry interval, s (MQTT 5.0, 3.3.2.3.3).
    pub expiry: Option<u32>,
}

/// What a CONNECT says (3.1).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Connect {
    /// 4 is MQTT 3.1.1, 5 is MQTT 5.0.
    pub level: u8,
    pub client_id: String,
    pub clean: bool,
    /// Topic, message, QoS, retained.
    pub will: Option<(String, Vec<u8>, u8, bool)>,
    pub user: Option<String>,
    pub password: Option<Vec<u8>>,
}

impl Packet {
    pub fn kind(&self) -> u8 {
        self.first & 0xf0
    }

    pub fn read(from: &mut impl Read) -> io::Result<Self> {
        let first = byte(from)?;
        let mut length = 0;
        for place in 0..4 {
            let part = byte(from)?;
            length |= usize::from(part & 0x7f) << (7 * place);
            if part & 0x80 == 0 {
                break;
            }
        }
        let mut body = vec![0; length];
        from.read_exact(&mut body)?;
        Ok(Self { first, body })
    }

    pub fn write(first: u8, body: &[u8], to: &mut impl Write) -> io::Result<()> {
        let mut bytes = vec![first];
        let mut length = body.len();
        loop {
            let more = if length > 0x7f { 0x80 } else { 0 };
            bytes.push((length & 0x7f) as u8 | more);
            length >>= 7;
            if length == 0 {
                break;
            }
        }
        bytes.extend_from_slice(body);
        to.write_all(&bytes)
    }

    pub fn publish(&self, level: u8) -> Publish {
        let mut rest = self.body.as_slice();
        let qos = (self.first >> 1) & 3;
        Publish {
            topic: text(&mut rest),
            id: (qos > 0).then(|| number(&mut rest)),
            expiry: (level == 5)
                .then(|| expiry(properties(&mut rest)))
                .flatten(),
            payload: rest.to_vec(),
            qos,
            retain: self.first & 1 == 1,
        }
    }

    pub fn connect(&self) -> Connect {
        let mut rest = self.body.as_slice();
        assert_eq!(text(&mut rest), "MQTT");
        let [level, flags] = [take(&mut rest, 1)[0], take(&mut rest, 1)[0]];
        assert!([4, 5].contains(&level), "MQTT 3.1.1 or 5");
        number(&mut rest); // keep-alive
        let has = |flag: u8| flags & flag != 0;
        let skip_properties = |rest: &mut &[u8]| {
            if level == 5 {
                properties(rest);
            }
        };
        skip_properties(&mut rest);
        Connect {
            level,
            client_id: text(&mut rest),
            clean: has(0x02),
            will: has(0x04).then(|| {
                skip_properties(&mut rest);
                let (topic, message) = (text(&mut rest), bytes(&mut rest));
                (topic, message, (flags >> 3) & 3, has(0x20))
            }),
            user: has(0x80).then(|| text(&mut rest)),
            password: has(0x40).then(|| bytes(&mut rest)),
        }
    }
}

/// Bytes with their length in front (1.5.3).
pub fn prefixed(text: &str) -> Vec<u8> {
    let length = u16::try_from(text.len()).unwrap();
    [&length.to_be_bytes(), text.as_bytes()].concat()
}

fn byte(from: &mut impl Read) -> io::Result<u8> {
    let mut one = [0];
    from.read_exact(&mut one).map(|()| one[0])
}

fn take<'a>(rest: &mut &'a [u8], count: usize) -> &'a [u8] {
    let (taken, left) = rest.split_at(count);
    *rest = left;
    taken
}

fn number(rest: &mut &[u8]) -> u16 {
    u16::from_be_bytes(take(rest, 2).try_into().unwrap())
}

/// Properties with their length in front (MQTT 5.0, 2.2.2); under 128 bytes in these tests.
fn properties<'a>(rest: &mut &'a [u8]) -> &'a [u8] {
    let length = take(rest, 1)[0];
    assert!(length < 0x80);
    take(rest, length.into())
}

fn expiry(properties: &[u8]) -> Option<u32> {
    match properties {
        [] => None,
        [0x02, seconds @ ..] => Some(u32::from_be_bytes(seconds.try_into().unwrap())),
        other => panic!("properties {other:x?}"),
    }
}

fn bytes(rest: &mut &[u8]) -> Vec<u8> {
    let length = number(rest).into();
    take(rest, length).to_vec()
}

fn text(rest: &mut &[u8]) -> String {
    String::from_utf8(bytes(rest)).unwrap()
}
