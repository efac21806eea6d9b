//! Listening allocates nothing: every call to the allocator is counted.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod ear_room;

use ear_room::taught;
use marklag::ear::{Ear, Heard};
use marklag::sound::room::{Ball, Clicker, Colour, Dice, Room, bang, speech};
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

struct Counting;

static CALLS: AtomicUsize = AtomicUsize::new(0);

// SAFETY: every call goes to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        CALLS.fetch_add(1, Ordering::Relaxed);
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        CALLS.fetch_add(1, Ordering::Relaxed);
        unsafe { System.dealloc(at, layout) }
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        CALLS.fetch_add(1, Ordering::Relaxed);
        unsafe { System.realloc(at, layout, size) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// The only test in this file, so that no other thread's calls are counted.
#[test]
fn pushing_blocks_allocates_nothing() {
    for rate_hz in [8_000, 44_100, 48_000] {
        let (a, b) = (Clicker::from_seed(5_300), Clicker::from_seed(5_800));
        let profiles = [
            taught("a", &a, 48_000, 5_300),
            taught("b", &b, 48_000, 5_800),
        ];
        let mut room = Room::new(rate_hz, 12.0, 5_300);
        for k in 0..9 {
            room.click(&a, 0.4 + 1.2 * f64::from(k), 0.3);
            room.other_click(&b, 0.9 + 1.2 * f64::from(k), 0.3);
        }
        room.drop_ball(&Ball::from_seed(5_300), 1.0, 0.9, 6, 0.3);
        let mut dice = Dice::new(5_300);
        for k in 0..60 {
            let sound = bang(f64::from(rate_hz), &mut dice);
            room.add(
                (f64::from(rate_hz) * 0.19 * f64::from(k)) as usize,
                &sound,
                0.2,
            );
        }
        let sound = speech(f64::from(rate_hz), 12.0, &mut dice);
        room.add(0, &sound, 0.2);
        room.noise(0.003, Colour::Pink);
        let mut samples = room.finish().samples;
        samples[9_000] = f32::NAN;
        for how_many in 0..=2 {
            let mut ear = Ear::new(rate_hz, &profiles[..how_many]).unwrap();
            let (mut heard, mut marks) = (0usize, 0usize);
            let mut sink = |h: Heard| {
                heard += 1;
                marks += usize::from(h.bridge.is_some());
            };
            let before = CALLS.load(Ordering::Relaxed);
            for block in samples.chunks(480) {
                ear.push(block, &mut sink).unwrap();
            }
            ear.finish(&mut sink).unwrap();
            let calls = CALLS.load(Ordering::Relaxed) - before;
            assert_eq!(calls, 0, "{how_many} taught sounds at {rate_hz} Hz");
            assert!(
                heard > 20 && (how_many == 0 || marks > 3),
                "{heard} heard, {marks} marks"
            );
        }
    }
}
