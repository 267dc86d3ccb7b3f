//! The cautions that go with every sheet, page and description. Our wording; local law governs.

/// One paragraph each.
pub const CAUTIONS: [&str; 6] = [
    "NOT EXPOSED unless a mark says so. Positions and depths are computed from signals received at the surface on the date \
     shown. The bounds are modelled: they assume a magnetic field that nothing distorts. What metal pipe, conductors nearby or \
     interference do to it is not in them.",
    "BEFORE DIGGING have the site marked by the one-call centre (in the United States: dial 811) and wait for the marks. Its \
     members often do not mark private laterals, nor private lines beyond a meter: have those located as well. This record is \
     no locate mark.",
    "TOLERANCE ZONE: its width is set by local law. It runs the whole length of the pipe and is counted from the pipe's outside \
     edges. Expose the pipe by hand or by vacuum before any machine works there. The shallowest depth at which it could be met is \
     stated (cover_least).",
    "CROSSING LINES: where another line may cross this sewer, no cutting, jetting or rodding. If a line is hit or gas is \
     suspected: stop, leave, make no spark or flame, warn the occupants, and call the emergency services and the gas utility from a safe \
     distance.",
    "EXCAVATIONS: the greatest depth is stated for planning. Protection is chosen by a competent person (in the United States: \
     29 CFR 1926.652). Nobody enters a manhole or pit without a confined-space procedure.",
    "NO BOUNDARY OR LAND SURVEY. Property lines, if shown, are copied from the file named beside them. \"Checked by\" is as entered and \
     neither a signature nor a seal. Local codes and licensed practice govern.",
];
