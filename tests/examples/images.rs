//! Random and mutated ledger images, as many as are asked for: none may make the
//! device panic, or go by a setting that did not pass its check.
//!
//! ```text
//! cargo run --release -p dosewright-tests --example images -- 1000000
//! ```

use std::thread;
use std::time::Instant;

use dosewright_tests::dice::Dice;
use dosewright_tests::fuzz::image;
use dosewright_tests::fuzz::mutate::mutate;

#[derive(Default)]
struct Tally {
    images: u64,
    started: u64,
    with_settings: u64,
    damaged: u64,
}

/// Of ten images one is all random, three have slots with their checks made good.
fn image(seed: u64) -> Vec<u8> {
    let mut dice = Dice::new(seed);
    let mut bytes = image::SEEDS[dice.below(image::SEEDS.len())].to_vec();
    match seed % 10 {
        0 => {
            for byte in &mut bytes {
                *byte = dice.roll() as u8;
            }
        }
        1..=3 => {
            mutate(&mut bytes, &mut dice);
            image::forge(&mut bytes);
        }
        _ => mutate(&mut bytes, &mut dice),
    }
    bytes
}

fn main() {
    let asked = std::env::args().nth(1).map(|word| word.replace('_', "").parse::<u64>());
    let count = match asked {
        None => 100_000,
        Some(Ok(count)) => count,
        Some(Err(_)) => {
            eprintln!("give a number of images, such as 1000000");
            std::process::exit(2);
        }
    };
    let begun = Instant::now();
    let workers = thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let tallies: Vec<Tally> = thread::scope(|scope| {
        let work = |worker| {
            move || {
                let mut tally = Tally::default();
                for seed in (worker..count).step_by(workers as usize) {
                    let became = image::run(&image(seed));
                    tally.images += 1;
                    tally.started += u64::from(became.started);
                    tally.with_settings += u64::from(became.with_settings);
                    tally.damaged += u64::from(became.damaged);
                }
                tally
            }
        };
        let threads: Vec<_> = (0..workers).map(|worker| scope.spawn(work(worker))).collect();
        threads.into_iter().map(|thread| thread.join().expect("no image panics")).collect()
    });
    let sum = |of: fn(&Tally) -> u64| tallies.iter().map(of).sum::<u64>();
    println!(
        "{} images, {:.0} s: {} started a device, {} with settings, {} with the alarm of damage",
        sum(|t| t.images),
        begun.elapsed().as_secs_f64(),
        sum(|t| t.started),
        sum(|t| t.with_settings),
        sum(|t| t.damaged)
    );
    println!("no panic; no setting that is in no slot whose check holds, or out of its range");
}
