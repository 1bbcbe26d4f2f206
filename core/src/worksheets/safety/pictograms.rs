use super::{result, words};
use crate::safety::hazard_statements;
use crate::safety::pictograms::{Jurisdiction, Pictogram, Precedence, label_elements};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "pictograms",
    sentence: "Which pictograms and which signal word a set of hazards shows, after precedence.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    jurisdiction: Rules,
    hazards: Vec<String>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Rules {
    Osha,
    UnClp,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let Inputs { jurisdiction, hazards } = read(inputs)?;
    let jurisdiction = match jurisdiction {
        Rules::Osha => Jurisdiction::Osha,
        Rules::UnClp => Jurisdiction::UnClp,
    };
    let mut lines = Vec::with_capacity(hazards.len());
    for (place, written) in hazards.iter().enumerate() {
        let line = hazard_statements::find(written)
            .map_err(|error| Refusal::from(error).at(format!("/hazards/{place}")))?;
        lines.push(line);
    }
    let label = label_elements(&lines, jurisdiction);
    let pictograms = if label.pictograms.is_empty() {
        words(["none"])
    } else {
        words(label.pictograms.iter().copied().map(Pictogram::code))
    };
    let fields = [("pictograms", pictograms), ("signal_word", label.signal_word.text().into())];
    Ok(result(fields, steps, || {
        let by_itself = lines.iter().map(|line| {
            let own: Vec<&str> = line.pictograms.iter().copied().map(Pictogram::code).collect();
            (
                format!("{}: {}", line.code, line.text),
                format!("{} {}", line.signal_word.text(), own.join(" ")),
            )
        });
        let gave_way = label
            .gave_way
            .iter()
            .map(|(code, rule)| (format!("{code} loses GHS07"), precedence(*rule).to_owned()));
        by_itself.chain(gave_way).map(|(name, value)| (name, value.trim_end().into())).collect()
    }))
}

fn precedence(rule: Precedence) -> &'static str {
    match rule {
        Precedence::SkullForToxicity => "GHS06 stands for acute toxicity (29 CFR 1910.1200 App. C.2.1.2)",
        Precedence::Skull => "GHS06 is shown (UN GHS 1.4.10.5.3.1)",
        Precedence::Corrosion => "GHS05 stands for irritation of skin and eyes (UN GHS 1.4.10.5.3.1)",
        Precedence::RespiratorySensitiser => "GHS08 is shown for H334 (UN GHS 1.4.10.5.3.1)",
    }
}
