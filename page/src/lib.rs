//! The library of faydeck for a browser page: bytes in, bytes out.
//!
//! A page keeps one [`Bench`] in a worker and asks it in JSON ([`Ask`]); files travel beside the JSON as they are. What was
//! worked out is kept as long as what it was made from stays the same, so that a change of the enclosure makes the enclosure
//! anew and nothing else.
mod abi;
mod ask;
mod bench;
mod views;
pub use ask::{Answer, Ask, answered};
pub use bench::Bench;
