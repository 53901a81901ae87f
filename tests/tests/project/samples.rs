//! Right implementations must not be accused, and each fault must get its name.

mod choosing;
mod digest;
mod drawn_profiles;
mod either_way;
mod faults;
mod fuzz_regressions;
mod inferred;
mod profile_keys;
mod service_order;
mod vectors;
