//! How deep the stack went, with the feature `stack`; without it nothing is left of this.
//!
//! What lies below the stack is painted before the set-up and again before the flight; the lowest word that lost its
//! paint says how deep each went. The emulator writes both to the file `board.stack`, as two 32-bit numbers, lowest
//! byte first.

#[cfg(feature = "stack")]
mod chosen {
    #![allow(unsafe_code, reason = "memory below the stack, the linker's symbol, and a call to the emulator")]

    use core::sync::atomic::{AtomicU32, Ordering};

    use cortex_m::register::msp;
    use cortex_m_semihosting::syscall;

    /// What nothing else writes.
    const PAINT: u32 = 0x7e57_57ac;
    /// So far down it is painted, bytes; several times what the program takes.
    const PAINTED: u32 = 40 * 1024;
    /// Left as it is below the stack's end, for the painter itself, bytes.
    const OWN: u32 = 128;
    /// Mode of SYS_OPEN: that of the C library's fopen, "wb".
    const WRITE: usize = 5;

    static SET_UP: AtomicU32 = AtomicU32::new(0);
    static LOWEST_PAINTED: AtomicU32 = AtomicU32::new(0);

    unsafe extern "C" {
        /// The stack's upper end, from the linker script.
        static _stack_start: u32;
    }

    /// Paints what lies below the stack.
    #[inline(never)]
    pub fn paint() {
        let top = (msp::read() - OWN) & !3;
        let lowest = top - PAINTED;
        LOWEST_PAINTED.store(lowest, Ordering::Relaxed);
        for address in (lowest..top).step_by(4) {
            // SAFETY: RAM below the stack, and above all statics: the board has more than this.
            unsafe { (address as *mut u32).write_volatile(PAINT) };
        }
    }

    /// The set-up is done: notes how deep it went, and paints anew.
    #[inline(never)]
    pub fn set_up_done() {
        SET_UP.store(deepest(), Ordering::Relaxed);
        paint();
    }

    /// Bytes from the stack's upper end to the lowest word without paint.
    fn deepest() -> u32 {
        let mut address = LOWEST_PAINTED.load(Ordering::Relaxed);
        // SAFETY: painted before; above it is the stack itself, whose last word ends the search.
        while unsafe { (address as *const u32).read_volatile() } == PAINT {
            address += 4;
        }
        let top = &raw const _stack_start as u32;
        top - address
    }

    /// Writes what was found.
    pub fn tell() {
        let mut bytes = [0; 8];
        let (set_up, flight) = (SET_UP.load(Ordering::Relaxed).to_le_bytes(), deepest().to_le_bytes());
        for (slot, byte) in bytes.iter_mut().zip(set_up.into_iter().chain(flight)) {
            *slot = byte;
        }
        let name = c"board.stack";
        // SAFETY: the emulator reads a text that ends in 0, and then these bytes.
        unsafe {
            let file = syscall!(OPEN, name.as_ptr(), WRITE, name.to_bytes().len());
            syscall!(WRITE, file, bytes.as_ptr(), bytes.len());
            syscall!(CLOSE, file);
        }
    }
}

#[cfg(not(feature = "stack"))]
mod chosen {
    pub fn paint() {}
    pub fn set_up_done() {}
    #[cfg_attr(not(feature = "pipes"), allow(dead_code, reason = "a link that ends has pipes"))]
    pub fn tell() {}
}

pub use chosen::*;
