//! The program for the emulated board. Yours differs in the `Board` it makes and in its panic handler.
#![no_std]
#![no_main]

mod emulated;
mod panic;

use cortex_m_rt::entry;
use emulated::Emulated;
use evenkeel_board::flight::Flight;

#[entry]
fn main() -> ! {
    let Some(mut board) = Emulated::take() else { emulated::stop() };
    // A craft that makes no sense never flies; nothing else can fail from here on.
    let Ok(mut flight) = Flight::new() else { emulated::stop() };
    loop {
        flight.turn(&mut board);
    }
}
