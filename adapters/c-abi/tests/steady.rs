//! A campaign runs millions of cases: once the buffers have grown, a case allocates nothing here.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};
use trackproof_contract::{Observation, Rig};

#[path = "abi/library.rs"]
mod library;

struct Counting;

static ALLOCATIONS: AtomicUsize = AtomicUsize::new(0);

// SAFETY: every call goes to the system's allocator as it is.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        ALLOCATIONS.fetch_add(1, Ordering::Relaxed);
        // SAFETY: as this function's.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        // SAFETY: as this function's.
        unsafe { System.dealloc(pointer, layout) }
    }

    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, bytes: usize) -> *mut u8 {
        ALLOCATIONS.fetch_add(1, Ordering::Relaxed);
        // SAFETY: as this function's.
        unsafe { System.realloc(pointer, layout, bytes) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

#[test]
fn a_case_allocates_nothing_once_the_buffers_have_grown() {
    let compiled = library::compile(&[]);
    assert_eq!(compiled.run().unwrap().items.len(), 5);
    let mut rig = compiled.open().unwrap().rig(None).unwrap();
    let (case, mut observation) = (library::case(), Observation::new());
    rig.run(&case, &mut observation).unwrap();
    let before = ALLOCATIONS.load(Ordering::Relaxed);
    for _ in 0..100 {
        rig.run(&case, &mut observation).unwrap();
    }
    assert_eq!(ALLOCATIONS.load(Ordering::Relaxed) - before, 0);
}
