//! Where a capture was taken, and what therefore cannot be seen.
//!
//! [`Traffic`] counts who talks to whom, [`Roles`] says which MAC addresses lead and follow, [`Viewpoint`] is
//! what both together show of the place, and [`Scope`] answers whether one certain thing would be in view. What
//! rests on an absence asks it first, and nobody else.
//! The place is a hint and never a proof: where the signs are thin it is [`Seat::Unknown`].

mod absence;
mod alike;
mod bounded;
mod judge;
mod limits;
mod roles;
mod scope;
mod signs;
mod traffic;

pub use absence::Visibility;
pub use alike::Alike;
pub use judge::{Seat, Viewpoint};
pub use roles::Roles;
pub use scope::{Scope, Sight};
pub use signs::Measured;
pub use traffic::{Counts, KEPT, Pair, Station, Traffic};
