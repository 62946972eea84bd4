//! What else flies, for eight rotors: linked, never run.
#![no_std]
#![no_main]

evenkeel_counts::linked_program!(hold_the_rest, 8);
