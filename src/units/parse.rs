//! Every form in which a length, an angle or a station may be typed.
