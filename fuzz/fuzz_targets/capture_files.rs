#![no_main]

libfuzzer_sys::fuzz_target!(|data: &[u8]| downbeat_fuzz::bodies::capture_files(data));
