//! How a measurand depends on its inputs.


