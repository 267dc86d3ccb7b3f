//! Printing: standard output for what is asked for, standard error for what goes wrong.

use std::fmt::Display;
use std::io::{self, IsTerminal, Write};

use super::Status;

/// Where the command prints.
pub struct Output {
    /// `None` once nobody reads it any more.
    stdout: Option<io::BufWriter<io::Stdout>>,
    /// Writing failed for another reason.
    broken: bool,
}

impl Output {
    pub fn new() -> Self {
        Self {
            stdout: Some(io::BufWriter::new(io::stdout())),
            broken: false,
        }
    }

    /// A line for people: control characters in it (a job's texts may hold any) can't steer the terminal.
    pub fn line(&mut self, text: &str) {
        let text = visible(text);
        self.bytes(text.as_bytes());
        self.bytes(b"\n");
    }

    /// Bytes for a program.
    pub fn bytes(&mut self, bytes: &[u8]) {
        let result = self
            .stdout
            .as_mut()
            .map_or(Ok(()), |stdout| stdout.write_all(bytes));
        self.settle(result);
    }

    /// Something that went wrong.
    pub fn problem(&mut self, what: &dyn Display) {
        self.flush();
        // Nothing is left to tell it to, if standard error is closed.
        let _ = writeln!(io::stderr(), "aslaid: {}", visible(&what.to_string()));
    }

    /// Writes out what is buffered, and gives the exit status.
    pub fn finish(mut self, status: Status) -> Status {
        self.flush();
        if self.broken { Status::Stopped } else { status }
    }

    fn flush(&mut self) {
        let result = self.stdout.as_mut().map_or(Ok(()), Write::flush);
        self.settle(result);
    }

    fn settle(&mut self, result: io::Result<()>) {
        let Err(error) = result else { return };
        if let Some(stdout) = self.stdout.take() {
            // Dropped with its buffer: flushing would only fail again.
            let _ = stdout.into_parts();
        }
        // `aslaid check … | head` has read all it wants: no failure. The work goes on, its results are wanted.
        if error.kind() != io::ErrorKind::BrokenPipe {
            self.broken = true;
            self.problem(&format!("standard output can't be written: {error}"));
        }
    }
}

/// Whether somebody watches.
pub fn watched() -> bool {
    io::stderr().is_terminal()
}

/// The text with control characters shown as escapes, line ends as spaces.
pub fn visible(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '\n' | '\r' | '\t' => shown.push(' '),
            // Also the marks that turn the reading direction about.
            c if c.is_control()
                || ('\u{202a}'..='\u{202e}').contains(&c)
                || ('\u{2066}'..='\u{2069}').contains(&c) =>
            {
                shown.extend(c.escape_unicode());
            }
            c => shown.push(c),
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::visible;

    #[test]
    fn a_note_cannot_steer_the_terminal() {
        assert_eq!(visible("a\u{1b}[2Jb\r\nc"), "a\\u{1b}[2Jb  c");
        assert_eq!(visible("12'-6 ½\" – é"), "12'-6 ½\" – é");
    }
}
