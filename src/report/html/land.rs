//! The land and its cameras: a drawing without any map below it.

use geo::{Area, BoundingRect, Coord, CoordsIter, Geometry, InteriorPoint, MapCoords, Simplify};
use maud::{Markup, html};

use crate::debrief::Debrief;
use crate::property::{LandFeature, LandSort, Position};
use crate::report::words;
use crate::shift::{Role, Shift};

const WIDTH: f64 = 480.0;
const HEIGHT: f64 = 400.0;
const MARGIN: f64 = 26.0;
/// The width of a letter in the broadest of the fonts: enough to keep labels apart.
const LETTER: f64 = 7.3;
const LINE: f64 = 14.0;
const MARK: f64 = 6.0;

/// How much a drawing gives away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Detail {
    /// All of it.
    Whole,
    /// Without a measure of how far things lie apart.
    WithoutScale,
    /// Nor with the land's own names and shapes.
    WithoutNames,
}

/// A place on the drawing, and what stands beside it.
struct Mark {
    at: Coord,
    name: String,
    kind: MarkKind,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum MarkKind {
    Changed,
    Unchanged,
    Disturbance,
}

/// Metres east and north of the property's place.
fn on_plane(place: Position, origin: Position) -> Coord {
    let (x, y) = place.metres_from(origin);
    Coord { x, y }
}

/// From metres to the drawing's own units.
#[derive(Clone, Copy)]
struct View {
    middle: Coord,
    px_per_m: f64,
}

impl View {
    fn of(metres: &[Coord]) -> Self {
        let extent = |of: fn(&Coord) -> f64| {
            let (low, high) = metres
                .iter()
                .map(of)
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
            (f64::midpoint(low, high), (high - low).max(40.0))
        };
        let ((x, across), (y, up)) = (extent(|c| c.x), extent(|c| c.y));
        let room = |px: f64, m: f64| (px - 2.0 * MARGIN) / m;
        Self { middle: Coord { x, y }, px_per_m: room(WIDTH, across).min(room(HEIGHT - LINE, up)) }
    }

    fn at(self, metres: Coord) -> Coord {
        Coord {
            x: WIDTH / 2.0 + (metres.x - self.middle.x) * self.px_per_m,
            y: HEIGHT / 2.0 - (metres.y - self.middle.y) * self.px_per_m,
        }
    }
}

/// The drawing; nothing where fewer than two places are known.
pub(super) fn drawing(debrief: &Debrief, detail: Detail) -> Markup {
    let origin = debrief.property.settings.position;
    let marks = marks(debrief, origin);
    let land: &[LandFeature] = match detail {
        Detail::WithoutNames => &[],
        _ => &debrief.property.land,
    };
    if marks.len() < 2 && land.is_empty() {
        return html! {};
    }
    let laid_out = |f: &LandFeature| {
        f.shape.map_coords(|c| {
            let place = Position { latitude_deg: c.y, longitude_deg: c.x };
            on_plane(place, origin)
        })
    };
    let shapes: Vec<(&LandFeature, Geometry)> = land.iter().map(|f| (f, laid_out(f))).collect();
    let mut all: Vec<Coord> = marks.iter().map(|m| m.at).collect();
    all.extend(shapes.iter().flat_map(|(_, s)| s.coords_iter()));
    let view = View::of(&all);
    let mut taken = Taken::default();
    for mark in &marks {
        taken.keep_dot(view.at(mark.at));
    }
    html! {
        figure.land {
            svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(label(debrief)) {
                @for (feature, shape) in &shapes { (ground(feature, shape, view)) }
                @for mark in &marks { (dot(mark, view)) }
                @for mark in &marks { (name(&mark.name, view.at(mark.at), &mut taken, "place")) }
                @for (feature, shape) in &shapes { (name_of_ground(feature, shape, view, &mut taken)) }
                (north())
                @if detail == Detail::Whole { (scale(view)) }
            }
            figcaption { (caption(&marks)) @if detail != Detail::Whole { " Not to any scale." } }
        }
    }
}

fn label(debrief: &Debrief) -> String {
    format!("Sketch of {} with its cameras; north is up", debrief.property.settings.name)
}

fn caption(marks: &[Mark]) -> String {
    let has = |kind| marks.iter().any(|m| m.kind == kind);
    let mut words = Vec::new();
    if has(MarkKind::Changed) {
        words.push("▼ camera with a clear change");
    }
    if has(MarkKind::Unchanged) {
        words.push(match has(MarkKind::Changed) {
            true => "○ other camera",
            false => "○ camera",
        });
    }
    if has(MarkKind::Disturbance) {
        words.push("✕ what is logged");
    }
    words.join(", ") + "."
}

/// Every camera where it hung last, and every disturbance that has a place.
fn marks(debrief: &Debrief, origin: Position) -> Vec<Mark> {
    let place = |p: Position| on_plane(p, origin);
    let newest = debrief.season.newest();
    let cameras = debrief.season.cameras.iter().enumerate();
    let cameras = cameras.filter_map(|(i, camera)| {
        // One that was taken down before this season is no part of it.
        let last = *camera.effort.dates.last()?;
        if newest.is_some_and(|y| last < y.first()) {
            return None;
        }
        Some(Mark {
            at: place(camera.place_on(last)?),
            name: camera.name.clone(),
            kind: match has_changed(debrief, i) {
                true => MarkKind::Changed,
                false => MarkKind::Unchanged,
            },
        })
    });
    let disturbances = debrief.single_disturbances().filter_map(|d| {
        Some(Mark { at: place(d.position?), name: d.what.clone(), kind: MarkKind::Disturbance })
    });
    cameras.chain(disturbances).collect()
}

/// Whether a disturbance near a camera clearly changed whom the season is about, there or at all near cameras.
fn has_changed(debrief: &Debrief, camera: usize) -> bool {
    let about = debrief.season.about.kind;
    debrief.shifts.rows.iter().any(|row| {
        let together = || debrief.shifts.together(&row.disturbance, about);
        let is_here = row.camera == Some(camera) && row.kind == about && row.role == Role::Near;
        is_here && (row.is_clear() || together().is_some_and(Shift::is_clear))
    })
}

fn class(sort: LandSort) -> &'static str {
    match sort {
        LandSort::Boundary => "boundary",
        LandSort::Field => "field",
        LandSort::Cover => "cover",
        LandSort::Plot => "plot",
        LandSort::Water => "water",
        LandSort::Way => "way",
        LandSort::Stand => "stand",
        LandSort::Other => "ground",
    }
}

fn ground(feature: &LandFeature, shape: &Geometry, view: View) -> Markup {
    let class = class(feature.sort);
    if let Geometry::Point(point) = shape {
        let at = view.at(point.0);
        return html! { path class=(class) d=(format!("M{:.1} {:.1}l4 7h-8z", at.x, at.y - 4.0)) {} };
    }
    html! { path class=(class) d=(path(shape, view)) {} }
}

/// The outline in the drawing's units, without what no eye would see.
fn path(shape: &Geometry, view: View) -> String {
    let unseen_m = 0.4 / view.px_per_m;
    let line = |line: &geo::LineString, is_closed: bool| {
        let line = line.simplify(unseen_m);
        let mut text = String::new();
        for (i, place) in line.coords().enumerate() {
            let at = view.at(*place);
            let letter = if i == 0 { 'M' } else { 'L' };
            text += &format!("{letter}{:.1} {:.1}", at.x, at.y);
        }
        text + if is_closed { "Z" } else { "" }
    };
    let polygon = |p: &geo::Polygon| -> String {
        let rings = std::iter::once(p.exterior()).chain(p.interiors());
        rings.map(|r| line(r, true)).collect()
    };
    match shape {
        Geometry::Polygon(p) => polygon(p),
        Geometry::MultiPolygon(all) => all.iter().map(polygon).collect(),
        Geometry::LineString(l) => line(l, false),
        Geometry::MultiLineString(all) => all.iter().map(|l| line(l, false)).collect(),
        Geometry::GeometryCollection(all) => all.iter().map(|s| path(s, view)).collect(),
        _ => String::new(),
    }
}

fn dot(mark: &Mark, view: View) -> Markup {
    let Coord { x, y } = view.at(mark.at);
    html! {
        @match mark.kind {
            MarkKind::Unchanged => circle.camera cx=(format!("{x:.1}")) cy=(format!("{y:.1}")) r=(MARK) {},
            MarkKind::Changed => path.changed d=(format!("M{:.1} {:.1}h15l-7.5 13z", x - 7.5, y - 5.0)) {},
            MarkKind::Disturbance => path.cross d=(format!("M{:.1} {:.1}l11 11m0-11l-11 11", x - 5.5, y - 5.5)) {},
        }
    }
}

/// Boxes that hold something already: left, top, right, bottom.
#[derive(Default)]
struct Taken(Vec<[f64; 4]>);

impl Taken {
    fn keep_dot(&mut self, at: Coord) {
        let reach = MARK + 2.0;
        self.0.push([at.x - reach, at.y - reach, at.x + reach, at.y + reach]);
    }

    fn is_free(&self, of: [f64; 4]) -> bool {
        let inside = of[0] >= 2.0 && of[1] >= 2.0 && of[2] <= WIDTH - 2.0 && of[3] <= HEIGHT - 2.0;
        inside
            && self.0.iter().all(|t| of[0] > t[2] || t[0] > of[2] || of[1] > t[3] || t[1] > of[3])
    }

    /// Where a label finds room, on a place or beside it: the middle of its foot.
    fn room(&mut self, words: &str, at: Coord, is_beside: bool) -> Option<Coord> {
        let half = words.chars().count() as f64 * LETTER / 2.0;
        let off = MARK + 5.0;
        let foot = 4.0;
        let on = (0.0, foot);
        let beside = [
            (off + half, foot),
            (-off - half, foot),
            (0.0, off + LINE - 3.0),
            (0.0, -off),
            (off + half, -LINE),
            (-off - half, -LINE),
            (off + half, LINE + foot),
            (-off - half, LINE + foot),
        ];
        let places = std::iter::once(on).filter(|_| !is_beside).chain(beside);
        places.into_iter().find_map(|(x, y)| {
            let at = Coord { x: at.x + x, y: at.y + y };
            let of = [at.x - half, at.y - LINE + 2.0, at.x + half, at.y + 3.0];
            self.is_free(of).then(|| {
                self.0.push(of);
                at
            })
        })
    }
}

/// A label that finds no room is left out: every name stands in the report's tables too.
fn name(words: &str, at: Coord, taken: &mut Taken, class: &str) -> Markup {
    const LONGEST: usize = 26;
    let words = match words.chars().count() > LONGEST {
        true => words.chars().take(LONGEST - 1).collect::<String>() + "…",
        false => words.to_owned(),
    };
    let room = taken.room(&words, at, class == "place");
    html! {
        @if let Some(at) = room {
            text class=(class) x=(format!("{:.1}", at.x)) y=(format!("{:.1}", at.y)) { (words) }
        }
    }
}

fn name_of_ground(
    feature: &LandFeature,
    shape: &Geometry,
    view: View,
    taken: &mut Taken,
) -> Markup {
    let Some(words) = feature.name.as_deref().filter(|_| feature.sort != LandSort::Boundary) else {
        return html! {};
    };
    let large = shape.unsigned_area() > 0.0;
    let inside = shape.interior_point().filter(|_| large);
    let middle = || shape.bounding_rect().map(|r| r.center());
    match inside.map(|p| p.0).or_else(middle) {
        Some(at) => name(words, view.at(at), taken, "ground-name"),
        None => html! {},
    }
}

fn north() -> Markup {
    html! {
        g.north {
            path d="M462 12l6 18h-12z" {}
            text x="462" y="44" { "N" }
        }
    }
}

fn scale(view: View) -> Markup {
    let length = words::round_length_m(150.0 / view.px_per_m);
    let end = 12.0 + length * view.px_per_m;
    let y = HEIGHT - 12.0;
    html! {
        path.scale d=(format!("M12 {:.0}v5H{end:.1}v-5", y - 5.0)) {}
        text.scale-words x=(format!("{:.1}", end + 8.0)) y=(format!("{y:.0}")) {
            (words::length(length))
        }
    }
}
