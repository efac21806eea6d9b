//! Runs inside the virtual machine of pedal-vm.sh: makes a pedal with the
//! kernel's uinput, presses it at known times, reads it through the program's
//! own path and compares. The device's raw bytes are written in hex too.
#![allow(clippy::unwrap_used, clippy::expect_used)]

#[cfg(not(target_os = "linux"))]
fn main() {}

#[cfg(target_os = "linux")]
fn main() {
    use evdev::uinput::VirtualDevice;
    use evdev::{AttributeSet, EventType, InputEvent, KeyCode};
    use marklag::hand::pedal::{Pedal, devices};
    use marklag::sound::monotonic::mono_ns;
    use std::io::Read;
    use std::thread::sleep;
    use std::time::Duration;

    const NAME: &str = "Test pedal";
    const PRESSES: usize = 40;
    let keys: AttributeSet<KeyCode> = [KeyCode::KEY_B].into_iter().collect();
    let mut made = VirtualDevice::builder()
        .unwrap()
        .name(NAME)
        .with_keys(&keys)
        .unwrap()
        .build()
        .unwrap();
    sleep(Duration::from_millis(500));
    let found = devices();
    println!("devices {found:?}");
    let path = &found.iter().find(|d| d.name == NAME).unwrap().path;
    let missing = Pedal::open("No such pedal", false)
        .err()
        .unwrap()
        .to_string();
    assert!(missing.contains(NAME), "{missing}");

    let mut pedal = Pedal::open(NAME, false).unwrap();
    let mut raw = std::fs::File::open(path).unwrap();
    let key = |value| InputEvent::new(EventType::KEY.0, KeyCode::KEY_B.0, value);
    let mut pressed = Vec::new();
    let mut got = Vec::new();
    let mut bytes = [0; 24 * 40];
    for k in 0..PRESSES {
        if k == 4 {
            // Four presses, one of them held and one bouncing, as the kernel gives them.
            let n = raw.read(&mut bytes).unwrap();
            for event in bytes[..n].chunks(24) {
                let hex: String = event.iter().map(|b| format!("{b:02x}")).collect();
                println!("RAW {hex}");
            }
        }
        pressed.push(mono_ns());
        made.emit(&[key(1)]).unwrap();
        if k == 1 {
            made.emit(&[key(2)]).unwrap(); // held: the kernel's repeat
        }
        sleep(Duration::from_millis(8));
        made.emit(&[key(0)]).unwrap();
        if k == 2 {
            // The contact bounces.
            made.emit(&[key(1)]).unwrap();
            made.emit(&[key(0)]).unwrap();
        }
        pedal.read(Duration::from_millis(20), &mut got).unwrap();
        sleep(Duration::from_millis(60));
    }
    pedal.read(Duration::from_millis(100), &mut got).unwrap();
    assert_eq!(got.len(), PRESSES, "one event a press");
    let mut late: Vec<f64> = got
        .iter()
        .zip(&pressed)
        .map(|(e, p)| (e.mono_ns - p) as f64 / 1e6)
        .collect();
    late.sort_by(f64::total_cmp);
    println!(
        "kernel stamp - press: least {:.3}, median {:.3}, most {:.3} ms",
        late[0],
        late[PRESSES / 2],
        late[PRESSES - 1]
    );
    assert!(
        late[0] >= 0.0 && late[PRESSES / 2] < 5.0,
        "stamps are on CLOCK_MONOTONIC"
    );

    // Grabbed: presses reach one reader alone.
    let mut first = Pedal::open(NAME, true).unwrap();
    let refused = Pedal::open(NAME, true).err().unwrap().to_string();
    assert!(refused.contains("grabbed"), "{refused}");
    got.clear();
    made.emit(&[key(1)]).unwrap();
    made.emit(&[key(0)]).unwrap();
    first.read(Duration::from_millis(200), &mut got).unwrap();
    assert_eq!(got.len(), 1);
    pedal.read(Duration::from_millis(200), &mut got).unwrap();
    assert_eq!(got.len(), 1, "the other reader gets nothing");

    drop(made);
    sleep(Duration::from_millis(200));
    let gone = (0..3).any(|_| first.read(Duration::from_millis(100), &mut got).is_err());
    assert!(gone, "an unplugged pedal is an error");
    println!("PEDAL-OK");
}
