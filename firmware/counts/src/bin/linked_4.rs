//! Four rotors: linked, never run.
#![no_std]
#![no_main]

evenkeel_counts::linked_program!(hold, 4);
