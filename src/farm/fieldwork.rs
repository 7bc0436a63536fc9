//! Laws of field work: capacity, draft, fuel, thrown soil.
