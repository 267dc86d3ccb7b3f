//! The command: the only place that prints, and the only clock.
