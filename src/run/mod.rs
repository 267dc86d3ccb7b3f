//! Stage 6: order, cable, bends, camera observations.
