//! Two named pipes: the fastest way to an emulated board, whose clock stands still while the host works.

use std::io::{self, Read, Write};
use std::path::Path;

#[cfg(unix)]
mod chosen {
    use std::fs::{File, OpenOptions};
    use std::os::unix::fs::OpenOptionsExt;
    use std::thread::sleep;
    use std::time::{Duration, Instant};

    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    use rustix::fs::OFlags;

    use super::super::port::SILENCE;
    use super::*;

    /// How often the other end is looked for.
    const LOOK_AGAIN: Duration = Duration::from_millis(10);
    const LIMIT: Timespec = Timespec { tv_sec: SILENCE.as_secs() as i64, tv_nsec: 0 };

    /// The host's ends.
    pub struct Pipes {
        to_board: File,
        from_board: File,
    }

    impl Pipes {
        /// Waits for the emulator to open its ends.
        ///
        /// # Errors
        /// When a pipe is not there, or nobody opens it in time.
        pub fn open(folder: &Path) -> io::Result<Self> {
            // Without waiting: a pipe without a reader is told from one with.
            let flags = OFlags::NONBLOCK.bits().cast_signed();
            let from_board = OpenOptions::new().read(true).custom_flags(flags).open(folder.join("board.out"))?;
            let begun = Instant::now();
            loop {
                match OpenOptions::new().write(true).custom_flags(flags).open(folder.join("board.in")) {
                    Ok(to_board) => return Ok(Pipes { to_board, from_board }),
                    Err(error) if begun.elapsed() > SILENCE => return Err(error),
                    Err(error) if error.kind() == io::ErrorKind::NotFound => return Err(error),
                    Err(_) => sleep(LOOK_AGAIN),
                }
            }
        }
    }

    impl Read for Pipes {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            let mut waiting = [PollFd::new(&self.from_board, PollFlags::IN)];
            match poll(&mut waiting, Some(&LIMIT))? {
                0 => Err(io::ErrorKind::TimedOut.into()),
                _ => self.from_board.read(into),
            }
        }
    }

    impl Write for Pipes {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.to_board.write(bytes)
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }
}

#[cfg(not(unix))]
mod chosen {
    use super::*;

    /// There are none here.
    pub enum Pipes {}

    impl Pipes {
        /// # Errors
        /// Always.
        pub fn open(_: &Path) -> io::Result<Self> {
            Err(io::ErrorKind::Unsupported.into())
        }
    }

    impl Read for Pipes {
        fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
            match *self {}
        }
    }

    impl Write for Pipes {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            match *self {}
        }

        fn flush(&mut self) -> io::Result<()> {
            match *self {}
        }
    }
}

pub use chosen::Pipes;
