//! Stage 10: the record as files. Trait and registry; one file a format.
