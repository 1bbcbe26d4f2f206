//! What `dropwise demo` says when it is done.

use super::{Outcome, Score};
use std::fmt;

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "The demo fleet (invented; for looking around only). Sign in with:")?;
        for sign_in in &self.sign_ins {
            writeln!(
                f,
                "  fleet {}   member {:<8} password {:<34} ({})",
                sign_in.fleet,
                sign_in.member,
                format!("\"{}\"", sign_in.password),
                sign_in.role
            )?;
        }
        let (booked, cancelled, settled) = self.jobs;
        writeln!(f, "\n{booked} jobs booked, {cancelled} called off, {settled} settled.")?;
        let kinds: Vec<String> =
            self.tally.taken.iter().map(|(kind, count)| format!("{count} {kind}")).collect();
        writeln!(f, "{} entries taken: {}.", self.tally.all_taken(), kinds.join(", "))?;
        let codes: Vec<String> =
            self.tally.refused.iter().map(|(code, count)| format!("{count} {code}")).collect();
        writeln!(
            f,
            "{} mistakes refused as they should be: {}.",
            self.tally.all_refused(),
            codes.join(", ")
        )?;
        writeln!(f, "{} times a van had none left of what was wanted.", self.ran_dry)?;
        for surprise in &self.tally.surprises {
            writeln!(f, "Not as meant: {surprise}")?;
        }
        let scores = &self.scores;
        writeln!(f, "\nEstimated levels against the true ones, known only to the simulation:")?;
        levels(f, "just before a weigh-in", &scores.before_weigh_in)?;
        levels(f, "on random evenings", &scores.random_days)?;
        levels(f, "both together", &scores.before_weigh_in.with(&scores.random_days))?;
        writeln!(f, "  (not counted: {} moments with a phone still to hand over)", scores.waiting)?;
        if let (Some(error), Some(coverage)) = (scores.dose.mean_error_share(), scores.dose.coverage()) {
            writeln!(
                f,
                "Dose sizes of {} weighed bottles: off by {:.1} % on average; {:.1} % within their 90 % interval.",
                scores.dose.looks,
                100.0 * error,
                100.0 * coverage
            )?;
        }
        writeln!(f, "\nWhat the books answer on the last evening:")?;
        for line in &self.answers {
            writeln!(f, "  {line}")?;
        }
        Ok(())
    }
}

fn levels(f: &mut fmt::Formatter<'_>, when: &str, score: &Score) -> fmt::Result {
    let (Some(ml), Some(share), Some(coverage)) =
        (score.mean_error_ml(), score.mean_error_share(), score.coverage())
    else {
        return Ok(());
    };
    writeln!(
        f,
        "  {when:<24} {:>6} looks: off by {ml:.1} ml ({:.2} % of nominal) on average; {:.1} % within their 90 % interval",
        score.looks,
        100.0 * share,
        100.0 * coverage
    )
}
