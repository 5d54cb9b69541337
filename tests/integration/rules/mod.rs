//! Every rule: a made capture on which it fires, a near miss on which it does not, and where absence is its evidence,
//! one that makes it say "cannot tell".

mod carriage;
mod causes;
mod delay;
mod elections;
mod followers;
mod likely_causes;
mod load;
mod media;
mod multicast;
mod over;
mod pages;
mod places;
mod quality;
mod rates;
mod redundancy;
mod security;
mod thinned;
