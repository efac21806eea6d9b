//! What to do where a review came to nothing, or to half of what was meant.

use super::jobs::Done;
use crate::cli::bridges::Bridges;

/// Sentences for the end of a review; most reviews need none.
pub(super) fn hints(one: &Done, taught: &Bridges, has_told_moments: bool) -> Vec<String> {
    if one.is_silent {
        return vec![
            "The recording holds nothing but silence: was the microphone muted, or the wrong track saved? Record again and look at the level first: marklag check".to_owned(),
        ];
    }
    let mut hints = Vec::new();
    let has_marks = one.heard.marks().next().is_some();
    if !has_marks {
        let names: Vec<String> = taught
            .names()
            .iter()
            .map(|name| format!("{name:?}"))
            .collect();
        hints.push(match &names[..] {
            [name] => format!(
                "{name} was not heard. Was it your clicker or word that made the marks? marklag check tells; marklag teach teaches another."
            ),
            names => format!(
                "None of {} was heard. Was it one of them that made the marks? marklag check tells; marklag teach teaches another.",
                names.join(", ")
            ),
        });
    }
    let ball = ball(one).filter(|_| !has_told_moments);
    if let Some(words) = ball {
        hints.push(words);
    } else if one.moments.is_empty() && !has_told_moments && has_marks {
        hints.push(
            "There are marks and nothing to hold them against. What gives moments: a ball on a hard floor, heard beside the marks (--height METRES tells how far it falls); --moments FILE, a table of times; or, for a session with an animal, --session --events FILE.".to_owned(),
        );
    }
    hints
}

/// What to do where more was heard of a ball than could be proven.
fn ball(one: &Done) -> Option<String> {
    let (drops, unproven) = (one.heard.drops.len(), one.heard.unproven);
    let marks = one.heard.marks().count();
    if unproven.groups >= 3 && unproven.groups > drops {
        return Some(format!(
            "{} groups of two or three bounces were heard, too few to be sure that it is one ball. Tell the height (--height METRES) and the ball (--ball KIND), let it bounce longer, or come nearer to the microphone.",
            unproven.groups
        ));
    }
    let thuds = unproven.alone;
    (drops == 0 && marks >= 3 && (marks..=3 * marks).contains(&thuds)).then(|| {
        format!(
            "{thuds} single thuds were heard and no bounces: a carpet or a hand that catches the ball hides them. Drop it on a hard floor and let it bounce three times."
        )
    })
}
