//! What the fuzz targets run. `bodies` is shared with the tests, which replay the corpus (tests/integration/fuzz_corpus.rs).
#![allow(missing_docs, dead_code)]

#[path = "../bodies/mod.rs"]
pub mod bodies;

mod support;
