//! Round trips, and decoders that are handed anything at all.

#![allow(clippy::unwrap_used)]

use super::*;
use nightbench_driver::host::View;
use proptest::prelude::*;
use std::io::Cursor;

fn leaked(bytes: &[u8]) -> &'static [u8] {
    Box::leak(bytes.to_vec().into_boxed_slice())
}

fn declared() -> Vec<Declaration> {
    [
        &nightbench_thermistor::TABLE,
        &nightbench_photoresistor::TABLE,
        &nightbench_divider::TABLE,
    ]
    .into_iter()
    .map(|table| Declaration::of(&View::new(table).unwrap()))
    .collect()
}

fn hello(declaration: &Declaration) -> Vec<u8> {
    let mut frame = Frame::default();
    Hello::begin(&mut frame, &["a net".to_owned()]);
    encode_declaration(&mut frame, declaration);
    frame.body().to_vec()
}

/// Every decoder, on the same bytes; nothing but an answer or a refusal may come of it.
fn decode_all(bytes: &[u8]) {
    let _ = Start::decode(bytes);
    let _ = Hello::decode(bytes);
    if let Ok(call) = Call::decode(bytes) {
        assert!(call.lists().is_ok());
    }
    let _ = Answer::decode(bytes);
    let _ = Declaration::decode(leaked(bytes));
}

#[test]
fn what_the_shipped_drivers_declare_comes_through() {
    for declaration in declared() {
        let bytes = hello(&declaration);
        let hello = Hello::decode(&bytes).unwrap();
        assert_eq!(hello.missing, ["a net"]);
        let again = Declaration::decode(leaked(hello.outcome.unwrap())).unwrap();
        assert_eq!(again, declaration);
    }
}

#[test]
fn a_refusal_comes_through() {
    let mut frame = Frame::default();
    Hello::begin(&mut frame, &[]);
    Hello::refuse(&mut frame, "no table");
    let hello = Hello::decode(frame.body()).unwrap();
    assert_eq!((hello.missing.len(), hello.outcome), (0, Err("no table")));
}

#[test]
fn another_version_is_refused_before_anything_is_read() {
    let mut frame = Frame::default();
    frame.begin().count(VERSION + 1).count(0).count(0);
    assert_eq!(Start::decode(frame.body()), Err(Malformed));
    assert_eq!(Hello::decode(frame.body()), Err(Malformed));
}

#[test]
fn a_length_beyond_the_bound_or_a_second_frame_is_refused() {
    let long = u32::try_from(LARGEST + 1).unwrap().to_le_bytes();
    let two = [1, 0, 0, 0, 7, 9];
    for bytes in [&long[..], &two] {
        let mut room = Vec::new();
        let refused = receive(&mut Cursor::new(bytes), &mut room, || Ok(()));
        assert_eq!(refused.unwrap_err().kind(), io::ErrorKind::InvalidData);
    }
}

#[test]
fn an_end_within_a_frame_is_an_end() {
    for bytes in [&[][..], &[1, 0], &[2, 0, 0, 0, 7]] {
        let mut room = Vec::new();
        let ended = receive(&mut Cursor::new(bytes), &mut room, || Ok(()));
        assert_eq!(ended.unwrap_err().kind(), io::ErrorKind::UnexpectedEof);
    }
}

/// Gives a stream byte by byte.
struct Trickle<'a>(&'a [u8]);

impl Read for Trickle<'_> {
    fn read(&mut self, room: &mut [u8]) -> io::Result<usize> {
        let one = self.0.len().min(1);
        self.0.read(&mut room[..one])
    }
}

#[test]
fn a_frame_that_trickles_in_is_given_up_when_told_to() {
    let bytes = [2, 0, 0, 0, 7, 8];
    let mut asked = 0;
    let mut room = Vec::new();
    let whole = receive(&mut Trickle(&bytes), &mut room, || {
        asked += 1;
        Ok(())
    });
    assert_eq!((whole.unwrap(), asked), (&[7, 8][..], 5));
    let late = receive(&mut Trickle(&bytes), &mut room, || {
        Err(io::ErrorKind::TimedOut.into())
    });
    assert_eq!(late.unwrap_err().kind(), io::ErrorKind::TimedOut);
}

fn bits(numbers: impl IntoIterator<Item = f64>) -> Vec<u64> {
    numbers.into_iter().map(f64::to_bits).collect()
}

proptest! {
    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        decode_all(&bytes);
        let _ = receive(&mut Cursor::new(&bytes), &mut Vec::new(), || Ok(()));
    }

    #[test]
    fn a_frame_with_some_bytes_changed_is_read_or_refused(
        which in 0..3_usize,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut bytes = hello(&declared()[which]);
        for (index, byte) in changes {
            let at = index.index(bytes.len());
            bytes[at] = byte;
        }
        decode_all(&bytes);
        decode_all(&bytes[..cut.index(bytes.len())]);
        if let Ok(Hello { outcome: Ok(declaration), .. }) = Hello::decode(&bytes) {
            let _ = Declaration::decode(leaked(declaration));
        }
    }

    #[test]
    fn a_call_comes_through_bit_for_bit(
        parameters in prop::collection::vec(prop::collection::vec(any::<f64>(), 0..4), 0..6),
        nodes in prop::collection::vec(any::<f64>(), 0..5),
        inputs in prop::collection::vec(any::<u64>().prop_map(f64::from_bits), 0..9),
        free in any::<u32>(),
    ) {
        let boxed: Vec<Box<[f64]>> = parameters.iter().map(|one| one.clone().into()).collect();
        let mut frame = Frame::default();
        Call::begin(&mut frame, (What::Misfit, free), &boxed, &[(1, 0.5)]);
        Call::end(&mut frame, &nodes, &inputs, &[]);
        let call = Call::decode(frame.body()).unwrap();
        prop_assert_eq!((call.what, call.number, call.values.len()), (What::Misfit, free, 0));
        prop_assert_eq!(bits(call.inputs.iter()), bits(inputs));
        prop_assert_eq!(bits(call.nodes.iter()), bits(nodes));
        let mut wanted = parameters;
        if let Some(second) = wanted.get_mut(1) {
            *second = vec![0.5];
        }
        let got = call.lists().unwrap();
        prop_assert_eq!(got.concat().len(), wanted.concat().len());
        prop_assert_eq!(bits(got.concat()), bits(wanted.concat()));
    }

    #[test]
    fn an_answer_comes_through_bit_for_bit(
        status in any::<i32>(),
        text in "\\PC{0,20}",
        values in prop::collection::vec(any::<u64>().prop_map(f64::from_bits), 0..9),
    ) {
        let mut frame = Frame::default();
        Answer::encode(&mut frame, status, &text, [&values, &values]);
        let answer = Answer::decode(frame.body()).unwrap();
        prop_assert_eq!((answer.status, answer.text), (status, text.as_str()));
        let (first, second) = answer.numbers.split(values.len()).unwrap();
        prop_assert_eq!(bits(first.iter()), bits(values));
        prop_assert_eq!(first, second);
    }

    #[test]
    fn a_frame_goes_through_a_stream_whatever_its_size(body in prop::collection::vec(any::<f64>(), 0..2000)) {
        let mut frame = Frame::default();
        frame.begin().numbers(&body);
        let mut stream = Vec::new();
        frame.send(&mut stream).unwrap();
        let mut room = Vec::new();
        let came = receive(&mut Cursor::new(stream), &mut room, || Ok(())).unwrap();
        prop_assert_eq!(came, frame.body());
    }
}
