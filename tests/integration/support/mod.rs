//! What several test modules share. No check lives here.
pub(crate) mod craft;
