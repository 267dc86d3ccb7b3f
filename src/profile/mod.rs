//! Stage 7: falls, grades, sags.
