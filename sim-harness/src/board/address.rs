//! Where a board is.

use std::fmt;
use std::net::ToSocketAddrs;
use std::path::PathBuf;
use std::str::FromStr;

use super::error::BoardError;

/// Bits a second where the address names none.
pub const BAUD_DEFAULT: u32 = 115_200;

/// Where a board is. Written as `tcp:HOST:PORT`, `unix:PATH`, `pipe:FOLDER` (an emulated board's two named pipes),
/// or the path of a serial device with `@BAUD` behind it if need be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Address {
    /// A serial device.
    Serial {
        /// Its path.
        path: String,
        /// Bits a second; USB devices pass over it.
        baud: u32,
    },
    /// A TCP socket, host and port.
    Tcp(String),
    /// A Unix socket.
    Unix(PathBuf),
    /// A folder with the named pipes `board.in` and `board.out`.
    Pipe(PathBuf),
}

impl FromStr for Address {
    type Err = BoardError;

    fn from_str(text: &str) -> Result<Self, BoardError> {
        let wrong = |found: &'static str| BoardError::Address { text: text.to_owned(), found };
        let path = |path: &str, found| match path {
            "" => Err(wrong(found)),
            path => Ok(PathBuf::from(path)),
        };
        match text.split_once(':') {
            Some(("tcp", rest)) => match rest.rsplit_once(':') {
                Some((host, port)) if !host.is_empty() && port.parse::<u16>().is_ok_and(|port| port > 0) => {
                    Ok(Address::Tcp(rest.to_owned()))
                }
                _ => Err(wrong("behind tcp: must stand a host and a port from 1 to 65535, as in tcp:localhost:4000")),
            },
            Some(("unix", rest)) => path(rest, "behind unix: must stand the path of a socket").map(Address::Unix),
            Some(("pipe", rest)) => path(rest, "behind pipe: must stand a folder").map(Address::Pipe),
            _ => serial(text)
                .ok_or_else(|| wrong("a baud rate must be a whole number from 1, as in /dev/ttyUSB0@115200")),
        }
    }
}

fn serial(text: &str) -> Option<Address> {
    let (path, baud) = match text.rsplit_once('@') {
        Some((path, baud)) => (path, baud.parse().ok().filter(|baud| *baud > 0)?),
        None => (text, BAUD_DEFAULT),
    };
    (!path.is_empty()).then(|| Address::Serial { path: path.to_owned(), baud })
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Address::Serial { path, baud: BAUD_DEFAULT } => f.write_str(path),
            Address::Serial { path, baud } => write!(f, "{path}@{baud}"),
            Address::Tcp(place) => write!(f, "tcp:{place}"),
            Address::Unix(path) => write!(f, "unix:{}", path.display()),
            Address::Pipe(path) => write!(f, "pipe:{}", path.display()),
        }
    }
}

impl Address {
    /// Sockets of a TCP address.
    pub(super) fn resolve(place: &str) -> std::io::Result<Vec<std::net::SocketAddr>> {
        Ok(place.to_socket_addrs()?.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_each_kind_when_it_is_written_as_documented() {
        for (text, address) in [
            ("tcp:localhost:4000", Address::Tcp("localhost:4000".into())),
            ("tcp:[::1]:4000", Address::Tcp("[::1]:4000".into())),
            ("unix:/run/board", Address::Unix("/run/board".into())),
            ("pipe:here", Address::Pipe("here".into())),
            ("/dev/ttyACM0", Address::Serial { path: "/dev/ttyACM0".into(), baud: BAUD_DEFAULT }),
            ("/dev/ttyUSB0@921600", Address::Serial { path: "/dev/ttyUSB0".into(), baud: 921_600 }),
            ("COM3", Address::Serial { path: "COM3".into(), baud: BAUD_DEFAULT }),
        ] {
            let read: Address = text.parse().unwrap();
            assert_eq!((&read, read.to_string().as_str()), (&address, text));
        }
    }

    #[test]
    fn says_what_is_wrong_when_it_is_no_address() {
        for text in
            ["", "tcp:", "tcp:host", "tcp::4000", "tcp:host:0", "tcp:host:65536", "unix:", "pipe:", "x@", "x@0", "@9"]
        {
            let error = text.parse::<Address>().unwrap_err();
            assert!(error.before_flight(), "{text}: {error}");
            assert!(error.to_string().starts_with(&format!("--board {text}: ")), "{error}");
        }
    }
}
