//! Constants and distributions of the normal and chi-square families.

/// Two-sided 95 % of the normal distribution.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;
/// One-sided 95 % of the normal distribution.
pub const NORMAL_95_ONE_SIDED: f64 = 1.644_853_626_951_472_2;
/// Two-sided 99.9 % of the normal distribution (Baarda's α = 0.001): alarms that are repeated for each mark.
pub const ALARM: f64 = 3.290_526_731_491_906;
/// Root of the 95 % quantile of chi-square with two degrees of freedom: 95 % ellipse over one-sigma.
pub const ELLIPSE_95: f64 = 2.447_746_830_680_816;
