//! The linker script and the memory of the emulated board, for this package's programs alone; and
//! which compiler it was, for the table.

use std::path::PathBuf;
use std::process::Command;
use std::{env, fs};

const MEMORY: &str =
    "MEMORY\n{\n  FLASH : ORIGIN = 0x00000000, LENGTH = 4M\n  RAM : ORIGIN = 0x20000000, LENGTH = 4M\n}\n";

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("memory.x"), MEMORY).expect("the build folder can be written");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=-Tlink.x");

    let compiler = env::var_os("RUSTC").expect("cargo sets RUSTC");
    let answer = Command::new(compiler).arg("--version").output().expect("the compiler answers");
    let answer = String::from_utf8_lossy(&answer.stdout);
    println!("cargo:rustc-env=COMPILER={}", answer.split(" (").next().unwrap_or_default().trim());
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-env-changed=RUSTC");
}
