//! Products of small dense blocks, column after column. Inlined, so that they use what the processor has where the caller asked for it.

#![allow(
    clippy::inline_always,
    reason = "a processor's own instructions reach only what is inlined into where they were asked for"
)]

/// A block within a slice: entry (i, j) is `values[i * down + j * across]`.
#[derive(Clone, Copy)]
pub(super) struct View<'a> {
    pub(super) values: &'a [f64],
    pub(super) down: usize,
    pub(super) across: usize,
}

impl View<'_> {
    #[inline(always)]
    fn at(&self, i: usize, j: usize) -> f64 {
        self.values[i * self.down + j * self.across]
    }
}

/// `C −= A·B` for a C of `rows` rows, its columns `stride` apart and as many as `columns`; A's columns are `a.1` apart, `depth` of them.
#[inline(always)]
pub(super) fn subtract(
    c: (&mut [f64], usize),
    a: (&[f64], usize),
    b: View<'_>,
    (rows, depth, columns): (usize, usize, usize),
) {
    let (mut rest, stride) = c;
    let mut j = 0;
    while j < columns {
        let pair = j + 1 < columns;
        let width = if pair { 2 * stride } else { stride };
        let (now, later) = rest.split_at_mut(width.min(rest.len()));
        if pair {
            let (left, right) = now.split_at_mut(stride);
            two(&mut left[..rows], &mut right[..rows], a, depth, |q| {
                [b.at(q, j), b.at(q, j + 1)]
            });
            j += 2;
        } else {
            one(&mut now[..rows], a, depth, |q| b.at(q, j));
            j += 1;
        }
        rest = later;
    }
}

/// So many multiplications are worth sharing among threads: our choice, some fifty microseconds.
const WORTH: usize = 1 << 18;

/// [`subtract`] with what the processor has, on all threads where there is much to do: split between pairs of columns, so that every digit
/// stays.
pub(super) fn subtract_wide(
    (c, stride): (&mut [f64], usize),
    a: (&[f64], usize),
    b: View<'_>,
    (rows, depth, columns): (usize, usize, usize),
) {
    if columns < 4 || !is_wide(rows * depth * columns) {
        let size = (rows, depth, columns);
        return pulp::Arch::new().dispatch(|| subtract((c, stride), a, b, size));
    }
    let half = columns / 4 * 2;
    let (left, right) = c.split_at_mut(half * stride);
    let other = View {
        values: &b.values[half * b.across..],
        ..b
    };
    rayon::join(
        || subtract_wide((left, stride), a, b, (rows, depth, half)),
        || subtract_wide((right, stride), a, other, (rows, depth, columns - half)),
    );
}

/// Whether so many multiplications are worth sharing.
pub(super) fn is_wide(multiplications: usize) -> bool {
    multiplications >= WORTH
}

/// Two columns at once, four of A's at a time: what fits sixteen registers.
#[inline(always)]
fn two(
    left: &mut [f64],
    right: &mut [f64],
    (a, stride): (&[f64], usize),
    depth: usize,
    b: impl Fn(usize) -> [f64; 2],
) {
    let rows = left.len();
    let column = |q: usize| &a[q * stride..][..rows];
    let mut q = 0;
    while q + 4 <= depth {
        let [c0, c1, c2, c3] = [0, 1, 2, 3].map(|i| column(q + i));
        let [b0, b1, b2, b3] = [0, 1, 2, 3].map(|i| b(q + i));
        let right = &mut right[..rows];
        for i in 0..rows {
            left[i] -= c0[i] * b0[0] + c1[i] * b1[0] + (c2[i] * b2[0] + c3[i] * b3[0]);
            right[i] -= c0[i] * b0[1] + c1[i] * b1[1] + (c2[i] * b2[1] + c3[i] * b3[1]);
        }
        q += 4;
    }
    for q in q..depth {
        let (c, b) = (column(q), b(q));
        for ((l, r), c) in left.iter_mut().zip(right.iter_mut()).zip(c) {
            *l -= c * b[0];
            *r -= c * b[1];
        }
    }
}

#[inline(always)]
fn one(target: &mut [f64], (a, stride): (&[f64], usize), depth: usize, b: impl Fn(usize) -> f64) {
    let rows = target.len();
    for q in 0..depth {
        let b = b(q);
        for (t, c) in target.iter_mut().zip(&a[q * stride..][..rows]) {
            *t -= c * b;
        }
    }
}
