//! What to measure next: trial rows through the position stage, never a second solver.
