//! Rows of a table made into bytes on all threads, and written in their own order.

use std::io::{self, Write};

use rayon::prelude::*;

use super::table::Row;

/// Rows made into bytes at once on one thread: enough that handing them out costs nothing beside (our choice).
const BUNDLE: usize = 512;
/// Bundles held at once: what bounds the memory.
const BUNDLES: usize = 32;

/// What appends the bytes of some rows; the flag says whether the very first row is among them.
pub type Each<'f, 'a> = dyn Fn(bool, &[Row<'a>], &mut Vec<u8>) -> io::Result<()> + Sync + 'f;

/// Writes rows: `each` appends the bytes of some of them.
///
/// # Errors
/// The first error of `each`, or of `out`.
pub fn write<'a>(
    rows: impl Iterator<Item = Row<'a>>,
    out: &mut dyn Write,
    each: &Each<'_, 'a>,
) -> io::Result<()> {
    let mut rows = rows.peekable();
    let mut first = true;
    let mut held: Vec<Row<'a>> = Vec::new();
    while rows.peek().is_some() {
        held.clear();
        held.extend(rows.by_ref().take(BUNDLE * BUNDLES));
        if held.len() <= BUNDLE {
            let mut bytes = Vec::new();
            each(first, &held, &mut bytes)?;
            out.write_all(&bytes)?;
        } else {
            let bundles: Vec<io::Result<Vec<u8>>> = held
                .par_chunks(BUNDLE)
                .enumerate()
                .map(|(at, bundle)| {
                    let mut bytes = Vec::with_capacity(BUNDLE * 512);
                    each(first && at == 0, bundle, &mut bytes).map(|()| bytes)
                })
                .collect();
            for bytes in bundles {
                out.write_all(&bytes?)?;
            }
        }
        first = false;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::table::Item;
    use crate::findings::{Code, Finding};

    #[test]
    fn every_row_in_order_however_many() {
        for count in [0, 1, BUNDLE, BUNDLE + 1, BUNDLE * BUNDLES * 2 + 3] {
            let findings: Vec<Finding> = (0..count)
                .map(|n| Finding::new(Code::Unchecked, n.to_string()))
                .collect();
            let rows = findings.iter().map(|finding| Row {
                record: None,
                item: Item::Finding(finding),
            });
            let mut out = Vec::new();
            write(rows, &mut out, &|first, rows, bytes| {
                for (at, row) in rows.iter().enumerate() {
                    let Item::Finding(finding) = row.item else {
                        continue;
                    };
                    let mark = if first && at == 0 { "" } else { "," };
                    bytes.extend_from_slice(mark.as_bytes());
                    bytes.extend_from_slice(finding.message.as_bytes());
                }
                Ok(())
            })
            .unwrap();
            let expected: Vec<String> = (0..count).map(|n| n.to_string()).collect();
            assert_eq!(String::from_utf8(out).unwrap(), expected.join(","));
        }
    }
}
