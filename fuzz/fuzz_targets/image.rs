#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    dosewright_tests::fuzz::image::run(data);
});
