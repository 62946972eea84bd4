//! No panic can be reached, and this is how it shows: the function that the handler calls does not exist, so a program
//! that could call it does not link.
//!
//! While you write your own board, stop the rotors here instead, and come back to this for flight. Logging brings a
//! panic of its own (a log line inside a log line): leave it out for flight.

#[cfg(not(feature = "defmt"))]
#[panic_handler]
#[allow(unsafe_code, reason = "a function that does not exist can be declared in no other way")]
fn panic(_: &core::panic::PanicInfo) -> ! {
    unsafe extern "C" {
        fn a_panic_can_be_reached() -> !;
    }
    // SAFETY: a program that has this call does not link.
    unsafe { a_panic_can_be_reached() }
}

#[cfg(feature = "defmt")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    crate::emulated::stop()
}
