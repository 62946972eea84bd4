//! The program for the emulated board. Yours differs in the `Board` it makes and in its panic handler.
#![no_std]
#![no_main]

mod emulated;
mod panic;
mod stack;

use cortex_m_rt::entry;
use emulated::Emulated;
use evenkeel_board::flight::Flight;

#[entry]
fn main() -> ! {
    stack::paint();
    let Some(mut board) = Emulated::take() else { emulated::stop() };
    // Taken by reference: moved out, it would stand on the stack twice.
    let mut made = Flight::new();
    // A craft that makes no sense never flies; nothing else can fail from here on.
    let Ok(flight) = &mut made else { emulated::stop() };
    stack::set_up_done();
    loop {
        flight.turn(&mut board);
    }
}
