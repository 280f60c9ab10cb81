#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let mut image = data.to_vec();
    dosewright_tests::fuzz::image::forge(&mut image);
    dosewright_tests::fuzz::image::run(&image);
});
