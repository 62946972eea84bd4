//! A serial device without a cable: a pseudo-terminal, whose other end is a board.

use std::fs::File;
use std::io::{self, ErrorKind, Read, Write};

use rustix::fs::{OFlags, fcntl_setfl};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

/// The board's end. Reading never waits; dropping it pulls the cable.
pub struct Terminal {
    file: File,
    heard: bool,
}

impl Terminal {
    /// Opens one, and says under which path the host finds the device.
    ///
    /// # Panics
    /// When this machine gives none.
    pub fn open() -> (Terminal, String) {
        let end = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).expect("a pseudo-terminal");
        grantpt(&end).and_then(|()| unlockpt(&end)).expect("the host may open it");
        fcntl_setfl(&end, OFlags::RDWR | OFlags::NONBLOCK).expect("reading does not wait");
        let path = ptsname(&end, Vec::new()).expect("its name").into_string().expect("a plain name");
        (Terminal { file: File::from(end), heard: false }, path)
    }

    /// Waits for the first bytes from the host.
    ///
    /// # Panics
    /// When the device breaks.
    pub fn wait_for_a_word(&mut self) {
        let mut word = [0; 64];
        while let Err(error) = self.read(&mut word) {
            assert_eq!(error.kind(), ErrorKind::WouldBlock);
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
    }
}

impl Read for Terminal {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        match self.file.read(into) {
            // So Linux says that nobody has the device open: not yet, or no more.
            Err(error) if error.raw_os_error() == Some(Errno::IO.raw_os_error()) => match self.heard {
                true => Ok(0),
                false => Err(ErrorKind::WouldBlock.into()),
            },
            Ok(count) => {
                self.heard |= count > 0;
                Ok(count)
            }
            Err(error) => Err(error),
        }
    }
}

impl Write for Terminal {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
