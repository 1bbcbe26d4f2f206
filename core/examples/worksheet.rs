//! Worksheets from a terminal: `worksheet <method> [--steps]` reads one JSON object of inputs per line
//! and answers each with one line, `{"result": …}` or `{"refused": …}`. Without a method it lists them.

use dropwise_core::worksheets::{self, Refusal, Worksheet};
use serde_json::{Value, json};
use std::io::{BufRead, Write};
use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let steps = arguments.iter().any(|argument| argument == "--steps");
    let Some(method) = arguments.iter().find(|argument| !argument.starts_with("--")) else {
        for sheet in worksheets::all() {
            println!("{:36} {}", sheet.method, sheet.sentence);
        }
        return ExitCode::SUCCESS;
    };
    let Some(sheet) = worksheets::find(method) else {
        eprintln!("worksheet: there is no method {method}; without one, all are listed");
        return ExitCode::FAILURE;
    };
    match answer_lines(sheet, steps) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("worksheet: {why}");
            ExitCode::FAILURE
        }
    }
}

fn answer_lines(sheet: &Worksheet, steps: bool) -> std::io::Result<()> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let answer = match serde_json::from_str(&line?) {
            Ok(inputs) => answer(sheet, &inputs, steps),
            Err(error) => refused(&Refusal::new("bad_inputs", error.to_string())),
        };
        writeln!(out, "{answer}")?;
    }
    out.flush()
}

fn answer(sheet: &Worksheet, inputs: &Value, steps: bool) -> Value {
    match (sheet.run)(inputs, steps) {
        Ok(result) => json!({ "result": result }),
        Err(refusal) => refused(&refusal),
    }
}

fn refused(refusal: &Refusal) -> Value {
    json!({ "refused": {
        "code": refusal.code,
        "sentence": refusal.sentence,
        "pointer": refusal.pointer,
        "details": refusal.details,
    }})
}
