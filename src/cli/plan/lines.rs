//! A plan, question by question. Enter keeps what stands in brackets.

use std::io;

use crate::timeline::Plan;
use crate::timeline::plan::{Behaviour, Practise, Step, numbers};

/// Asks one question with the answer so far; `None` is the end of all answers.
pub(super) type Ask<'a> = &'a mut dyn FnMut(&str, &str) -> io::Result<Option<String>>;

/// Asks until the answer is one that `read` takes; `None` is the end of all answers.
fn ask_for<T>(
    ask: Ask<'_>,
    question: &str,
    before: &str,
    read: impl Fn(&str) -> Result<T, &'static str>,
) -> io::Result<Option<T>> {
    let mut asked = question.to_owned();
    loop {
        let Some(answer) = ask(&asked, before)? else {
            return Ok(None);
        };
        match read(&answer) {
            Ok(value) => return Ok(Some(value)),
            Err(why) => asked = format!("{answer:?} cannot be kept. {why} {question}"),
        }
    }
}

fn yes_or_no(answer: &str) -> Result<bool, &'static str> {
    match answer.trim().to_lowercase().as_str() {
        "yes" | "y" => Ok(true),
        "no" | "n" => Ok(false),
        _ => Err("Yes or no?"),
    }
}

/// Fills a plan; `None` when the answers end before it is whole.
pub(super) fn fill(before: Option<Plan>, ask: Ask<'_>) -> io::Result<Option<Plan>> {
    let is_new = before.is_none();
    let mut plan = before.unwrap_or_else(|| Plan {
        name: String::new(),
        behaviours: Vec::new(),
        practise: Vec::new(),
        ..Plan::free(5.0)
    });
    macro_rules! answer {
        ($question:expr, $before:expr) => {
            match ask($question, $before)? {
                Some(answer) => answer,
                None => return Ok(None),
            }
        };
        ($question:expr, $before:expr, $read:expr) => {
            match ask_for(ask, $question, $before, $read)? {
                Some(answer) => answer,
                None => return Ok(None),
            }
        };
    }
    loop {
        plan.name = answer!("Name of the plan", &plan.name);
        plan.animal = answer!("Animal", &plan.animal);
        plan.person = some(answer!(
            "Who marks (empty: nobody named)",
            plan.person.as_deref().unwrap_or("")
        ));
        plan.bridge = some(answer!(
            "Taught sound that marks (empty: any)",
            plan.bridge.as_deref().unwrap_or("")
        ));
        let minutes = plan.length_min.to_string();
        plan.length_min = answer!("Minutes at most", &minutes, numbers::minutes);
        let treats = plan.treats.map_or(String::new(), |n| n.to_string());
        plan.treats = answer!(
            "Treats set aside (empty: not counted)",
            &treats,
            numbers::treats
        );
        let again = plan
            .again_after_min
            .map_or(String::new(), |n| n.to_string());
        plan.again_after_min = answer!(
            "Again after how many minutes (empty: not set)",
            &again,
            numbers::again_after
        );
        let names: Vec<&str> = plan
            .practise
            .iter()
            .map(|p| p.behaviour.as_deref().unwrap_or("pairing"))
            .collect();
        let before = names.join(", ");
        let wanted = answer!(
            "What to practise, with commas between (pairing: the bridge with food)",
            &before
        );
        let before = std::mem::take(&mut plan.practise);
        for name in wanted.split(',').map(str::trim).filter(|n| !n.is_empty()) {
            if name == "pairing" {
                plan.practise.push(Practise {
                    pairing: true,
                    behaviour: None,
                    step: None,
                });
                continue;
            }
            let known = plan.behaviours.iter().position(|b| b.name == name);
            let mut behaviour = known.map_or_else(
                || Behaviour {
                    name: name.to_owned(),
                    cue: String::new(),
                    on_cue: false,
                    steps: Vec::new(),
                },
                |k| plan.behaviours[k].clone(),
            );
            behaviour.cue = answer!(
                &format!("{name}: its cue (empty: none yet)"),
                &behaviour.cue
            );
            let on_cue = if behaviour.on_cue { "yes" } else { "no" };
            behaviour.on_cue = answer!(
                &format!("{name}: only earns when asked (yes or no)"),
                on_cue,
                yes_or_no
            );
            behaviour.steps = match steps(name, &behaviour.steps, ask)? {
                Some(steps) => steps,
                None => return Ok(None),
            };
            let step = before
                .iter()
                .find(|p| p.behaviour.as_deref() == Some(name))
                .and_then(|p| p.step);
            let step = answer!(
                &format!("{name}: step to begin with"),
                &step.unwrap_or(1).to_string(),
                numbers::step
            );
            plan.practise.push(Practise {
                pairing: false,
                behaviour: Some(name.to_owned()),
                step: Some(step),
            });
            match known {
                Some(k) => plan.behaviours[k] = behaviour,
                None => plan.behaviours.push(behaviour),
            }
        }
        let practised = plan.practise.clone();
        plan.behaviours.retain(|b| {
            practised
                .iter()
                .any(|p| p.behaviour.as_deref() == Some(&b.name))
        });
        let wrong = match plan.check() {
            Ok(()) if plan.name.is_empty() || plan.animal.is_empty() => {
                "a plan needs a name and an animal".to_owned()
            }
            Ok(()) => return Ok(Some(plan)),
            Err(error) => error.to_string(),
        };
        let question = format!("That is no plan yet: {wrong}. Once more, enter keeps an answer");
        answer!(&question, if is_new { "enter" } else { "" });
    }
}

/// The steps' sentences, until an empty one; "-" takes a step away.
fn steps(name: &str, before: &[Step], ask: Ask<'_>) -> io::Result<Option<Vec<Step>>> {
    let mut all = Vec::new();
    for k in 0.. {
        let old = before.get(k).map_or("", |s| s.earns.as_str());
        let number = all.len() as u32 + 1;
        let question = format!(
            "{name}, step {number}: what earns the mark (empty: no more steps, -: not this one)"
        );
        match ask(&question, old)? {
            None => return Ok(None),
            Some(earns) if earns.is_empty() => break,
            Some(earns) if earns == "-" => {}
            Some(earns) => all.push(Step { number, earns }),
        }
    }
    Ok(Some(all))
}

fn some(text: String) -> Option<String> {
    (!text.is_empty()).then_some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(before: Option<Plan>, answers: &[&str]) -> Option<Plan> {
        asked(before, answers).0
    }

    /// The plan, and the questions that were asked.
    fn asked(before: Option<Plan>, answers: &[&str]) -> (Option<Plan>, Vec<String>) {
        let mut left = answers.iter();
        let mut questions = Vec::new();
        let mut ask = |question: &str, before: &str| -> io::Result<Option<String>> {
            questions.push(question.to_owned());
            Ok(left
                .next()
                .map(|a| if a.is_empty() { before } else { a }.to_owned()))
        };
        let plan = fill(before, &mut ask).unwrap();
        (plan, questions)
    }

    /// An answer that is no number or neither yes nor no is not dropped: the question
    /// comes once more, with what it takes.
    #[test]
    fn what_is_no_answer_is_asked_again() {
        let answers = [
            "target", "Juniper", "", "", "4", "thirty", "30", "", "target", "", "perhaps", "yes",
            "looks", "", "one", "1",
        ];
        let (plan, questions) = asked(None, &answers);
        let plan = plan.unwrap();
        assert_eq!((plan.treats, plan.behaviours[0].on_cue), (Some(30), true));
        assert_eq!(plan.practise[0].step, Some(1));
        let again: Vec<&String> = questions
            .iter()
            .filter(|q| q.contains("cannot be kept"))
            .collect();
        assert_eq!(again.len(), 3, "{questions:?}");
        assert!(again[0].starts_with("\"thirty\" cannot be kept. How many treats?"));
    }

    #[test]
    fn a_plan_from_answers_and_changed_by_enter() {
        let answers = [
            "target",
            "Juniper",
            "Ada",
            "",
            "4",
            "30",
            "60",
            "pairing, target",
            "",
            "",
            "looks",
            "touches",
            "",
            "2",
        ];
        let plan = filled(None, &answers).unwrap();
        plan.check().unwrap();
        assert_eq!(
            (plan.name.as_str(), plan.length_min, plan.treats),
            ("target", 4.0, Some(30))
        );
        assert!(plan.is_pairing(0));
        assert_eq!(plan.earns(1, 2), "touches");
        assert_eq!(plan.practise[1].step, Some(2));
        // Enter all the way down changes nothing.
        let same = filled(Some(plan.clone()), &[""; 14]).unwrap();
        assert_eq!(same, plan);
        // A step is taken away; the one to begin with is then too high, and told.
        let mut fewer = vec![""; 10];
        fewer.extend(["-", "", "", "2", ""]);
        assert!(filled(Some(plan.clone()), &fewer).is_none());
        assert!(
            filled(None, &["target"]).is_none(),
            "answers that end are no plan"
        );
    }
}
