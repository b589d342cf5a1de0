//! The things on the bench.


