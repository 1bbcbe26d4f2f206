//! Worksheets from a terminal: `worksheet <method> [--steps]` reads one JSON object of inputs per line
//! and answers each with one line, `{"result": …}` or `{"refused": …}`; with `--time`, with the seconds
//! the answer took, `{"seconds": …}`. Without a method it lists them.

use dropwise_core::worksheets::{self, Refusal, Worksheet};
use serde_json::{Value, json};
use std::io::{BufRead, Write};
use std::process::ExitCode;
use std::time::Instant;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let wants = |flag: &str| arguments.iter().any(|argument| argument == flag);
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
    match answer_lines(sheet, wants("--steps"), wants("--time")) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("worksheet: {why}");
            ExitCode::FAILURE
        }
    }
}

fn answer_lines(sheet: &Worksheet, steps: bool, time: bool) -> std::io::Result<()> {
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let answer = match serde_json::from_str(&line?) {
            Ok(inputs) if time => seconds(sheet, &inputs, steps),
            Ok(inputs) => answer(sheet, &inputs, steps),
            Err(error) => refused(&Refusal::new("bad_inputs", error.to_string())),
        };
        serde_json::to_writer(&mut out, &answer)?;
        writeln!(out)?;
    }
    out.flush()
}

fn seconds(sheet: &Worksheet, inputs: &Value, steps: bool) -> Value {
    let start = Instant::now();
    let outcome = std::hint::black_box((sheet.run)(inputs, steps));
    let seconds = start.elapsed().as_secs_f64();
    outcome.map_or_else(|refusal| refused(&refusal), |_| json!({ "seconds": seconds }))
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
