//! `dropwise worksheet`: any computation on its own, one at a time or a line at a time.
//!
//! Ends with 0 when worked out, 2 when the inputs were refused, 64 when they were no JSON.

use dropwise_core::worksheets::{self, Refusal, Worksheet};
use serde_json::{Value, json};
use std::io::{BufRead, BufWriter, Read, Write};
use std::process::ExitCode;

const REFUSED: u8 = 2;
const MALFORMED: u8 = 64;

#[derive(Debug, clap::Args)]
pub(crate) struct WorksheetArguments {
    /// Which computation, e.g. `bottle_filter`; see `--list`.
    #[arg(required_unless_present = "list")]
    method: Option<String>,
    /// List every computation with a sentence.
    #[arg(long)]
    list: bool,
    /// One JSON object per line each way; a refused line answers its problem document.
    #[arg(long)]
    lines: bool,
    /// Show the steps between.
    #[arg(long)]
    steps: bool,
}

pub(crate) fn run(arguments: &WorksheetArguments) -> ExitCode {
    if arguments.list {
        let mut all: Vec<_> =
            worksheets::all().map(|sheet| format!("{:<40} {}\n", sheet.method, sheet.sentence)).collect();
        all.sort_unstable();
        // Whoever reads may stop early (`| head`): that is not our failure.
        let _ = std::io::stdout().write_all(all.concat().as_bytes());
        return ExitCode::SUCCESS;
    }
    let method = arguments.method.as_deref().unwrap_or_default();
    let Some(sheet) = worksheets::find(method) else {
        eprintln!("dropwise: there is no worksheet {method:?}; `dropwise worksheet --list` names them all");
        return ExitCode::from(REFUSED);
    };
    let worked =
        if arguments.lines { each_line(sheet, arguments.steps) } else { once(sheet, arguments.steps) };
    worked.unwrap_or_else(|error| {
        eprintln!("dropwise: {error}");
        ExitCode::from(MALFORMED)
    })
}

fn once(sheet: &Worksheet, steps: bool) -> std::io::Result<ExitCode> {
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text)?;
    let inputs: Value = serde_json::from_str(&text)?;
    match (sheet.run)(&inputs, steps) {
        Ok(result) => {
            let _ = std::io::stdout().write_all(format!("{result:#}\n").as_bytes());
            Ok(ExitCode::SUCCESS)
        }
        Err(refusal) => {
            eprintln!("{:#}", problem(&refusal));
            Ok(ExitCode::from(REFUSED))
        }
    }
}

fn each_line(sheet: &Worksheet, steps: bool) -> std::io::Result<ExitCode> {
    let mut out = BufWriter::new(std::io::stdout().lock());
    for line in std::io::stdin().lock().lines() {
        let inputs: Value = serde_json::from_str(&line?)?;
        let answer = (sheet.run)(&inputs, steps).unwrap_or_else(|refusal| problem(&refusal));
        serde_json::to_writer(&mut out, &answer)?;
        out.write_all(b"\n")?;
    }
    out.flush()?;
    Ok(ExitCode::SUCCESS)
}

/// A refusal as a problem document (RFC 9457).
fn problem(refusal: &Refusal) -> Value {
    let mut document = json!({
        "type": format!("urn:dropwise:problem:{}", refusal.code),
        "status": 422,
        "code": refusal.code,
        "error": refusal.code,
        "detail": refusal.sentence,
    });
    if let Some(fields) = document.as_object_mut() {
        fields.extend(refusal.pointer.iter().map(|pointer| ("pointer".to_owned(), json!(pointer))));
        fields.extend(refusal.details.clone());
    }
    document
}
