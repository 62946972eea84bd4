//! A flight computer on a board: the host's end of the link.
//!
//! The format is [`evenkeel_controller::link`], its specification docs/link.md.

mod address;
mod compare;
mod computer;
mod connection;
mod constants;
mod error;
mod facts;
mod fields;
mod flight;
mod pipes;
mod port;
mod watch;

pub use address::Address;
pub use compare::{Difference, difference};
pub use computer::{BoardComputer, OnBoard};
pub use connection::Connection;
pub use constants::{constants, craft_fingerprint};
pub use error::{BoardError, Waiting};
pub use facts::flight_computer_config;
pub use flight::{FlownOnBoard, fly_on_board, fly_on_board_into};
pub use watch::Watch;
