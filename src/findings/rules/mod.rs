//! One file a rule: what, why, limit and source, example.
