//! One result in, text or pixels out.


