//! The capture callback allocates nothing: counted, not read.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use marklag::sound::{Pick, ring};
use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

thread_local! {
    static COUNT: Cell<u64> = const { Cell::new(0) };
}

struct Counting;

// SAFETY: every call is passed on to the system's allocator unchanged.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        COUNT.with(|c| c.set(c.get() + 1));
        // SAFETY: the caller's promises are passed on.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        COUNT.with(|c| c.set(c.get() + 1));
        // SAFETY: the caller's promises are passed on.
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

fn counted(work: impl FnOnce()) -> u64 {
    let before = COUNT.with(Cell::get);
    work();
    COUNT.with(Cell::get) - before
}

#[test]
fn the_callback_allocates_and_frees_nothing_even_when_the_ring_is_full() {
    assert_eq!(
        counted(|| drop(std::hint::black_box(Box::new([1u8; 64])))),
        2,
        "the counter counts"
    );
    for channels in [1, 2] {
        let (mut intake, _reader) = ring(48_000, channels, Pick::Mean);
        let block = vec![1234i16; 640 * usize::from(channels)];
        // 2 s fit; 6 s are sent, more than the stamps' ring holds in blocks of 64 too.
        let count = counted(|| {
            for k in 0..450 {
                intake.take(&block, |s| f32::from(s) / 32768.0, 0.9999, k * 13_333_333);
            }
            for k in 0..5_000 {
                intake.take(&block[..64], |s| f32::from(s) / 32768.0, 0.9999, k);
            }
        });
        assert_eq!(count, 0, "{channels} channels");
        let lost = intake.counters().snapshot().lost;
        assert!(lost > 0, "the ring was full");
    }
}
