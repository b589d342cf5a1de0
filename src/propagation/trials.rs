//! Running an experiment many times, in parallel, with the same numbers every time.

use crate::quantity::stream::Streams;
use rayon::prelude::*;
use std::ops::Range;

/// Trials are run in blocks of this many: what an experiment draws once a block, it draws once a
/// [`BLOCK`] trials, counted from trial 0, so that chunks and threads cannot shift it.
pub const BLOCK: usize = 256;

/// Something that can be tried again and again: trial i gives `n_outputs` numbers.
///
/// Must depend on nothing but the streams and the trial's number.
pub trait Experiment: Sync {
    /// Working memory, made once a block's thread and used again from block to block.
    type Scratch: Send;

    /// How many numbers one trial gives.
    fn n_outputs(&self) -> usize;

    /// Fresh working memory.
    fn scratch(&self) -> Self::Scratch;

    /// Runs one block: `trials` starts at a multiple of [`BLOCK`] and holds at most that many;
    /// `out[k]` has one place a trial for output k.
    fn run_block(
        &self,
        streams: &Streams,
        trials: Range<u64>,
        out: &mut [&mut [f64]],
        scratch: &mut Self::Scratch,
    );
}

/// The outputs of the given trials, `[output][trial]`; 8 bytes a number and nothing else is kept.
///
/// `trials.start` must be a multiple of [`BLOCK`]. `on_progress` is told the trials of each block as it is done,
/// from any thread.
pub fn run_trials<E: Experiment>(
    experiment: &E,
    streams: &Streams,
    trials: Range<u64>,
    on_progress: &(dyn Fn(u64) + Sync),
) -> Vec<Vec<f64>> {
    assert!(trials.start.is_multiple_of(BLOCK as u64), "trials start at a multiple of the block");
    let n = trials.end.saturating_sub(trials.start) as usize;
    let mut outputs = vec![vec![0.0; n]; experiment.n_outputs()];
    let mut blocks: Vec<Vec<&mut [f64]>> = (0..n.div_ceil(BLOCK)).map(|_| Vec::new()).collect();
    for output in &mut outputs {
        for (block, places) in blocks.iter_mut().zip(output.chunks_mut(BLOCK)) {
            block.push(places);
        }
    }
    blocks.into_par_iter().enumerate().for_each_init(
        || experiment.scratch(),
        |scratch, (index, mut out)| {
            let first = trials.start + (index * BLOCK) as u64;
            let size = out.first().map_or(0, |places| places.len()) as u64;
            experiment.run_block(streams, first..first + size, &mut out, scratch);
            on_progress(size);
        },
    );
    outputs
}
