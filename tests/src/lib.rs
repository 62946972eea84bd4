//! What the tests of the whole workspace share: outside values, the crafts they are checked on, and
//! documents that must agree with the program.
pub mod corpus;
pub mod document;
pub mod driven_flight;
pub mod elf;
pub mod loop_board;
pub mod reference;
pub mod similar_craft;
pub mod specimen;
pub mod terminal;

/// The README's Rust examples, compiled as tests of the documentation; the ones that end are run.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
pub struct ReadmeExamples;

/// The snippets of docs/porting.md, compiled as tests of the documentation.
#[cfg(doctest)]
#[doc = include_str!("../../docs/porting.md")]
pub struct PortingExamples;
