//! Against other roads to the same answer.
