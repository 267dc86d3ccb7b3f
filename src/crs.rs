//! Coordinate systems: the only user of PROJ.
//!
//! Axis order, always and whatever the CRS says: **easting, northing; longitude, latitude**. Projected
//! coordinates are in **metres** here (the CRS's value times its unit); geographic ones in **radians**.
