//! Ways to break a body: as text, as a whole, and one spot at a time.

use serde_json::Value;

const HOLE: &str = "@@hole@@";

/// Bytes that are no JSON, or JSON that is no object, or objects nobody knows.
pub(super) fn malformed() -> Vec<Vec<u8>> {
    let mut bodies: Vec<Vec<u8>> = [
        "",
        " ",
        "{",
        "}",
        "null",
        "true",
        "0",
        "\"text\"",
        "[]",
        "[{}]",
        "{\"zzz\":1}",
        "{}{}",
        "{} x",
        "{'a':1}",
        "{\"a\":1,}",
        "{a:1}",
        "NaN",
        "{\"a\":NaN}",
        "{\"a\":1e400}",
        "{\"a\":-1e400}",
        "{\"a\":01}",
        "{\"a\":\"\\ud800\"}",
        "{\"a\":\"\\u0000\"}",
        "\u{feff}{}",
        "{\"\":{}}",
        "{\"kind\":1,\"kind\":2}",
        "// {}",
        "<a/>",
        "a=1",
    ]
    .into_iter()
    .map(|text| text.as_bytes().to_vec())
    .collect();
    bodies.push(b"{\"a\":\"\xff\xfe\"}".to_vec());
    bodies.push(b"\x00".to_vec());
    bodies.push(b"{\"a\":\"line\nbreak\"}".to_vec());
    bodies.push(format!("{}{}", "[".repeat(100_000), "]".repeat(100_000)).into_bytes());
    bodies.push(format!("{}1{}", "{\"a\":".repeat(40), "}".repeat(40)).into_bytes());
    bodies.push(format!("{{\"a\":1{}}}", "0".repeat(100_000)).into_bytes());
    bodies
}

/// The body with every spot of it replaced by each thing that should not be there, and with a field
/// nobody knows in every object.
pub(super) fn mutants(body: &Value) -> Vec<String> {
    let mut holed = Vec::new();
    punch(body, &mut Vec::new(), &mut holed);
    let wrong = wrong();
    let mut texts: Vec<String> = holed
        .iter()
        .flat_map(|with_hole| wrong.iter().map(move |raw| with_hole.replace(&format!("\"{HOLE}\""), raw)))
        .collect();
    let text = body.to_string();
    let objects = text.match_indices('{').map(|(at, _)| at);
    texts.extend(objects.map(|at| format!("{}{{\"zzz\":1,{}", &text[..at], &text[at + 1..])));
    texts
}

/// Things to put where something else belongs, as JSON text, or as text that is none.
fn wrong() -> Vec<String> {
    let mut raw: Vec<String> = [
        "null",
        "true",
        "-1",
        "0",
        "1.5",
        "1e400",
        "9223372036854775808",
        "\"\"",
        "\" \"",
        "\"\\u0000\"",
        "\"\\ud800\"",
        "\"NaN\"",
        "\"-1\"",
        "\"1e3\"",
        "\"0.00000000000000000000000000000000000000001\"",
        "[]",
        "{}",
        "[[]]",
        "\"2026-02-30T00:00:00Z\"",
        "\"9999-12-31T23:59:59Z\"",
        "\"-262143-01-01T00:00:00Z\"",
        "\"+262142-12-31T23:59:59Z\"",
        "\"0001-01-01T00:00:00Z\"",
        "\"2026-03-02T23:59:60Z\"",
        "\"00000000-0000-0000-0000-000000000000\"",
        "\"ffffffff-ffff-ffff-ffff-ffffffffffff\"",
        "\"\\u202e\\ufeff\"",
        "\"'; drop table cards; --\"",
        "NaN",
    ]
    .into_iter()
    .map(str::to_owned)
    .collect();
    raw.push(format!("\"{}\"", "9".repeat(40)));
    raw.push(format!("\"1{}\"", "0".repeat(400)));
    raw.push(format!("\"{}\"", "x".repeat(70_000)));
    raw.push(format!("[{}\"x\"]", "\"x\",".repeat(600)));
    raw
}

/// Copies of the whole, each with a hole at another spot.
fn punch(at: &Value, way: &mut Vec<String>, holed: &mut Vec<String>) {
    fn whole(at: &Value, way: &[String]) -> Value {
        let mut copy = at.clone();
        let pointer: String = way.iter().map(|step| format!("/{step}")).collect();
        *copy.pointer_mut(&pointer).expect("a way that was walked") = Value::from(HOLE);
        copy
    }
    fn walk(root: &Value, at: &Value, way: &mut Vec<String>, holed: &mut Vec<String>) {
        if !way.is_empty() {
            holed.push(whole(root, way).to_string());
        }
        let steps: Vec<(String, &Value)> = match at {
            Value::Object(fields) => fields.iter().map(|(name, value)| (name.clone(), value)).collect(),
            Value::Array(values) => {
                values.iter().enumerate().map(|(i, value)| (i.to_string(), value)).collect()
            }
            _ => Vec::new(),
        };
        for (step, value) in steps {
            way.push(step);
            walk(root, value, way, holed);
            way.pop();
        }
    }
    walk(at, at, way, holed);
}
