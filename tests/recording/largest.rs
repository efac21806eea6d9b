//! The largest single allocation so far: a small broken file must not make the
//! reader ask for gigabytes.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

/// The system's allocator, watched.
pub struct Watched;

static LARGEST_BYTES: AtomicUsize = AtomicUsize::new(0);

// SAFETY: every call is handed to the system's allocator unchanged.
unsafe impl GlobalAlloc for Watched {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        watch(layout.size());
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        watch(layout.size());
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn realloc(&self, block: *mut u8, layout: Layout, new_size: usize) -> *mut u8 {
        watch(new_size);
        unsafe { System.realloc(block, layout, new_size) }
    }

    unsafe fn dealloc(&self, block: *mut u8, layout: Layout) {
        unsafe { System.dealloc(block, layout) }
    }
}

fn watch(size: usize) {
    LARGEST_BYTES.fetch_max(size, Ordering::Relaxed);
}

/// Bytes of the largest allocation since the start of the program.
pub fn bytes() -> usize {
    LARGEST_BYTES.load(Ordering::Relaxed)
}
