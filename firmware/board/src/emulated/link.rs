//! The emulated board's link: its first serial port, or with the feature `pipes` two files of the emulator's host.

#[cfg(not(feature = "pipes"))]
pub use serial::Link;

#[cfg(feature = "pipes")]
pub use pipes::Link;

#[cfg(not(any(feature = "pipes", cortex_m0)))]
mod serial {
    //! CMSDK UART of mps2 boards. Source: ARM DDI 0479, APB UART (registers from memory).

    const UART: *mut u32 = 0x4000_4000 as *mut u32;
    const STATE: usize = 1;
    const CONTROL: usize = 2;
    const BAUD_DIVIDER: usize = 4;
    const SENDING: u32 = 1;
    const HOLDS_A_BYTE: u32 = 2;

    pub struct Link;

    impl Link {
        pub fn open() -> Option<Self> {
            // SAFETY: these registers are on every mps2 board, and nobody else writes them. 16 is the least divider;
            // the two lowest bits of the control switch sending and receiving on.
            unsafe {
                UART.add(BAUD_DIVIDER).write_volatile(16);
                UART.add(CONTROL).write_volatile(3);
            }
            Some(Link)
        }

        pub fn receive(&mut self, into: &mut [u8]) -> usize {
            let mut count = 0;
            for slot in into {
                // SAFETY: reading the state has no effect; reading the data takes a byte that is there.
                unsafe {
                    if UART.add(STATE).read_volatile() & HOLDS_A_BYTE == 0 {
                        break;
                    }
                    *slot = UART.read_volatile() as u8;
                }
                count += 1;
            }
            count
        }

        pub fn send(&mut self, bytes: &[u8]) {
            for byte in bytes {
                // SAFETY: a byte is written when the one before has left.
                unsafe {
                    while UART.add(STATE).read_volatile() & SENDING != 0 {}
                    UART.write_volatile(u32::from(*byte));
                }
            }
        }
    }
}

#[cfg(all(not(feature = "pipes"), cortex_m0))]
mod serial {
    //! PL011 UART of the lm3s6965evb. Source: ARM DDI 0183 (registers from memory).

    const UART: *mut u32 = 0x4000_c000 as *mut u32;
    const FLAGS: usize = 0x18 / 4;
    const EMPTY: u32 = 1 << 4;
    const FULL: u32 = 1 << 5;

    pub struct Link;

    impl Link {
        pub fn open() -> Option<Self> {
            // The emulator starts with the port switched on.
            Some(Link)
        }

        pub fn receive(&mut self, into: &mut [u8]) -> usize {
            let mut count = 0;
            for slot in into {
                // SAFETY: reading the flags has no effect; reading the data takes a byte that is there.
                unsafe {
                    if UART.add(FLAGS).read_volatile() & EMPTY != 0 {
                        break;
                    }
                    *slot = UART.read_volatile() as u8;
                }
                count += 1;
            }
            count
        }

        pub fn send(&mut self, bytes: &[u8]) {
            for byte in bytes {
                // SAFETY: a byte is written when there is room for it.
                unsafe {
                    while UART.add(FLAGS).read_volatile() & FULL != 0 {}
                    UART.write_volatile(u32::from(*byte));
                }
            }
        }
    }
}

#[cfg(feature = "pipes")]
mod pipes {
    //! Two named pipes in the emulator's folder, by semihosting. The emulated clock stands still while the host
    //! works. Source: ARM, Semihosting for AArch32 and AArch64 (2.0): SYS_OPEN, SYS_READ, SYS_WRITE.

    use core::ffi::CStr;

    use cortex_m_semihosting::syscall;

    /// Modes of SYS_OPEN: those of the C library's fopen, "rb" and "wb".
    const READ: usize = 1;
    const WRITE: usize = 5;

    pub struct Link {
        from_host: usize,
        to_host: usize,
    }

    impl Link {
        pub fn open() -> Option<Self> {
            Some(Link { from_host: file(c"board.in", READ)?, to_host: file(c"board.out", WRITE)? })
        }

        /// Waits for the host, against [`evenkeel_board::board::Board::receive`]: nothing else happens on a board
        /// whose clock stands still.
        pub fn receive(&mut self, into: &mut [u8]) -> usize {
            let wanted = into.len();
            // SAFETY: the emulator writes at most `wanted` bytes to where `into` begins.
            let missing = unsafe { syscall!(READ, self.from_host, into.as_mut_ptr(), wanted) };
            if missing >= wanted {
                // The host has closed its end.
                crate::stack::tell();
                super::super::stop();
            }
            wanted - missing
        }

        pub fn send(&mut self, bytes: &[u8]) {
            // SAFETY: the emulator reads these bytes. A host that has gone is found out when reading.
            unsafe {
                syscall!(WRITE, self.to_host, bytes.as_ptr(), bytes.len());
            }
        }
    }

    fn file(name: &CStr, mode: usize) -> Option<usize> {
        // SAFETY: the emulator reads a text that ends in 0.
        let handle = unsafe { syscall!(OPEN, name.as_ptr(), mode, name.to_bytes().len()) };
        (handle != usize::MAX).then_some(handle)
    }
}
