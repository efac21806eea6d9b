//! A plan while it is filled in: (form, key) → form. What has no name or no words
//! in the end is left out; what cannot be kept is named, and the place is gone to.

use super::draft::{BASICS, Basic, Draft, Pick};
use super::{LONGEST_TEXT, Plan};

/// A key, as far as a form knows any.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FormKey {
    /// A letter, digit or sign.
    Sign(char),
    /// To the next field; on a step, another step below it; on a button, press it.
    Enter,
    /// Leave.
    Esc,
    /// To the next field.
    Down,
    /// To the field before.
    Up,
    /// Some fields on.
    PageDown,
    /// Some fields back.
    PageUp,
    /// In a text one sign back; in a choice the one before.
    Left,
    /// In a text one sign on; in a choice the next.
    Right,
    /// To the text's beginning.
    Home,
    /// To the text's end.
    End,
    /// Take the sign before away.
    Backspace,
    /// Take the sign after away.
    Delete,
}

/// How a form ends.
#[derive(Debug, Clone, PartialEq)]
pub enum Ending {
    /// With a plan to keep.
    Kept(Plan),
    /// Left, with nothing to keep.
    Left,
}

/// A line of the form, for drawing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormRow {
    /// What it is.
    pub label: String,
    /// What stands in it.
    pub value: String,
    /// Whether it is the one that keys go to.
    pub is_here: bool,
    /// Where in the value the next sign goes; `None` for choices and buttons.
    pub cursor: Option<usize>,
    /// Whether it is a choice, changed by left and right.
    pub is_choice: bool,
}

/// A field. Behaviours and steps are counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Field {
    Basic(Basic),
    Name(usize),
    Cue(usize),
    OnCue(usize),
    Step(usize, usize),
    MoreBehaviours,
    Practise(usize),
    MorePractise,
    Keep,
}

/// Fields that a page key passes.
const PAGE: usize = 8;

/// A plan while it is filled in.
#[derive(Debug, Clone)]
pub struct Form {
    draft: Draft,
    /// The draft as it was, to know whether leaving loses anything.
    before: Draft,
    bridges: Vec<String>,
    at: usize,
    cursor: usize,
    told: String,
    is_leaving: bool,
}

impl Form {
    /// A form with a plan in it, or an empty one. `bridges` are the taught sounds.
    pub fn new(plan: Option<&Plan>, bridges: &[String]) -> Self {
        let draft = plan.map_or_else(Draft::empty, Draft::of);
        let mut form = Self {
            before: draft.clone(),
            draft,
            bridges: bridges.to_vec(),
            at: 0,
            cursor: 0,
            told: String::new(),
            is_leaving: false,
        };
        form.go(0);
        form
    }

    /// What is wrong, or what a key did; may be empty.
    pub fn told(&self) -> &str {
        &self.told
    }

    /// Takes a key; how the form ends, if it does.
    pub fn take(&mut self, key: FormKey) -> Option<Ending> {
        self.told.clear();
        let was_leaving = std::mem::take(&mut self.is_leaving);
        match key {
            FormKey::Esc if was_leaving || self.draft == self.before => {
                return Some(Ending::Left);
            }
            FormKey::Esc => {
                self.is_leaving = true;
                "Leave without keeping? Esc again leaves, any other key goes on."
                    .clone_into(&mut self.told);
            }
            FormKey::Down => self.go(self.at + 1),
            FormKey::Up => self.go(self.at.saturating_sub(1)),
            FormKey::PageDown => self.go(self.at + PAGE),
            FormKey::PageUp => self.go(self.at.saturating_sub(PAGE)),
            FormKey::Enter => return self.enter(),
            FormKey::Left | FormKey::Right if !self.is_text() => {
                self.choose(key == FormKey::Right);
            }
            FormKey::Sign(' ') if !self.is_text() => self.choose(true),
            _ => self.edit(key),
        }
        None
    }

    fn fields(&self) -> Vec<Field> {
        let mut all: Vec<Field> = BASICS.iter().map(|b| Field::Basic(*b)).collect();
        for (b, behaviour) in self.draft.behaviours.iter().enumerate() {
            all.extend([Field::Name(b), Field::Cue(b), Field::OnCue(b)]);
            all.extend((0..behaviour.steps.len()).map(|s| Field::Step(b, s)));
        }
        all.push(Field::MoreBehaviours);
        all.extend((0..self.draft.practise.len()).map(Field::Practise));
        all.extend([Field::MorePractise, Field::Keep]);
        all
    }

    fn field(&self) -> Field {
        self.fields().get(self.at).copied().unwrap_or(Field::Keep)
    }

    fn go(&mut self, at: usize) {
        self.at = at.min(self.fields().len() - 1);
        self.cursor = self.text().map_or(0, |t| t.chars().count());
    }

    fn go_to(&mut self, field: Field) {
        let at = self.fields().iter().position(|f| *f == field);
        self.go(at.unwrap_or(self.at));
    }

    fn is_text(&self) -> bool {
        self.text().is_some()
    }

    fn text(&self) -> Option<&String> {
        match self.field() {
            Field::Basic(Basic::Bridge) => None,
            Field::Basic(basic) => Some(self.draft.basic(basic)),
            Field::Name(b) => self.draft.behaviours.get(b).map(|b| &b.name),
            Field::Cue(b) => self.draft.behaviours.get(b).map(|b| &b.cue),
            Field::Step(b, s) => {
                let steps = &self.draft.behaviours.get(b)?.steps;
                steps.get(s).map(|step| &step.earns)
            }
            _ => None,
        }
    }

    fn text_mut(&mut self) -> Option<&mut String> {
        match self.field() {
            Field::Basic(Basic::Bridge) => None,
            Field::Basic(basic) => Some(self.draft.basic_mut(basic)),
            Field::Name(b) => self.draft.behaviours.get_mut(b).map(|b| &mut b.name),
            Field::Cue(b) => self.draft.behaviours.get_mut(b).map(|b| &mut b.cue),
            Field::Step(b, s) => {
                let steps = &mut self.draft.behaviours.get_mut(b)?.steps;
                steps.get_mut(s).map(|step| &mut step.earns)
            }
            _ => None,
        }
    }

    fn enter(&mut self) -> Option<Ending> {
        match self.field() {
            Field::Keep => match self.draft.plan() {
                Ok(plan) => return Some(Ending::Kept(plan)),
                Err(wrong) => {
                    self.go_to(field_of(wrong.place));
                    self.told = wrong.why;
                }
            },
            Field::MoreBehaviours => {
                self.draft.add_behaviour();
                self.go_to(Field::Name(self.draft.behaviours.len() - 1));
            }
            Field::MorePractise => {
                let pick = self.draft.next_pick();
                self.draft.practise.push(pick);
                self.go_to(Field::Practise(self.draft.practise.len() - 1));
            }
            Field::Step(b, s) if self.text().is_some_and(|t| !t.trim().is_empty()) => {
                self.draft.add_step(b, s + 1);
                self.go_to(Field::Step(b, s + 1));
            }
            _ => self.go(self.at + 1),
        }
        None
    }

    fn choose(&mut self, is_on: bool) {
        match self.field() {
            Field::Basic(Basic::Bridge) => {
                let mut all = vec![String::new()];
                all.extend(self.bridges.iter().cloned());
                let now = self.draft.basic(Basic::Bridge);
                if !all.contains(now) {
                    all.push(now.clone());
                }
                let chosen = turn(&all, now, is_on);
                *self.draft.basic_mut(Basic::Bridge) = chosen;
            }
            Field::OnCue(b) => {
                if let Some(behaviour) = self.draft.behaviours.get_mut(b) {
                    behaviour.on_cue = !behaviour.on_cue;
                }
            }
            Field::Practise(k) => {
                let all = self.draft.picks();
                if let Some(pick) = self.draft.practise.get_mut(k) {
                    *pick = turn(&all, pick, is_on);
                }
            }
            _ => {}
        }
    }

    fn edit(&mut self, key: FormKey) {
        let cursor = self.cursor;
        if let (FormKey::Backspace, 0, Field::Step(b, s)) = (key, cursor, self.field())
            && s > 0
            && self.text().is_some_and(String::is_empty)
        {
            self.draft.remove_step(b, s);
            return self.go_to(Field::Step(b, s - 1));
        }
        let Some(text) = self.text_mut() else {
            return;
        };
        let mut signs: Vec<char> = text.chars().collect();
        let cursor = cursor.min(signs.len());
        self.cursor = match key {
            FormKey::Sign(sign) if signs.len() < LONGEST_TEXT && !sign.is_control() => {
                signs.insert(cursor, sign);
                cursor + 1
            }
            FormKey::Backspace if cursor > 0 => {
                signs.remove(cursor - 1);
                cursor - 1
            }
            FormKey::Delete if cursor < signs.len() => {
                signs.remove(cursor);
                cursor
            }
            FormKey::Left => cursor.saturating_sub(1),
            FormKey::Right => (cursor + 1).min(signs.len()),
            FormKey::Home => 0,
            FormKey::End => signs.len(),
            _ => cursor,
        };
        let changed: String = signs.into_iter().collect();
        if let Some(text) = self.text_mut() {
            *text = changed;
        }
    }

    /// All lines, for drawing.
    pub fn rows(&self) -> Vec<FormRow> {
        let draft = &self.draft;
        let behaviour = |b: usize| draft.behaviours.get(b);
        let row = |(at, field): (usize, &Field)| {
            let (label, value) = match field {
                Field::Basic(Basic::Bridge) => {
                    let name = draft.basic(Basic::Bridge);
                    let any = if name.is_empty() {
                        "any taught sound"
                    } else {
                        name
                    };
                    ("Bridge".to_owned(), any.to_owned())
                }
                Field::Basic(basic) => (basic.label().to_owned(), draft.basic(*basic).clone()),
                Field::Name(b) => (
                    "Behaviour".to_owned(),
                    behaviour(*b).map_or_else(String::new, |b| b.name.clone()),
                ),
                Field::Cue(b) => (
                    "  Cue".to_owned(),
                    behaviour(*b).map_or_else(String::new, |b| b.cue.clone()),
                ),
                Field::OnCue(b) => {
                    let only = behaviour(*b).is_some_and(|b| b.on_cue);
                    let value = if only {
                        "only when asked"
                    } else {
                        "asked or not"
                    };
                    ("  Earns".to_owned(), value.to_owned())
                }
                Field::Step(b, s) => {
                    let step = behaviour(*b).and_then(|b| b.steps.get(*s));
                    let earns = step.map_or_else(String::new, |s| s.earns.clone());
                    (format!("  Step {}", s + 1), earns)
                }
                Field::MoreBehaviours => ("+ another behaviour".to_owned(), String::new()),
                Field::Practise(k) => {
                    let pick = draft.practise.get(*k).copied().unwrap_or(Pick::Nothing);
                    (format!("Practise {}", k + 1), draft.pick_words(pick))
                }
                Field::MorePractise => ("+ another thing to practise".to_owned(), String::new()),
                Field::Keep => ("Keep this plan".to_owned(), String::new()),
            };
            let is_here = at == self.at;
            FormRow {
                label,
                value,
                is_here,
                cursor: (is_here && self.is_text()).then_some(self.cursor),
                is_choice: matches!(
                    field,
                    Field::Basic(Basic::Bridge) | Field::OnCue(_) | Field::Practise(_)
                ),
            }
        };
        self.fields().iter().enumerate().map(row).collect()
    }

    /// What belongs into the field that keys go to, in a sentence.
    pub fn hint(&self) -> &'static str {
        match self.field() {
            Field::Basic(basic) => basic.hint(),
            Field::Name(_) => "What it is taught, in a word or two. Without a name it is left out.",
            Field::Cue(_) => {
                "Its cue, a word or a sign; empty while it has none. A word that is taught under this name (marklag teach word) is heard when you say it."
            }
            Field::OnCue(_) => {
                "Left or right: whether it earns only when you asked. Then a mark on an offer that nobody asked for is told of."
            }
            Field::Step(..) => {
                "What earns the mark at this step, in a sentence, the easiest step first. Enter: another step below; emptied, it is left out."
            }
            Field::MoreBehaviours => "Enter adds one.",
            Field::Practise(_) => {
                "Left or right: pairing the bridge with food, or the step to begin with. Several are practised in turn; \"nothing\" is left out."
            }
            Field::MorePractise => "Enter adds one; they are practised in this order.",
            Field::Keep => "Enter keeps the plan under its name.",
        }
    }
}

fn field_of(place: super::draft::Place) -> Field {
    use super::draft::Place;
    match place {
        Place::Basic(basic) => Field::Basic(basic),
        Place::Name(b) => Field::Name(b),
        Place::Step(b, s) => Field::Step(b, s),
        Place::Practise => Field::MorePractise,
        Place::Whole => Field::Keep,
    }
}

/// The choice after or before `now`, around the end.
fn turn<T: Clone + PartialEq>(all: &[T], now: &T, is_on: bool) -> T {
    let at = all.iter().position(|one| one == now).unwrap_or(0);
    let step = if is_on { 1 } else { all.len() - 1 };
    all.get((at + step) % all.len()).unwrap_or(now).clone()
}

#[cfg(test)]
#[path = "form_tests.rs"]
mod tests;
