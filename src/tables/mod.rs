//! Maps for what is looked up with every message: ordered when they are gone through, quick when one key is asked for.

mod few;
mod hashing;
mod queue;
mod slots;

pub use few::Few;
pub use hashing::{Folded, Keyed, Seeded};
pub use queue::Queue;
pub use slots::Slots;
