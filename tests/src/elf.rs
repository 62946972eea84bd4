//! What a linked program can call, and how much stack that takes, read from its disassembly.
//!
//! * Input: an ELF file compiled with `-Zemit-stack-sizes`; llvm-objdump, llvm-readobj and llvm-nm of any version
//! * Math: the stack of a function is its own and the largest of those it calls; without recursion and without calls
//!   through pointers that is a bound

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;

/// A function of the program.
#[derive(Clone, Debug, Default)]
pub struct Function {
    /// Its name, readable.
    pub name: String,
    /// Bytes of code.
    pub size: u64,
    /// Bytes of stack it takes itself; none where nobody says.
    pub stack: Option<u64>,
    /// Addresses of what it calls or jumps to.
    pub calls: BTreeSet<u64>,
    /// It calls through a pointer.
    pub indirect: bool,
}

/// A program's functions by address.
pub struct Program(BTreeMap<u64, Function>);

/// The lowest bit of an address says that the code is Thumb.
const THUMB: u64 = !1;

fn run(tool: &str, arguments: &[&str], elf: &Path) -> String {
    let output = Command::new(tool).args(arguments).arg(elf).output();
    let output = output.unwrap_or_else(|error| panic!("{tool}: {error}"));
    assert!(output.status.success(), "{tool}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn hex(text: &str) -> Option<u64> {
    u64::from_str_radix(text.trim_start_matches("0x"), 16).ok()
}

impl Program {
    /// Reads a program.
    ///
    /// # Panics
    /// If a tool is missing or the file is no program.
    pub fn read(elf: &Path) -> Program {
        let mut program = Program(BTreeMap::new());
        let mut addresses = BTreeMap::new();
        let readable = run("llvm-nm", &["-C", "-S"], elf);
        for (plain, line) in run("llvm-nm", &["-S"], elf).lines().zip(readable.lines()) {
            let parts: Vec<&str> = plain.splitn(4, ' ').collect();
            let name = line.splitn(4, ' ').last().unwrap_or_default();
            if let [address, size, "t" | "T" | "w" | "W", mangled] = parts[..]
                && let (Some(address), Some(size)) = (hex(address), hex(size))
            {
                addresses.insert(mangled.to_owned(), address & THUMB);
                let function = Function { name: name.to_owned(), size, ..Function::default() };
                program.0.insert(address & THUMB, function);
            }
        }
        program.read_stacks(&run("llvm-readobj", &["--stack-sizes"], elf), &addresses);
        program.read_calls(&run("llvm-objdump", &["-d", "--no-show-raw-insn"], elf));
        program
    }

    fn read_stacks(&mut self, text: &str, addresses: &BTreeMap<String, u64>) {
        let mut names: Vec<&str> = Vec::new();
        for line in text.lines().map(str::trim) {
            if let Some((_, list)) = line.split_once("Functions: [").or_else(|| line.split_once("Function: [")) {
                names = list.trim_end_matches(']').split(", ").collect();
            } else if let Some(size) = line.strip_prefix("Size: ").and_then(hex) {
                for address in names.drain(..).filter_map(|name| addresses.get(name)) {
                    if let Some(function) = self.0.get_mut(address) {
                        function.stack = Some(size);
                    }
                }
            }
        }
    }

    fn read_calls(&mut self, text: &str) {
        let mut current = None;
        for line in text.lines() {
            if let Some((address, name)) = line.split_once(" <")
                && name.ends_with(">:")
            {
                // Marks between code and constants stand inside a function.
                current = hex(address).filter(|address| self.0.contains_key(address)).or(current);
                continue;
            }
            let Some((_, instruction)) = line.split_once(':') else { continue };
            let mut words = instruction.split_whitespace();
            let (Some(operation), operand) = (words.next(), words.next().unwrap_or_default()) else { continue };
            let Some(own) = current else { continue };
            let through_pointer =
                operation == "blx" && !operand.starts_with("0x") || operation == "bx" && operand != "lr";
            let target = operation.starts_with('b').then(|| hex(operand)).flatten().map(|to| to & THUMB);
            let target = target.filter(|to| *to != own && self.0.contains_key(to));
            if let Some(function) = self.0.get_mut(&own) {
                function.indirect |= through_pointer;
                function.calls.extend(target);
            }
        }
    }

    /// The one function whose name contains this.
    ///
    /// # Panics
    /// If there is none, or more than one.
    pub fn find(&self, part: &str) -> u64 {
        let found: Vec<(&u64, &Function)> =
            self.0.iter().filter(|(_, function)| function.name.contains(part)).collect();
        match found[..] {
            [(address, _)] => *address,
            _ => panic!("{part} is the name of {} functions: {found:?}", found.len()),
        }
    }

    /// All that can run once this function is called, itself included.
    pub fn reachable(&self, root: u64) -> Vec<&Function> {
        let (mut seen, mut waiting) = (BTreeSet::from([root]), vec![root]);
        while let Some(function) = waiting.pop().and_then(|address| self.0.get(&address)) {
            waiting.extend(function.calls.iter().filter(|call| seen.insert(**call)));
        }
        seen.iter().filter_map(|address| self.0.get(address)).collect()
    }

    /// The functions, among those that can run once `root` is called, that call one of this kind themselves, but for
    /// calls within that kind.
    pub fn callers(&self, root: u64, of: impl Fn(&str) -> bool) -> Vec<&str> {
        let calls =
            |function: &Function| function.calls.iter().filter_map(|call| self.0.get(call)).any(|to| of(&to.name));
        let callers = self.reachable(root).into_iter().filter(|function| !of(&function.name) && calls(function));
        callers.map(|function| function.name.as_str()).collect()
    }

    /// Every function.
    pub fn functions(&self) -> impl Iterator<Item = &Function> {
        self.0.values()
    }

    /// Most stack that this function and all it calls take, bytes.
    ///
    /// # Panics
    /// If there is a recursion, a call through a pointer, or a function whose stack nobody says.
    pub fn stack(&self, root: u64) -> u64 {
        self.stack_below(root, &mut Vec::new(), &mut BTreeMap::new())
    }

    fn stack_below(&self, address: u64, path: &mut Vec<u64>, known: &mut BTreeMap<u64, u64>) -> u64 {
        if let Some(bytes) = known.get(&address) {
            return *bytes;
        }
        let Some(function) = self.0.get(&address) else { panic!("{address:x} is no function") };
        let name = &function.name;
        assert!(!path.contains(&address), "{name} calls itself");
        assert!(!function.indirect, "{name} calls through a pointer");
        // The compiler's own library is written in assembler here and there, with a register or two on the stack.
        let own = function.stack.unwrap_or_else(|| self.stack_of_assembler(name));
        path.push(address);
        let deepest = function.calls.iter().map(|call| self.stack_below(*call, path, known)).max().unwrap_or(0);
        path.pop();
        known.insert(address, own + deepest);
        own + deepest
    }

    fn stack_of_assembler(&self, name: &str) -> u64 {
        assert!(name.starts_with("__aeabi_") || name.starts_with("main"), "nobody says how much stack {name} takes");
        ASSEMBLER_STACK
    }
}

/// Bytes allowed for a function in assembler.
const ASSEMBLER_STACK: u64 = 32;
