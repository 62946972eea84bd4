//! Bytes to and from a board, whatever lies between.

use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::time::Duration;

use super::address::Address;
use super::error::BoardError;
use super::pipes::Pipes;

/// A board that says nothing for this long while it is asked counts as silent.
pub const SILENCE: Duration = Duration::from_secs(2);

/// A way to a board. Reading waits for [`SILENCE`] at most.
pub trait Port: Read + Write + Send {}

impl<P: Read + Write + Send> Port for P {}

/// Opens the way to a board.
///
/// # Errors
/// When there is none, and why.
pub fn open(address: &Address) -> Result<Box<dyn Port>, BoardError> {
    let cannot = |cause: io::Error| BoardError::Open { address: address.clone(), cause: cause.to_string() };
    match address {
        Address::Serial { path, baud } => match serialport::new(path, *baud).timeout(SILENCE).open_native() {
            Ok(port) => Ok(Box::new(port)),
            Err(cause) => Err(BoardError::Open { address: address.clone(), cause: cause.to_string() }),
        },
        Address::Tcp(place) => tcp(place).map(boxed).map_err(cannot),
        #[cfg(unix)]
        Address::Unix(path) => unix(path).map(boxed).map_err(cannot),
        #[cfg(not(unix))]
        Address::Unix(_) => Err(cannot(io::ErrorKind::Unsupported.into())),
        Address::Pipe(folder) => Pipes::open(folder).map(boxed).map_err(cannot),
    }
}

fn boxed(port: impl Port + 'static) -> Box<dyn Port> {
    Box::new(port)
}

fn tcp(place: &str) -> io::Result<TcpStream> {
    let mut failed = io::Error::from(io::ErrorKind::NotFound);
    for socket in Address::resolve(place)? {
        match TcpStream::connect_timeout(&socket, SILENCE) {
            Ok(stream) => {
                stream.set_nodelay(true)?;
                stream.set_read_timeout(Some(SILENCE))?;
                stream.set_write_timeout(Some(SILENCE))?;
                return Ok(stream);
            }
            Err(error) => failed = error,
        }
    }
    Err(failed)
}

#[cfg(unix)]
fn unix(path: &std::path::Path) -> io::Result<std::os::unix::net::UnixStream> {
    let stream = std::os::unix::net::UnixStream::connect(path)?;
    stream.set_read_timeout(Some(SILENCE))?;
    stream.set_write_timeout(Some(SILENCE))?;
    Ok(stream)
}
