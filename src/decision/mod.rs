//! What may be done with the result.


