//! A camera that was moved or turned without a record is found by what it looks at.

use std::path::Path;

use graylight::card;
use graylight::clock::Timeline;
use graylight::practice::Options;
use graylight::property::Property;
use graylight::view_check::{ViewChange, view_changes};
use image::imageops::{FilterType, crop_imm, resize};
use image::{Rgb, RgbImage};
use indicatif::ProgressBar;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use crate::support::{Place, real_cameras, today};

fn changes(place: &Place) -> Vec<ViewChange> {
    let property = Property::open(place.path()).unwrap();
    let crawl = card::crawl(&property, today(), &ProgressBar::hidden());
    let timeline = Timeline::of(&property, &crawl).unwrap();
    view_changes(&property, &crawl, &timeline).unwrap()
}

/// A practice property of two seasons whose `cameras.csv` knows no dates: the third camera was moved
/// between them and the fourth turned, the others were left alone.
#[test]
fn moves_and_turns_are_found_and_cameras_left_alone_are_not_accused() {
    const SEEDS: u64 = 30;
    let found: Vec<(usize, usize, usize)> = (100..100 + SEEDS)
        .into_par_iter()
        .map(|seed| {
            let place = Place::practice(&Options {
                seed,
                weeks: 4,
                seasons: 2,
                cameras: 6,
                ..Options::default()
            });
            std::fs::remove_file(place.path().join("cameras.csv")).unwrap();
            let found = changes(&place);
            let is_real = |c: &&ViewChange| {
                ["Clover Strip", "Spring Seep"].contains(&c.camera.as_str())
                    && c.before.1.to_string().starts_with("2024")
                    && c.after.1.to_string().starts_with("2025")
            };
            let real = found.iter().filter(is_real).count();
            (real, found.len() - real, 6)
        })
        .collect();
    let sum = |of: fn(&(usize, usize, usize)) -> usize| found.iter().map(of).sum::<usize>();
    let (real, false_ones, cameras) = (sum(|f| f.0), sum(|f| f.1), sum(|f| f.2));
    println!(
        "{real} of {} moves found, {false_ones} false in {} camera-seasons",
        2 * SEEDS,
        2 * cameras
    );
    assert!(real as f64 >= 0.9 * 2.0 * SEEDS as f64, "{real}");
    assert!(false_ones * 20 <= 2 * cameras, "{false_ones} of {}", 2 * cameras);
}

/// Photographs that cameras of several makers took (`reference/real_cameras.py` names the packages) as
/// the views of trail cameras: the light, the noise and a passing animal change from picture to picture.
#[test]
fn views_of_real_photographs() {
    let photographs = tempfile::tempdir().unwrap();
    real_cameras(photographs.path());
    // A folder lists its files in an order of its own.
    let files = std::fs::read_dir(photographs.path()).unwrap();
    let mut files: Vec<_> = files.map(|e| e.unwrap().path()).collect();
    files.sort();
    let views: Vec<RgbImage> = files
        .iter()
        .filter_map(|file| image::open(file).ok())
        .map(|i| i.to_rgb8())
        .filter(|i| i.width() >= 200 && i.height() >= 150)
        .map(|i| resize(&i, 320, 240, FilterType::Triangle))
        .collect();
    assert!(views.len() >= 5, "{} photographs", views.len());
    let (mut found, mut moves, mut false_ones) = (0, 0, 0);
    // A handful of photographs is few: each is played with several noises.
    const ROUNDS: usize = 3;
    for n in 0..ROUNDS * views.len() {
        let view = &views[n % views.len()];
        let other = &views[(n + 1) % views.len()];
        // Another place, and the same place after the camera was turned by half a picture's width.
        for (kind, after) in [(0, Some((other, 80))), (1, Some((view, 160))), (2, None)] {
            let place = Place::new();
            play(&place, view, after, (n * 3 + kind) as u64);
            let told = changes(&place);
            // Within a day of pictures of 15 October.
            let is_real = |c: &&ViewChange| {
                let (before, after) = (c.before.1.to_string(), c.after.1.to_string());
                before.as_str() <= "2025-10-15" && after.as_str() >= "2025-10-14"
            };
            let real = told.iter().filter(is_real).count();
            if real != usize::from(after.is_some()) || told.len() != real {
                println!(
                    "  view {n} kind {kind}: {:?}",
                    told.iter().map(|c| (c.before.1, c.after.1, c.alike)).collect::<Vec<_>>()
                );
            }
            moves += usize::from(after.is_some());
            found += if after.is_some() { real.min(1) } else { 0 };
            false_ones += told.len() - if after.is_some() { real.min(1) } else { 0 };
        }
    }
    println!("{found} of {moves} moves found, {false_ones} false");
    assert!(found * 10 >= moves * 9, "{found} of {moves}");
    assert!(false_ones * 20 <= 3 * ROUNDS * views.len(), "{false_ones}");
}

/// Four weeks of three pictures a day; from 15 October on of another view.
fn play(place: &Place, view: &RgbImage, after: Option<(&RgbImage, u32)>, seed: u64) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    for day in 1..29_u32 {
        for (k, hour) in [8, 12, 16].iter().enumerate() {
            let (scene, from_x) = match after {
                Some((scene, x)) if day >= 15 => (scene, x),
                _ => (view, 0),
            };
            let gain = rng.random_range(0.6..1.3_f32);
            let side = rng.random_range(-0.3..0.3_f32);
            let deer = (rng.random_range(0..120_u32), rng.random_range(60..130_u32));
            let mut picture = crop_imm(scene, from_x, 20, 160, 200).to_image();
            for (x, y, pixel) in picture.enumerate_pixels_mut() {
                let light = gain * (1.0 + side * (x as f32 / 160.0 - 0.5));
                let noise = rng.random_range(-5.0..5.0_f32);
                let in_deer = k == 0 && x.abs_diff(deer.0 + 20) < 20 && y.abs_diff(deer.1) < 12;
                *pixel = if in_deer {
                    Rgb([120, 90, 60])
                } else {
                    Rgb(pixel.0.map(|c| (f32::from(c) * light + noise).clamp(0.0, 255.0) as u8))
                };
            }
            let imprint = graylight::practice::Imprint {
                time: Some(format!("2025-10-{day:02}T{hour:02}:10:00").parse().unwrap()),
                label: "Oak",
                serial: "1",
                position: None,
            };
            let bytes = graylight::practice::jpeg(&picture, &imprint).unwrap();
            let name = format!("cards/Oak/IMG_{:04}.JPG", day * 3 + k as u32);
            place.put(Path::new(&name).to_str().unwrap(), bytes);
        }
    }
}
