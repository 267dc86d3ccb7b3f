//! A large job's files, written a section at a time: nothing of the job is held but the sections being worked on.
//!
//! Every thread takes the next section, computes it and makes its rows into bytes; the bytes are put into the files in the order of
//! the sections. Findings stand by level and code in their files, so each code's wait in a file of their own, without a name.

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::fs::File;
use std::io::{self, Seek, Write};
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Condvar, Mutex, PoisonError};
use std::time::Duration;

use super::deliver::Delivered;
use super::geojson::Extent;
use super::place::{Earlier, failed, place};
use super::{Format, View, findings};
use crate::error::Error;
use crate::findings::{Code, Finding, Level};
use crate::record::AsBuilt;
use crate::watch::after;

/// A file whose rows can be made a section at a time.
pub trait BySection: Sync {
    /// What stands before the rows.
    fn begin(&self, view: &View<'_>, out: &mut dyn Write) -> io::Result<()>;
    /// Appends the rows of a record, each after [`Self::between`].
    fn rows(&self, view: &View<'_>, out: &mut Vec<u8>) -> io::Result<()>;
    /// What stands between rows, and so before each but the first.
    fn between(&self) -> &'static [u8];
    /// What stands after the rows, which reach so far.
    fn end(&self, extent: &Extent, out: &mut dyn Write) -> io::Result<()>;
}

/// Bytes of findings that are held before they go into a file.
const HELD: usize = 1 << 20;

/// The bytes of one section.
#[derive(Default)]
struct Bytes {
    files: Vec<Vec<u8>>,
    /// By level, errors first, and code: the table's rows, and the array's entries.
    findings: BTreeMap<(Reverse<Level>, Code), [Vec<u8>; 2]>,
    extent: Extent,
}

/// Bytes in a file without a name.
struct Waiting {
    file: File,
    held: Vec<u8>,
}

impl Waiting {
    fn push(&mut self, bytes: &[u8]) -> io::Result<()> {
        if self.held.is_empty() && bytes.len() >= HELD {
            return self.file.write_all(bytes);
        }
        self.held.extend_from_slice(bytes);
        if self.held.len() >= HELD {
            self.file.write_all(&self.held)?;
            self.held.clear();
        }
        Ok(())
    }

    /// Appends everything to `out`, but for its first `skip` bytes.
    fn drain(mut self, skip: usize, out: &mut File) -> io::Result<()> {
        self.file.write_all(&self.held)?;
        self.file.seek(io::SeekFrom::Start(skip as u64))?;
        io::copy(&mut self.file, out).map(|_| ())
    }
}

/// What becomes of the sections' bytes.
struct Sink<'a> {
    folder: &'a Path,
    formats: &'a [&'a dyn BySection],
    files: Vec<(File, bool)>,
    findings: BTreeMap<(Reverse<Level>, Code), [Waiting; 2]>,
    extent: Extent,
}

impl Sink<'_> {
    fn take(&mut self, section: &Bytes) -> io::Result<()> {
        for (((out, begun), bytes), format) in
            self.files.iter_mut().zip(&section.files).zip(self.formats)
        {
            let skip = if *begun { 0 } else { format.between().len() };
            out.write_all(bytes.get(skip..).unwrap_or_default())?;
            *begun |= !bytes.is_empty();
        }
        let some = |(_, both): &(_, &[Vec<u8>; 2])| both.iter().any(|bytes| !bytes.is_empty());
        for (key, both) in section.findings.iter().filter(some) {
            let waiting = match self.findings.entry(*key) {
                Entry::Occupied(slot) => slot.into_mut(),
                Entry::Vacant(slot) => {
                    let waiting = || -> io::Result<Waiting> {
                        let file = tempfile::tempfile_in(self.folder)?;
                        Ok(Waiting {
                            file,
                            held: Vec::new(),
                        })
                    };
                    slot.insert([waiting()?, waiting()?])
                }
            };
            for (waiting, bytes) in waiting.iter_mut().zip(both) {
                waiting.push(bytes)?;
            }
        }
        self.extent.merge(&section.extent);
        Ok(())
    }
}

/// A job that gives its record section by section; `None` for one that has to be computed whole.
pub type Section<'a> = &'a (dyn Fn(usize) -> Option<AsBuilt> + Sync);

/// Writes everything into `root/id`; `None` if a section says that the job has to be computed whole: then nothing has changed.
///
/// # Errors
/// [`Error::Write`]; earlier results then stand as they were.
pub fn deliver(
    root: &Path,
    id: &str,
    (count, section): (usize, Section<'_>),
    formats: &[&dyn Format],
) -> Result<Option<Delivered>, Error> {
    let Some(first) = section(0) else {
        return Ok(None);
    };
    let (mut absent, mut files, mut written) = (Vec::new(), Vec::new(), Vec::new());
    for format in formats {
        match (format.absent(&first), format.by_section()) {
            (Some(why), _) => absent.push((format.file(), why)),
            (None, Some(by_section)) => {
                files.push(format.file());
                written.push(by_section);
            }
            (None, None) => return Ok(None),
        }
    }
    let odd = AtomicBool::new(false);
    let fill = |folder: &Path| -> Result<(), Error> {
        let write = || -> io::Result<()> {
            let view = View::new(&first);
            let mut sink = Sink {
                folder,
                formats: &written,
                files: Vec::new(),
                findings: BTreeMap::new(),
                extent: Extent::default(),
            };
            for (name, format) in files.iter().zip(&written) {
                let mut out = File::create(folder.join(name))?;
                format.begin(&view, &mut out)?;
                sink.files.push((out, false));
            }
            let sink = Mutex::new(sink);
            let open: io::Result<Vec<File>> = {
                let sink = sink.lock().unwrap_or_else(PoisonError::into_inner);
                sink.files
                    .iter()
                    .map(|(file, _)| file.try_clone())
                    .collect()
            };
            let done = flushing(&open?, || all(count, section, &written, &sink))?;
            if !done {
                odd.store(true, Ordering::Relaxed);
                return Err(io::Error::other("not in sections"));
            }
            let sink = sink.into_inner().unwrap_or_else(PoisonError::into_inner);
            for ((mut out, _), format) in sink.files.into_iter().zip(&written) {
                format.end(&sink.extent, &mut out)?;
                out.sync_all()?;
            }
            finish(folder, sink.findings)
        };
        write().map_err(|e| failed(folder, &e))
    };
    match place(root, id, Earlier::Replace, &fill) {
        Err(_) if odd.load(Ordering::Relaxed) => Ok(None),
        Err(error) => Err(error),
        Ok(folder) => {
            files.extend([findings::CSV, findings::JSON]);
            Ok(Some(Delivered {
                folder,
                files,
                absent,
            }))
        }
    }
}

/// How often the disk is asked to take what was written so far.
const PAUSE: Duration = Duration::from_millis(200);

/// Says that something is over, in whatever way.
struct Over<'a>(&'a Mutex<bool>, &'a Condvar);

impl Drop for Over<'_> {
    fn drop(&mut self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = true;
        self.1.notify_all();
    }
}

/// Does `work`, while the files that it writes are brought to the disk again and again: what is left for their last flush is little.
fn flushing<T>(files: &[File], work: impl FnOnce() -> io::Result<T>) -> io::Result<T> {
    let (done, ended) = (Mutex::new(false), Condvar::new());
    // An error of the disk is told once, so it must be kept here.
    let flush = || -> io::Result<()> {
        loop {
            files.iter().try_for_each(File::sync_data)?;
            let held = done.lock().unwrap_or_else(PoisonError::into_inner);
            let waited = ended.wait_timeout_while(held, PAUSE, |over| !*over);
            if *waited.unwrap_or_else(PoisonError::into_inner).0 {
                return Ok(());
            }
        }
    };
    std::thread::scope(|scope| {
        let flusher = scope.spawn(flush);
        let over = Over(&done, &ended);
        let result = work();
        drop(over);
        let flushed = flusher
            .join()
            .unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        result.and_then(|result| flushed.map(|()| result))
    })
}

/// Whose turn it is to put its bytes into the files.
#[derive(Default)]
struct Turn {
    at: Mutex<usize>,
    moved: Condvar,
    stopped: AtomicBool,
}

impl Turn {
    /// Waits for a section's turn; false if there is nothing to wait for any more.
    fn wait(&self, section: usize) -> bool {
        let mut at = self.at.lock().unwrap_or_else(PoisonError::into_inner);
        while *at != section && !self.over() {
            at = self.moved.wait(at).unwrap_or_else(PoisonError::into_inner);
        }
        !self.over()
    }

    fn pass(&self) {
        *self.at.lock().unwrap_or_else(PoisonError::into_inner) += 1;
        self.moved.notify_all();
    }

    fn stop(&self) {
        // Under the lock, so that no one is between looking and waiting.
        let held = self.at.lock().unwrap_or_else(PoisonError::into_inner);
        self.stopped.store(true, Ordering::Relaxed);
        drop(held);
        self.moved.notify_all();
    }

    fn over(&self) -> bool {
        self.stopped.load(Ordering::Relaxed)
    }
}

/// Stops the others when its thread ends in any way but the good one.
struct Watch<'a>(&'a Turn);

impl Drop for Watch<'_> {
    fn drop(&mut self) {
        self.0.stop();
    }
}

/// Makes every section and puts it into the sink in order, on as many threads as there are; false if some section says that the
/// job has to be computed whole.
fn all(
    count: usize,
    section: Section<'_>,
    formats: &[&dyn BySection],
    sink: &Mutex<Sink<'_>>,
) -> io::Result<bool> {
    let (next, turn) = (AtomicUsize::new(0), Turn::default());
    let work = || -> io::Result<bool> {
        let watch = Watch(&turn);
        // What is parallel inside a section stays on this thread: the sections are what runs side by side.
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(1)
            .use_current_thread()
            .build();
        let _pool = pool.map_err(io::Error::other)?;
        let mut made = Bytes::default();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            if at >= count || turn.over() {
                break;
            }
            let Some(record) = section(at) else {
                return Ok(false);
            };
            after("rows", made.remake(&record, formats))?;
            drop(record);
            if !turn.wait(at) {
                break;
            }
            sink.lock()
                .unwrap_or_else(PoisonError::into_inner)
                .take(&made)?;
            turn.pass();
        }
        std::mem::forget(watch);
        Ok(true)
    };
    let threads = rayon::current_num_threads().clamp(1, count.max(1));
    std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        let ends: Vec<io::Result<bool>> = workers
            .into_iter()
            .map(|worker| match worker.join() {
                Ok(end) => end,
                Err(panic) => std::panic::resume_unwind(panic),
            })
            .collect();
        ends.into_iter().try_fold(true, |all, end| Ok(all & end?))
    })
}

impl Bytes {
    /// Makes those of another section, in the room of the last one's.
    fn remake(&mut self, record: &AsBuilt, formats: &[&dyn BySection]) -> io::Result<()> {
        let view = View::new(record);
        self.extent = Extent::of(&view);
        self.files.resize_with(formats.len(), Vec::new);
        for (format, bytes) in formats.iter().zip(&mut self.files) {
            bytes.clear();
            format.rows(&view, bytes)?;
        }
        for bytes in self.findings.values_mut().flatten() {
            bytes.clear();
        }
        // They are in order of level and code already.
        let alike = |a: &Finding, b: &Finding| (a.level, a.code) == (b.level, b.code);
        for some in record.findings.chunk_by(alike) {
            let Some(first) = some.first() else { continue };
            let key = (Reverse(first.level), first.code);
            let both = self.findings.entry(key).or_default();
            findings::append_csv(some, &mut both[0]);
            findings::append_json(some, None, &mut both[1]);
        }
        Ok(())
    }
}

/// Puts the findings in their order.
fn finish(
    folder: &Path,
    findings: BTreeMap<(Reverse<Level>, Code), [Waiting; 2]>,
) -> io::Result<()> {
    let mut table = File::create(folder.join(findings::CSV))?;
    let mut array = File::create(folder.join(findings::JSON))?;
    findings::write_csv(&[], None, &mut table)?;
    let none = findings.is_empty();
    array.write_all(if none { b"[]\n" } else { b"[" })?;
    // Every entry stands after a comma, but the first.
    let mut skip = 1;
    for (_, [rows, entries]) in findings {
        rows.drain(0, &mut table)?;
        entries.drain(skip, &mut array)?;
        skip = 0;
    }
    if !none {
        array.write_all(b"\n]\n")?;
    }
    table.sync_all()?;
    array.sync_all()
}
