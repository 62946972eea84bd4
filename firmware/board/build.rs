//! Linker script and memory of the emulated board, for the program alone. Put your own part's memory here.

use std::path::PathBuf;
use std::{env, fs};

/// Cortex-M4F: the emulator's mps2-an386.
const MEMORY_M4: &str =
    "MEMORY\n{\n  FLASH : ORIGIN = 0x00000000, LENGTH = 4M\n  RAM : ORIGIN = 0x20000000, LENGTH = 4M\n}\n";
/// Cortex-M0: the emulator's lm3s6965evb.
const MEMORY_M0: &str =
    "MEMORY\n{\n  FLASH : ORIGIN = 0x00000000, LENGTH = 256K\n  RAM : ORIGIN = 0x20000000, LENGTH = 64K\n}\n";

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rustc-check-cfg=cfg(cortex_m0)");
    let target = env::var("TARGET").expect("cargo sets TARGET");
    if !target.starts_with("thumb") {
        return;
    }
    let cortex_m0 = target.starts_with("thumbv6m");
    if cortex_m0 {
        println!("cargo:rustc-cfg=cortex_m0");
    }
    let memory = if cortex_m0 { MEMORY_M0 } else { MEMORY_M4 };
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("memory.x"), memory).expect("the build folder can be written");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    if env::var_os("CARGO_FEATURE_DEFMT").is_some() {
        println!("cargo:rustc-link-arg-bins=-Tdefmt.x");
    }
}
