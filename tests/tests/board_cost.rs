//! What the flying code costs on a board, and what it cannot do there: counted by the emulator and read from the
//! linked program, held to firmware/cost/budget.csv.

use std::fmt::Write as _;
use std::fs;

use evenkeel_tests::document::{Document, read, root};
use evenkeel_tests::elf::Program;

/// A figure may be this share above its budget before somebody must look: what a compiler's mood makes of the same code.
const SLACK: f64 = 0.03;
const BUDGET: &str = "firmware/cost/budget.csv";
/// How deep the stack of the painted program went; `emulated_board.rs` writes it.
const STACK: &str = "target/firmware/stack.csv";

/// A figure, what it may be, and what it should be.
#[derive(Clone, Debug, PartialEq)]
struct Line {
    craft: String,
    part: String,
    figure: u64,
    target: Option<u64>,
}

fn lines(text: &str) -> Vec<Line> {
    let mut reader = csv::ReaderBuilder::new().flexible(true).comment(Some(b'#')).from_reader(text.as_bytes());
    let line = |row: csv::StringRecord| Line {
        craft: row[0].to_owned(),
        part: row[1].to_owned(),
        figure: row[2].parse().expect("a whole number"),
        target: row.get(3).filter(|text| !text.is_empty()).map(|text| text.parse().expect("a whole number")),
    };
    reader.records().map(|row| line(row.expect("a row"))).collect()
}

fn program() -> Program {
    Program::read(&root().join("target/firmware/boards/m4-f32-serial"))
}

/// The program whose stack is painted.
fn painted() -> Program {
    Program::read(&root().join("target/firmware/boards/m4-f32-stack"))
}

/// Most stack that a program takes, bytes.
fn whole_stack(program: &Program) -> u64 {
    program.stack(program.find("__cortex_m_rt_main")) + ABOVE_MAIN
}

/// Allowed for what the start-up code has on the stack when it calls the program, bytes.
const ABOVE_MAIN: u64 = 16;
/// The bound is at most this many times what was measured.
const LOOSE: u64 = 3;
/// A port reserves this many times the bound: its drivers and interrupts take stack too.
const RESERVED: u64 = 2;

/// The step of the flying code, as the firmware calls it.
const STEP: &str = "evenkeel_board::flight::Flight>::compute";

/// What the emulator counted, and what the linked program shows.
fn measured() -> Vec<Line> {
    let program = program();
    let step = program.find(STEP);
    let bytes = |part: &str, figure| Line { craft: "quad".into(), part: part.into(), figure, target: None };
    let mut found = lines(&read("target/firmware/cost.csv"));
    found.extend(lines(&read("target/firmware/blocks.csv")));
    found.push(bytes(
        "flash of a step's code (bytes)",
        program.reachable(step).iter().map(|function| function.size).sum(),
    ));
    found.push(bytes("worst-case stack of a step (bytes)", program.stack(step)));
    let whole = whole_stack(&program).max(whole_stack(&painted()));
    found.push(bytes("worst-case stack of the whole program (bytes)", whole));
    found.extend(lines(&read(STACK)));
    found
}

/// The figures above their budgets, in words; and those that nobody has set a budget for.
fn over(measured: &[Line], budget: &[Line]) -> Vec<String> {
    let allowed = |line: &Line| budget.iter().find(|of| of.craft == line.craft && of.part == line.part);
    let complaint = |line: &Line| {
        let Line { craft, part, figure, .. } = line;
        match allowed(line) {
            None => Some(format!("{craft}: {part}: {figure}, and {BUDGET} has no budget for it")),
            Some(of) if *figure as f64 > of.figure as f64 * (1.0 + SLACK) => {
                Some(format!("{craft}: {part}: {figure}, more than 3 % above its budget of {}", of.figure))
            }
            Some(_) => None,
        }
    };
    measured.iter().filter_map(complaint).collect()
}

#[test]
#[ignore = "`.ci/run board` counts on the emulated board first"]
fn costs_no_more_than_its_budget() {
    let measured = measured();
    let budget = lines(&read(BUDGET));
    for line in &measured {
        println!("{}: {}: {}", line.craft, line.part, line.figure);
    }
    if std::env::var_os("BLESS").is_some() {
        write_budget(&measured, &budget);
        return;
    }
    let over = over(&measured, &budget);
    assert!(over.is_empty(), "{}\nif that is meant: BLESS=1 .ci/run board", over.join("\n"));
}

fn write_budget(measured: &[Line], before: &[Line]) {
    let mut text = String::from("# Written by `BLESS=1 .ci/run board`; targets are set by hand and stay.\n");
    text += "craft,part,budget,target\n";
    for line in measured {
        let kept = before.iter().find(|of| of.craft == line.craft && of.part == line.part).and_then(|of| of.target);
        let target = kept.map(|target| target.to_string()).unwrap_or_default();
        let _ = writeln!(text, "{},{},{},{target}", line.craft, line.part, line.figure);
    }
    fs::write(root().join(BUDGET), text).expect("the budget can be written");
}

/// The rows of the first table, for each of these crafts.
const CRAFTS: [&str; 3] = ["quad", "six", "eight"];
const ROWS: [&str; 6] = [
    "rate loop only",
    "full step unsaturated",
    "full step worst saturated",
    "allocation alone unsaturated",
    "allocation alone worst saturated",
    "estimate",
];
/// The blocks of a step, and what each does that the floor's does not; in the order of the step.
const BLOCKS: [(&str, &str); 9] = [
    ("gyro filter", "range of each sample, what is held when one is out of it"),
    ("estimate", "range and finiteness, gates, a heading, the bias' limit, status"),
    (
        "supervisor",
        "64-bit stamps of clock, link and sensors, timers, events, what to answer; with the making of its input",
    ),
    ("battery", "whether the ceilings must move"),
    (
        "shaping and angle loop",
        "three shaped motions with their lag, sines and cosines, the heading's lead; the floor is given the down it wants",
    ),
    (
        "rate loops",
        "integrators that learn after the mixer, set-point weight, feed-forward, expected acceleration, limits",
    ),
    ("inertia", "a whole tensor, not three moments"),
    ("allocation", "whether the demand can be met; the record of the answer"),
    ("thrust curve", "voltage, the guards at 0 and 1"),
];
const STEP_BLOCK: &str = "step: ";
const FLOOR_BLOCK: &str = "floor: ";
const WHOLE: &str = "whole";
const AT_REST: &str = "whole while the angle loop rests";

fn of<'a>(budget: &'a [Line], craft: &str, part: &str) -> &'a Line {
    let line = budget.iter().find(|line| line.craft == craft && line.part == part);
    line.unwrap_or_else(|| panic!("{BUDGET} has no {part} of the {craft}"))
}

fn table<'a>(lines: impl IntoIterator<Item = &'a Line>) -> String {
    let mut table = String::from("| craft | what | budget | target |\n| --- | --- | ---: | ---: |\n");
    for Line { craft, part, figure, target } in lines {
        let target = match target {
            None => String::new(),
            Some(target) if figure <= target => target.to_string(),
            Some(target) => format!("**{target}: missed**"),
        };
        let _ = writeln!(table, "| {craft} | {part} | {figure} | {target} |");
    }
    table
}

#[test]
fn document_shows_the_budget_as_it_is() {
    let budget = lines(&read(BUDGET));
    let mut docs = Document::open("docs/board_cost.md");
    docs.set_block("budget", &table(CRAFTS.iter().flat_map(|craft| ROWS.map(|part| of(&budget, craft, part)))));
    let besides = budget.iter().filter(|line| !ROWS.contains(&line.part.as_str()) && block(line).is_none());
    docs.set_block("besides", &table(besides));
    docs.set_block("blocks", &blocks(&budget));
    docs.settle();
}

/// The block of the step or of the floor that this line is of.
fn block(line: &Line) -> Option<&str> {
    line.part.strip_prefix(STEP_BLOCK).or_else(|| line.part.strip_prefix(FLOOR_BLOCK))
}

/// Where the quad's unsaturated step goes. The rest is what the blocks leave of the whole, which nobody counts.
fn blocks(budget: &[Line]) -> String {
    let known = |name: &str| [WHOLE, AT_REST].contains(&name) || BLOCKS.iter().any(|(block, _)| *block == name);
    let unknown: Vec<&str> = budget.iter().filter_map(block).filter(|name| !known(name)).collect();
    assert!(unknown.is_empty(), "{BUDGET}: no row of the table is for {unknown:?}");
    let figure = |part: &str| budget.iter().find(|line| line.part == part).map(|line| line.figure as i64);
    let of_step = |name: &str| of(budget, "quad", &format!("{STEP_BLOCK}{name}")).figure as i64;
    let of_floor = |name: &str| figure(&format!("{FLOOR_BLOCK}{name}"));
    let (whole, floor) = (of_step(WHOLE), of(budget, "quad", "floor").figure as i64);
    let mut table =
        String::from("| block | instructions | floor | what the rest is for |\n| --- | ---: | ---: | --- |\n");
    for (name, what_for) in BLOCKS {
        let bare = of_floor(name).map(|figure| figure.to_string()).unwrap_or_default();
        let _ = writeln!(table, "| {name} | {} | {bare} | {what_for} |", of_step(name));
    }
    let rest = whole - BLOCKS.iter().map(|(name, _)| of_step(name)).sum::<i64>();
    let rest_of_floor = floor - BLOCKS.iter().filter_map(|(name, _)| of_floor(name)).sum::<i64>();
    let _ = writeln!(table, "| the rest of the step | {rest} | {rest_of_floor} | {WHAT_ELSE} |");
    let _ = writeln!(table, "| **whole** | {whole} | {floor} | |");
    let _ = writeln!(table, "| {AT_REST} | {} | | three steps of four |", of_step(AT_REST));
    table
}

/// What cannot be called by itself.
const WHAT_ELSE: &str = "missed periods, finiteness of what is given, choice of what is asked, reports of stopped rotors, \
    descent, thrust for tilt, the record; less what each block alone needs to fetch and to leave in memory";

#[test]
fn porting_guide_says_how_much_stack_to_reserve() {
    let budget = lines(&read(BUDGET));
    let of = |part: &str| of(&budget, "quad", part).figure;
    let bound = of("worst-case stack of the whole program (bytes)");
    let reserved = (bound * RESERVED).div_ceil(1024);
    let (set_up, flight) = (of("measured stack of the set-up (bytes)"), of("measured stack in flight (bytes)"));
    let mut docs = Document::open("docs/porting.md");
    docs.set_block(
        "stack",
        &format!(
            "The example takes at most {bound} bytes of stack; painted, its set-up took {set_up} and the flights of the check {flight}.\n\
             Reserve {reserved} KiB: {RESERVED} times the bound, for your drivers and interrupts."
        ),
    );
    docs.settle();
}

#[test]
fn complains_when_a_figure_is_more_than_its_slack_above_its_budget() {
    let line = |figure| vec![Line { craft: "quad".into(), part: "step".into(), figure, target: None }];
    assert_eq!(over(&line(1030), &line(1000)), Vec::<String>::new());
    assert_eq!(over(&line(1031), &line(1000)), ["quad: step: 1031, more than 3 % above its budget of 1000"]);
    assert_eq!(over(&line(1), &[]).len(), 1, "what has no budget is found");
}

#[test]
#[ignore = "`.ci/run board` links the firmware first"]
fn nothing_in_the_firmware_can_panic_or_take_memory_from_a_heap() {
    for name in ["m4-f32-serial", "m4-f32-pipes", "m4-f32-stack", "m4-fixed-pipes", "m0-fixed-pipes"] {
        let program = Program::read(&root().join("target/firmware/boards").join(name));
        let bad = ["panicking", "unwrap_failed", "expect_failed", "__rust_alloc", "__rg_alloc", "malloc"];
        let found: Vec<&str> = program.functions().map(|function| function.name.as_str()).collect();
        let found: Vec<&&str> = found.iter().filter(|name| bad.iter().any(|bad| name.contains(bad))).collect();
        assert!(found.is_empty(), "{name}: {found:?}");
        assert!(program.functions().count() > 50, "{name}: its functions were read");
    }
}

#[test]
#[ignore = "`.ci/run board` flies the painted program first"]
fn measured_stack_is_within_its_bound() {
    let bound = whole_stack(&painted());
    let measured = lines(&read(STACK));
    assert_eq!(measured.len(), 2, "set-up and flight");
    for Line { part, figure, .. } in measured {
        println!("{part}: {figure}, bound {bound}");
        assert!(figure <= bound, "{part}: {figure} is above the bound of {bound}");
        assert!(figure >= bound / LOOSE, "{part}: {figure} is far below the bound of {bound}: is it the same program?");
    }
}

/// Functions of a mathematics library, by the names that C and Rust give them.
const LIBRARY: &[&str] = &[
    "sin", "cos", "tan", "asin", "acos", "atan", "atan2", "sqrt", "pow", "exp", "log", "hypot", "fma", "fmod", "floor",
    "ceil", "round", "trunc", "cbrt",
];

/// Whether this is a floating-point operation that the compiler calls because the processor has none.
fn in_software(name: &str) -> bool {
    let aeabi = ["__aeabi_d", "__aeabi_f", "__aeabi_i2d", "__aeabi_i2f", "__aeabi_l2d", "__aeabi_ui2d", "__aeabi_ul2d"];
    aeabi.iter().any(|start| name.starts_with(start)) || name.contains("compiler_builtins::float")
}

#[test]
#[ignore = "`.ci/run board` links the firmware first"]
fn step_calls_no_floating_point_function_that_is_not_ours() {
    let program = program();
    let library = |name: &str| LIBRARY.iter().any(|known| name == *known || name.strip_suffix('f') == Some(known));
    let linked: Vec<&str> = program.functions().map(|function| function.name.as_str()).collect();
    assert!(!linked.iter().any(|name| library(name)), "the program holds a mathematics library");
    let root = program.find(STEP);
    let callers = program.callers(root, in_software);
    assert!(callers.is_empty(), "in a step, these call floating point in software: {callers:?}");
    // Constructors work in f64 before the flight: the search does find such calls where they are.
    assert!(linked.iter().any(|name| in_software(name)), "what is looked for has other names now");
    assert!(program.reachable(root).len() > 1, "what a step calls was read");
}
