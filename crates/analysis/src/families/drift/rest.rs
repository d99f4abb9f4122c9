//! A phase at rest as data: where the counts stand, in groups and in windows. Judges nothing.

use crate::series::Sample;
use crate::step::PhaseView;
use std::borrow::Cow;
use std::ops::Range;

/// Counts at rest that are nearer to each other than this belong together, nanoseconds.
pub(super) const GROUP: i64 = 100_000_000;
/// The hand lets go in this time, or in a third of a short phase; what it does then is not looked at, seconds.
const LETTING_GO: f64 = 2.0;
/// Places in time while the hand lets go from which a settling may be reckoned.
const STARTS: usize = 33;

/// Seconds of a phase of so many that are not looked at.
fn letting_go(whole: f64) -> f64 {
    LETTING_GO.min(whole / 3.0)
}

/// Seconds of a phase at rest of so many that are looked at.
pub fn looked_at(whole: f64) -> f64 {
    whole - letting_go(whole)
}

/// X and Y, in counts or in units of the caller's.
pub(super) type Pair = [f64; 2];

/// Length of a pair.
pub(super) fn length(v: Pair) -> f64 {
    v[0].hypot(v[1])
}

/// What a group of counts is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// Single counts, none of which comes back.
    Single,
    /// A pair of counts, one on each axis, that no slow motion explains.
    Pair,
    /// A count or some that go and come back.
    Tremble,
    /// A knock on the desk.
    Knock,
    /// No faster than the counts before it: a settling or a steady creep goes on.
    Going,
    /// A run of counts.
    Burst,
    /// Longer than a burst or a knock lasts.
    Long,
}

/// Counts that lie near to each other in time.
#[derive(Clone, Debug)]
pub(super) struct Group {
    /// Rows of the phase's samples.
    pub(super) rows: Range<usize>,
    /// Time of the first and last report.
    pub(super) begin: i64,
    /// See `begin`.
    pub(super) end: i64,
    /// Place before it.
    pub(super) before: Pair,
    /// Counts in the end.
    pub(super) net: Pair,
    /// Highest less lowest place on each axis.
    pub(super) range: Pair,
    /// Counts along the path.
    pub(super) path: f64,
    /// Times that an axis turns round.
    pub(super) turns: u32,
    /// What it is.
    pub(super) what: What,
}

/// A phase at rest.
pub(super) struct Rest<'a> {
    /// All of the phase's samples.
    pub(super) samples: Cow<'a, [Sample]>,
    /// Where looking begins: the hand has let go.
    pub(super) from: i64,
    /// The phase's end.
    pub(super) end: i64,
    /// Time that is looked at, seconds.
    pub(super) seconds: f64,
    /// Counts after `from`.
    pub(super) groups: Vec<Group>,
    /// Times and places, in counts, while the hand lets go.
    pub(super) starts: Vec<(i64, Pair)>,
    /// Counts before `from`.
    pub(super) let_go: Pair,
    /// Farthest from where it lay at first that the place was before `from`, counts.
    pub(super) let_go_reach: f64,
    /// True if knocks on the desk recur: it was not left alone.
    pub(super) shaken: bool,
    /// True if knocks run into each other.
    pub(super) joined: bool,
}

impl<'a> Rest<'a> {
    /// Gathers a phase, with its counts in steps of so many. `None` if it has no length.
    pub(super) fn new(phase: &'a PhaseView, step: i32) -> Option<Rest<'a>> {
        let (begin, end) = (phase.span.begin.0, phase.span.end.0);
        let whole = end.checked_sub(begin).filter(|&ns| ns > 0)? as f64 * 1e-9;
        let skip = letting_go(whole);
        let from = begin + (skip * 1e9) as i64;
        let samples = match step {
            1 => Cow::Borrowed(phase.series.samples.as_slice()),
            _ => {
                let all = phase.series.samples.iter();
                all.map(|s| Sample { x: s.x / step, y: s.y / step, ..*s }).collect()
            }
        };
        let first = samples.partition_point(|s| s.t < from);
        let (mut starts, mut place, mut row) = (Vec::with_capacity(STARTS), [0.0; 2], 0);
        let mut let_go_reach = 0.0f64;
        for i in 0..STARTS {
            let t = begin + (skip * 1e9 * i as f64 / (STARTS - 1) as f64) as i64;
            while row < first && samples[row].t < t {
                place = moved(place, &samples[row]);
                let_go_reach = let_go_reach.max(length(place));
                row += 1;
            }
            starts.push((t, place));
        }
        let groups = groups(&samples, first, place);
        Some(Rest {
            samples,
            from,
            end,
            seconds: whole - skip,
            groups,
            starts,
            let_go: place,
            let_go_reach,
            shaken: false,
            joined: false,
        })
    }

    /// Counts that a trend is made of: less knocks and bursts. Where knocks recur or run into each other, their net stays,
    /// as one report: what creeps meanwhile is in it, and its ends lie on either side of the same counts' edges.
    pub(super) fn calm(&self) -> impl Iterator<Item = Sample> {
        let stays = self.shaken || self.joined;
        self.groups.iter().flat_map(move |g| {
            let rows = match g.what {
                What::Burst | What::Pair | What::Knock => 0..0,
                _ => g.rows.clone(),
            };
            let net = self.samples[g.rows.clone()].last().filter(|_| g.what == What::Knock && stays);
            let net = net.map(|last| Sample { x: g.net[0] as i32, y: g.net[1] as i32, ..*last });
            self.samples[rows].iter().copied().chain(net)
        })
    }

    /// Groups of one sort.
    pub(super) fn of(&self, what: What) -> impl Iterator<Item = &Group> {
        self.groups.iter().filter(move |g| g.what == what)
    }

    /// Bursts of either sort.
    pub(super) fn bursts(&self) -> impl Iterator<Item = &Group> {
        self.groups.iter().filter(|g| matches!(g.what, What::Burst | What::Pair))
    }

    /// Mean place and its variance about that mean, less knocks and bursts, in each window of `width` seconds.
    pub(super) fn windows(&self, width: f64) -> Vec<(Pair, Pair)> {
        let n = (self.seconds / width).floor().max(0.0) as usize;
        let mut sums = vec![([0.0; 2], [0.0; 2]); n];
        let width = width * 1e9;
        let (mut place, mut at) = ([0.0f64; 2], 0.0f64);
        let mut stay = |place: Pair, from: f64, to: f64| {
            let mut t = from;
            while t < to {
                let i = (t / width) as usize;
                let Some((sum, squares)) = sums.get_mut(i) else { break };
                let until = to.min((i + 1) as f64 * width).max(t + 1.0);
                for axis in [0, 1] {
                    sum[axis] += place[axis] * (until - t) / width;
                    squares[axis] += place[axis] * place[axis] * (until - t) / width;
                }
                t = until;
            }
        };
        for s in self.calm() {
            let now = (s.t - self.from) as f64;
            stay(place, at, now);
            (place, at) = (moved(place, &s), now.max(at));
        }
        stay(place, at, n as f64 * width);
        let variance =
            |(mean, squares): (Pair, Pair)| (mean, [0, 1].map(|a| (squares[a] - mean[a] * mean[a]).max(0.0)));
        sums.into_iter().map(variance).collect()
    }

    /// Places at `n` even times from `from` on, less knocks and bursts.
    pub(super) fn sampled(&self, interval: f64, n: usize) -> [Vec<f64>; 2] {
        let mut out = [Vec::with_capacity(n), Vec::with_capacity(n)];
        let mut calm = self.calm().peekable();
        let mut place = [0.0; 2];
        for i in 0..n {
            let t = self.from + ((i as f64 + 0.5) * interval) as i64;
            while let Some(s) = calm.next_if(|s| s.t <= t) {
                place = moved(place, &s);
            }
            out[0].push(place[0]);
            out[1].push(place[1]);
        }
        out
    }
}

pub(super) fn moved(place: Pair, s: &Sample) -> Pair {
    [place[0] + f64::from(s.x), place[1] + f64::from(s.y)]
}

fn groups(samples: &[Sample], first: usize, start: Pair) -> Vec<Group> {
    let mut out: Vec<Group> = Vec::new();
    let mut place = start;
    let mut row = first;
    while row < samples.len() {
        let begin = row;
        row += 1;
        while row < samples.len() && samples[row].t - samples[row - 1].t <= GROUP {
            row += 1;
        }
        let group = group(samples, begin..row, place);
        place = [0, 1].map(|axis| place[axis] + group.net[axis]);
        out.push(group);
    }
    out
}

/// These rows as one group, whose place before them is given.
pub(super) fn group(samples: &[Sample], rows: Range<usize>, before: Pair) -> Group {
    let (mut place, mut low, mut high, mut path, mut turns) = (before, before, before, 0.0, 0u32);
    let mut last = [0i32; 2];
    let (mut begin, mut end) = (None, 0);
    for s in &samples[rows.clone()] {
        (begin, end) = (begin.or(Some(s.t)), s.t);
        place = moved(place, s);
        path += f64::from(s.x).hypot(f64::from(s.y));
        for (axis, step) in [s.x.signum(), s.y.signum()].into_iter().enumerate() {
            turns = turns.saturating_add(u32::from(step * last[axis] < 0));
            last[axis] = if step == 0 { last[axis] } else { step };
            low[axis] = low[axis].min(place[axis]);
            high[axis] = high[axis].max(place[axis]);
        }
    }
    Group {
        rows,
        begin: begin.unwrap_or(end),
        end,
        before,
        net: [place[0] - before[0], place[1] - before[1]],
        range: [high[0] - low[0], high[1] - low[1]],
        path,
        turns,
        what: What::Single,
    }
}
