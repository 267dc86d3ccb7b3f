//! The receiver log: GGA, GST and RMC sentences, a window of epochs for each place.

use super::crew::{self, Crew};
use super::frame::{Frame, Ground};

/// Epochs in a window, one a second.
const EPOCHS: u32 = 12;
/// Scatter of an epoch about its window's place: small beside the error that the whole window shares, our choice.
const SCATTER: f64 = 0.003;

/// A log that grows.
#[derive(Default)]
pub struct Log {
    /// Its lines.
    pub lines: Vec<String>,
    windows: u32,
}

impl Log {
    /// Logs a window at a place and antenna height; returns its first and last time.
    pub fn window(
        &mut self,
        at: Ground,
        height: f64,
        frame: &Frame,
        crew: &mut Crew,
    ) -> [String; 2] {
        let start = 8 * 3600 + 90 * self.windows;
        self.windows += 1;
        for second in start..start + EPOCHS {
            let epoch = crew.place(at, SCATTER);
            let up = height + crew.error(SCATTER);
            self.epoch(second, epoch, up, frame);
        }
        [clock(start, ":"), clock(start + EPOCHS - 1, ":")]
    }

    fn epoch(&mut self, second: u32, at: Ground, height: f64, frame: &Frame) {
        let [lon, lat] = frame.geographic(at).map(f64::to_degrees);
        let north = if lat < 0.0 { 'S' } else { 'N' };
        let east = if lon < 0.0 { 'W' } else { 'E' };
        let place = format!(
            "{},{north},{},{east}",
            minutes(lat.abs(), 2),
            minutes(lon.abs(), 3)
        );
        let time = clock(second, "") + ".00";
        let separation = frame.crs.separation;
        let level = height - separation;
        let vertical = crew::VERTICAL_RATIO * crew::RTK;
        let sigmas = format!("{0:.3},{0:.3},{vertical:.3}", crew::RTK);
        self.say(&format!(
            "GNGGA,{time},{place},4,14,0.7,{level:.3},M,{separation:.3},M,1.0,0001"
        ));
        self.say(&format!("GNGST,{time},,,,,{sigmas}"));
        self.say(&format!("GNRMC,{time},A,{place},0.0,0.0,210426,,"));
    }

    fn say(&mut self, sentence: &str) {
        let checksum = sentence.bytes().fold(0, |sum, byte| sum ^ byte);
        self.lines.push(format!("${sentence}*{checksum:02X}"));
    }
}

fn clock(second: u32, between: &str) -> String {
    format!(
        "{:02}{between}{:02}{between}{:02}",
        second / 3600,
        second / 60 % 60,
        second % 60
    )
}

/// Degrees and minutes run together, eight places of a minute: 20 µm.
fn minutes(degrees: f64, width: usize) -> String {
    let units = (degrees * 60e8).round() as u64;
    let (degrees, units) = (units / 6_000_000_000, units % 6_000_000_000);
    format!(
        "{degrees:0width$}{:02}.{:08}",
        units / 100_000_000,
        units % 100_000_000
    )
}

#[cfg(test)]
mod tests {
    use super::{Log, clock, minutes};

    #[test]
    fn sentences_have_the_checksum_of_a_published_one() {
        let mut log = Log::default();
        log.say("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,");
        assert_eq!(
            log.lines,
            ["$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"]
        );
        assert_eq!(minutes(48.1173, 2), "4807.03800000");
        assert_eq!(minutes(11.999_999_999_99, 3), "01200.00000000");
        assert_eq!(clock(8 * 3600 + 61, ":"), "08:01:01");
    }
}
