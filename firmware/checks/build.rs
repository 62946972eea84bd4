//! The linker script and the memory of the emulated board, for this package's programs alone.

use std::path::PathBuf;
use std::{env, fs};

const MEMORY: &str =
    "MEMORY\n{\n  FLASH : ORIGIN = 0x00000000, LENGTH = 4M\n  RAM : ORIGIN = 0x20000000, LENGTH = 4M\n}\n";

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    if !env::var("TARGET").is_ok_and(|target| target.starts_with("thumb")) {
        return;
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("memory.x"), MEMORY).expect("the build folder can be written");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
}
