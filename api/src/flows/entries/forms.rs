//! The forms an entry may be written in, and the way from each to the newest.
//!
//! A phone that lay in a drawer hands over in the form of its day. Every form ever released is read for
//! ever: where a kind changes, a step is added below that makes a body of the form before into one of the
//! form after, and no step is ever taken away. What is stored stays as it was handed over.

use super::facts::Fact;
use serde_json::Value;
use std::borrow::Cow;

/// Makes a body of one form into one of the next.
type Step = fn(Value) -> Value;

/// The steps of each kind that has more than one form: the first leads from form 1 to form 2.
const STEPS: [(&str, &[Step]); 0] = [];

/// Kinds, each with the steps between its forms.
#[derive(Debug, Clone, Copy)]
struct Forms<'a> {
    kinds: &'a [&'a str],
    steps: &'a [(&'a str, &'a [Step])],
}

const RELEASED: Forms<'static> = Forms { kinds: &Fact::KINDS, steps: &STEPS };

/// The newest form of a kind this server knows; 0 for a kind it does not know.
pub(super) fn newest(kind: &str) -> i16 {
    RELEASED.newest(kind)
}

/// Every kind this server knows, with its newest form.
pub(super) fn all() -> Vec<(&'static str, i16)> {
    Fact::KINDS.iter().map(|kind| (*kind, newest(kind))).collect()
}

/// A body of some form as one of the newest; `None` for a form that never was.
pub(super) fn upcast<'b>(kind: &str, form: i16, body: &'b Value) -> Option<Cow<'b, Value>> {
    RELEASED.upcast(kind, form, body)
}

impl Forms<'_> {
    fn steps(&self, kind: &str) -> &[Step] {
        self.steps.iter().find(|(of, _)| *of == kind).map_or(&[], |(_, steps)| *steps)
    }

    fn newest(&self, kind: &str) -> i16 {
        if !self.kinds.contains(&kind) {
            return 0;
        }
        i16::try_from(self.steps(kind).len()).unwrap_or(i16::MAX).saturating_add(1)
    }

    fn upcast<'b>(&self, kind: &str, form: i16, body: &'b Value) -> Option<Cow<'b, Value>> {
        if form < 1 || form > self.newest(kind) {
            return None;
        }
        let passed = usize::try_from(form).ok()?.checked_sub(1)?;
        let mut steps = self.steps(kind).iter().skip(passed).peekable();
        if steps.peek().is_none() {
            return Some(Cow::Borrowed(body));
        }
        Some(Cow::Owned(steps.fold(body.clone(), |body, step| step(body))))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;
    use serde_json::json;

    /// Form 2 counts in seconds what form 1 counted in minutes; form 3 says where.
    fn seconds(mut body: Value) -> Value {
        let minutes = body.as_object_mut().and_then(|body| body.remove("min"));
        body["s"] = json!(minutes.and_then(|minutes| minutes.as_i64()).unwrap_or(0) * 60);
        body
    }

    fn somewhere(mut body: Value) -> Value {
        body["where"] = Value::Null;
        body
    }

    const STEPS: [(&str, &[Step]); 1] = [("nap", &[seconds, somewhere])];
    const TRIED: Forms<'static> = Forms { kinds: &["nap", "walk"], steps: &STEPS };

    #[test]
    fn every_form_is_read_as_the_newest_and_says_the_same() {
        let newest = json!({"s": 1200, "where": null});
        for (form, body) in
            [(1, json!({"min": 20})), (2, json!({"s": 1200})), (3, json!({"s": 1200, "where": null}))]
        {
            assert_eq!(TRIED.upcast("nap", form, &body).as_deref(), Some(&newest), "form {form}");
        }
        let said = json!({"s": 5, "where": "van"});
        assert_eq!(TRIED.upcast("nap", 3, &said).as_deref(), Some(&said), "the newest stays as it is");
    }

    #[test]
    fn a_form_that_is_not_known_is_not_guessed_at() {
        assert_eq!((TRIED.newest("nap"), TRIED.newest("walk"), TRIED.newest("swim")), (3, 1, 0));
        for (kind, form) in [("nap", 4), ("nap", 0), ("nap", -1), ("walk", 2), ("swim", 1)] {
            assert_eq!(TRIED.upcast(kind, form, &json!({})), None, "{kind} {form}");
        }
    }

    #[test]
    fn every_released_kind_has_a_form_and_steps_belong_to_released_kinds() {
        assert_eq!(all().len(), Fact::KINDS.len());
        assert!(
            all().iter().all(|(kind, newest)| *newest >= 1 && upcast(kind, *newest, &json!({})).is_some())
        );
        assert!(super::STEPS.iter().all(|(kind, _)| Fact::KINDS.contains(kind)));
    }
}
