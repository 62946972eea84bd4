//! The flying code of one craft as a program that only has to link.

use core::hint::black_box;

use evenkeel_controller::{
    Controller, ControllerState, FlightComputer, FlightState, PilotDemand, Sample, Sensed, Setpoint,
};
use evenkeel_mixer::Mixer;

/// Holds in the program what is called between one sample and the next for a craft of this size, and
/// not the constructors, which run before.
pub fn hold<const N: usize, const F: usize>() {
    black_box(Mixer::<f32, N, F>::allocate as fn(&_, _) -> _);
    black_box(Mixer::<f32, N, F>::commands as fn(&_, &_) -> _);
    black_box(
        Controller::<f32>::step::<N, F, 0>
            as fn(&_, &mut ControllerState<f32>, &Sensed<f32>, &Setpoint<f32>, &Mixer<f32, N, F>) -> _,
    );
}

/// Holds the rest that flies: a flight computer's step, and limits that change in flight.
pub fn hold_the_rest<const N: usize, const F: usize>() {
    black_box(
        FlightComputer::<f32>::step::<N, F, 0>
            as fn(&_, &mut FlightState<f32, N>, &Sample<f32, N>, &PilotDemand<f32>, &mut Mixer<f32, N, F>) -> _,
    );
    black_box(Mixer::<f32, N, F>::allocate_with_rise as fn(&_, _, _) -> _);
    black_box(Mixer::<f32, N, F>::scale_ceilings as fn(&mut _, _) -> _);
    black_box(Mixer::<f32, N, F>::set_limits as fn(&mut _, _, _, _) -> _);
    black_box(Mixer::<f32, N, F>::fail_rotor as fn(&mut _, _) -> _);
    black_box(Mixer::<f32, N, F>::control_margin_nm as fn(&_, _) -> _);
    black_box(Mixer::<f32, N, F>::control_authority_index as fn(&_, _) -> _);
}

/// A program with what this function of [`crate::linked`] holds for this many rotors. Where a panic can be
/// reached the link fails: its handler calls what does not exist.
#[macro_export]
macro_rules! linked_program {
    ($hold:ident, $rotors:literal) => {
        #[cortex_m_rt::entry]
        fn main() -> ! {
            $crate::linked::$hold::<$rotors, { $crate::crafts::default_order_facets($rotors) }>();
            loop {
                cortex_m::asm::nop();
            }
        }

        #[panic_handler]
        #[allow(unsafe_code, reason = "a function that does not exist can be declared in no other way")]
        fn panic(_: &core::panic::PanicInfo) -> ! {
            unsafe extern "C" {
                fn a_panic_can_be_reached() -> !;
            }
            // SAFETY: a program that has this call does not link.
            unsafe { a_panic_can_be_reached() }
        }
    };
}
