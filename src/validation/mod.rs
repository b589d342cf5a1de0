//! Whether the program computes what it should, on the machine it runs on (ISO/IEC 17025:2017, 7.11.2: software is to be
//! validated before it is used).
//!
//! [`examples`] are published measurements with published results, embedded in the program; each goes the way a user's
//! file goes. [`coverage`] repeats measurements whose truth is known, and counts. A [`record`] holds what came of both.

pub mod coverage;
pub mod examples;
pub mod record;
