//! The setup file: as written, checked, faults.


