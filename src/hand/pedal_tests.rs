#![allow(clippy::unwrap_used)]

use super::*;

/// Bytes of `struct input_event` as Linux 6.1 gave them (tests/live/pedal-vm.sh):
/// four presses of one key of 8 ms each, the second held until it repeated
/// once, the third with a bounce after its release.
const RECORDED: &[&str] = &[
    "27c1066b00000000e3240000000000000100300001000000",
    "27c1066b00000000e3240000000000000000000000000000",
    "27c1066b00000000c0470000000000000100300000000000",
    "27c1066b00000000c0470000000000000000000000000000",
    "27c1066b00000000933b0100000000000100300001000000",
    "27c1066b00000000933b0100000000000000000000000000",
    "27c1066b000000002f3d0100000000000100300002000000",
    "27c1066b000000002f3d0100000000000000000000000000",
    "27c1066b00000000b15e0100000000000100300000000000",
    "27c1066b00000000b15e0100000000000000000000000000",
    "27c1066b00000000994c0200000000000100300001000000",
    "27c1066b00000000994c0200000000000000000000000000",
    "27c1066b000000000c6e0200000000000100300000000000",
    "27c1066b000000000c6e0200000000000000000000000000",
    "27c1066b00000000fb6e0200000000000100300001000000",
    "27c1066b00000000fb6e0200000000000000000000000000",
    "27c1066b000000004c6f0200000000000100300000000000",
    "27c1066b000000004c6f0200000000000000000000000000",
    "27c1066b00000000155d0300000000000100300001000000",
    "27c1066b00000000155d0300000000000000000000000000",
    "27c1066b000000008d7e0300000000000100300000000000",
    "27c1066b000000008d7e0300000000000000000000000000",
];

fn event(hex: &str) -> InputEvent {
    let bytes: Vec<u8> = (0..hex.len())
        .step_by(2)
        .map(|i| u8::from_str_radix(&hex[i..i + 2], 16).unwrap())
        .collect();
    let bytes: [u8; size_of::<libc::input_event>()] = bytes.try_into().unwrap();
    // SAFETY: input_event is plain numbers: any bytes of its size are a valid one.
    let event: libc::input_event = unsafe { std::mem::transmute(bytes) };
    InputEvent::from(event)
}

#[test]
fn recorded_events_give_one_press_each_with_the_kernels_stamp() {
    let mut presses = Presses::new("Test pedal", Rearm::<u16>::DEVICE_MS);
    let got: Vec<HandEvent> = RECORDED
        .iter()
        .filter_map(|h| presses.take(event(h)))
        .collect();
    // Seconds and microseconds unpacked by Python's struct ("<qqHHi").
    let at: Vec<i64> = [9_443, 80_787, 150_681, 220_437]
        .iter()
        .map(|us| 1_795_604_775_000_000_000 + us * 1_000)
        .collect();
    assert_eq!(got.iter().map(|e| e.mono_ns).collect::<Vec<_>>(), at);
    // linux/input-event-codes.h: KEY_B is 48.
    assert!(got.iter().all(|e| e.key == Key::Code(48)));
    assert!(
        got.iter()
            .all(|e| e.source == Source::Device("Test pedal".into()))
    );
}

#[test]
fn without_a_rest_the_bounce_is_a_press_too() {
    let mut presses = Presses::new("Test pedal", 0.0);
    let count = RECORDED
        .iter()
        .filter_map(|h| presses.take(event(h)))
        .count();
    assert_eq!(count, 5);
}

#[test]
fn a_pedal_that_is_not_there_is_a_sentence() {
    let error = Pedal::open("No pedal of this name", false).err().unwrap();
    assert!(error.to_string().contains("docs/pedal.md"), "{error}");
}
