//! Stage 4: from the mark to the transmitter: dipole, tilt, depth acceptance.
