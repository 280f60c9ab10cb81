#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    dosewright_tests::fuzz::message::run(data);
    dosewright_tests::fuzz::message::run(&dosewright_tests::fuzz::message::forge(data));
});
