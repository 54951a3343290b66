//! One page for a club or a co-op: the first page alone, without coordinates or scale.

use maud::html;

use super::land::Detail;
use super::{change, first};
use crate::debrief::Debrief;
use crate::property::{By, same_name};
use crate::report::words;

/// What a page for others holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShareOptions {
    /// Names of the property, its cameras and its deer; else letters stand for them.
    pub with_names: bool,
    /// What is logged as a neighbour's.
    pub with_neighbours: bool,
    /// Photographs.
    pub with_photos: bool,
}

/// Builds the page.
pub fn one_page(mut debrief: Debrief, options: ShareOptions) -> String {
    let left_out = match options.with_neighbours {
        true => 0,
        false => leave_neighbours_out(&mut debrief),
    };
    if !options.with_names {
        take_names_away(&mut debrief);
    }
    let photos = super::photos(&debrief, options.with_photos);
    let detail = match options.with_names {
        true => Detail::WithoutScale,
        false => Detail::WithoutNames,
    };
    let main = html! {
        (first::section_alone(&debrief, &photos, detail))
        @if left_out > 0 {
            p.mind {
                (words::counted(left_out, "logged event")) " of a neighbour's, or at the same cameras and days, "
                (if left_out == 1 { "is" } else { "are" })
                " left out of this page. What came of it is in the numbers all the same."
            }
        }
    };
    super::document(&debrief, "the season on one page", html! {}, main).into_string()
}

/// Takes out what is logged as a neighbour's, and with it whatever else is told of the same cameras and days: one's
/// change would look like the other's. How many were taken out is returned.
fn leave_neighbours_out(debrief: &mut Debrief) -> usize {
    let of = |by: By| {
        let logged = debrief.property.disturbances.iter();
        logged.filter(move |d| d.by == by).map(|d| d.id.clone())
    };
    let theirs: Vec<String> = of(By::Neighbour).collect();
    let mixed = |id: &String| {
        let logged = debrief.property.disturbances.iter().find(|d| d.id == *id);
        logged.is_some_and(|d| {
            let others = change::mixed_with(debrief, d);
            others.iter().any(|o| theirs.contains(&o.id))
        })
    };
    let mut out: Vec<String> =
        of(By::Own).chain(of(By::Nature)).chain(of(By::NotSaid)).filter(mixed).collect();
    out.extend(theirs);
    // The camera that leads is told by days that may begin with one of them.
    debrief.leader = debrief.leader.filter(|_| debrief.leader_since().is_none());
    let is_left = |id: &String| !out.contains(id);
    debrief.property.disturbances.retain(|d| is_left(&d.id));
    debrief.shifts.rows.retain(|r| is_left(&r.disturbance));
    debrief.shifts.plans.retain(|p| is_left(&p.disturbance));
    // What was asked beforehand is answered by the same days.
    debrief.answered.clear();
    debrief.shifts.repeated.retain(|r| r.by != Some(By::Neighbour));
    out.len()
}

/// Puts letters for names, and for what was written of an event whose it was: in free words anything may stand.
fn take_names_away(debrief: &mut Debrief) {
    let names: Vec<(String, String)> = debrief
        .season
        .cameras
        .iter()
        .enumerate()
        .map(|(i, c)| (c.name.clone(), format!("Camera {}", letters(i))))
        .collect();
    let letter = |name: &String| {
        let known = names.iter().find(|(n, _)| same_name(n, name));
        known.map_or_else(|| "A camera".to_owned(), |(_, letter)| letter.clone())
    };
    for disturbance in &mut debrief.property.disturbances {
        disturbance.what = whose(Some(disturbance.by)).to_owned();
    }
    for answered in &mut debrief.answered {
        let near = answered.question.near.iter().map(letter).collect();
        answered.question.near = near;
    }
    for repeated in &mut debrief.shifts.repeated {
        repeated.what = whose(repeated.by).to_owned();
    }
    for clock in &mut debrief.clocks {
        clock.camera = letter(&clock.camera);
        for finding in &mut clock.findings {
            finding.camera = letter(&finding.camera);
        }
    }
    for (camera, (_, letter)) in debrief.season.cameras.iter_mut().zip(&names) {
        camera.name.clone_from(letter);
    }
    for (i, deer) in debrief.known_deer.iter_mut().enumerate() {
        deer.name = format!("Deer {}", letters(i));
    }
    debrief.property.settings.name = "A property".to_owned();
}

fn whose(by: Option<By>) -> &'static str {
    match by {
        Some(By::Own) => "Something of the owner's",
        Some(By::Neighbour) => "Something of a neighbour's",
        Some(By::Nature) => "Something of nature's",
        Some(By::NotSaid) => "Something",
        None => "People at the cameras",
    }
}

/// `A` to `Z`, then `AA`.
fn letters(mut number: usize) -> String {
    let mut text = String::new();
    loop {
        text.insert(0, char::from(b'A' + (number % 26) as u8));
        match number / 26 {
            0 => return text,
            rest => number = rest - 1,
        }
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn letters_go_on_after_the_last() {
        let all: Vec<String> = [0, 25, 26, 51, 52].map(super::letters).to_vec();
        assert_eq!(all, ["A", "Z", "AA", "AZ", "BA"]);
    }
}
