//! What the listener wrote down, and how it compares with what was sent.

use crate::pattern;
use std::path::Path;

/// A stretch of heard samples that is bit for bit what was sent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// First position heard.
    pub at: usize,
    /// The sample sent that it is.
    pub sent: u64,
    pub len: usize,
}

pub struct Heard {
    pub samples: Vec<f32>,
    pub log: String,
    pub stderr: String,
}

impl Heard {
    pub fn read(dir: &Path) -> Self {
        let text = |name: &str| std::fs::read_to_string(dir.join(name)).unwrap_or_default();
        let bytes = std::fs::read(dir.join("heard.f32")).unwrap_or_default();
        Self {
            samples: bytes
                .chunks_exact(4)
                .map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]))
                .collect(),
            log: text("heard.log"),
            stderr: text("heard.err"),
        }
    }

    /// The lines of one kind, split into fields.
    pub fn lines(&self, kind: &str) -> Vec<Vec<&str>> {
        self.log
            .lines()
            .map(|l| l.split('\t').collect::<Vec<_>>())
            .filter(|l| l[0] == kind)
            .map(|l| l[1..].to_vec())
            .collect()
    }

    /// The lines of one kind as numbers.
    pub fn numbers(&self, kind: &str) -> Vec<Vec<f64>> {
        self.lines(kind)
            .iter()
            .map(|l| l.iter().filter_map(|f| f.parse().ok()).collect())
            .collect()
    }

    /// Everything but samples and probes, for messages.
    pub fn story(&self) -> String {
        let told = |l: &&str| !l.starts_with("pull") && !l.starts_with("probe");
        self.log.lines().filter(told).collect::<Vec<_>>().join("\n")
    }

    pub fn tells(&self, words: &str) -> bool {
        self.story().contains(words)
    }

    /// The stretches that are bit for bit what was sent, in order; what lies
    /// between them is not.
    pub fn runs(&self, bits: u32) -> Vec<Run> {
        const SURE: usize = 24;
        let sent = |k: u64| pattern::value(k, bits) as f32;
        let same = |at: usize, k: u64, n: usize| {
            self.samples.len() >= at + n
                && (0..n).all(|i| self.samples[at + i] == sent(k + i as u64))
        };
        let mut runs = Vec::new();
        let (mut at, mut next, mut strange) = (0, 0u64, 0);
        // Much that was never sent is a failure, and a slow one to search through.
        while at + SURE <= self.samples.len() && strange < 500 {
            // Nothing sent is searched for further than 30 s at 48 kHz ahead.
            let silent = self.samples[at..at + SURE].iter().all(|&x| x == 0.0);
            let found = (!silent)
                .then(|| (next..next + 1_500_000).find(|&k| same(at, k, SURE)))
                .flatten();
            let Some(k) = found else {
                at += 1;
                strange += usize::from(!silent);
                continue;
            };
            let mut len = SURE;
            while at + len < self.samples.len() && self.samples[at + len] == sent(k + len as u64) {
                len += 1;
            }
            runs.push(Run { at, sent: k, len });
            at += len;
            next = k + len as u64;
        }
        runs
    }

    /// What was heard before and from a position, without the log.
    pub fn split(&self, at: usize) -> (Self, Self) {
        let part = |samples: &[f32]| Self {
            samples: samples.to_vec(),
            log: String::new(),
            stderr: String::new(),
        };
        let (a, b) = self.samples.split_at(at);
        (part(a), part(b))
    }

    /// All heard samples are one stretch of what was sent: none lost, none
    /// changed, none added. Gives the sample that position 0 is.
    pub fn whole(&self, bits: u32) -> u64 {
        let runs = self.runs(bits);
        assert_eq!(runs.len(), 1, "{runs:?}\n{}", self.story());
        assert_eq!(runs[0].at, 0, "{runs:?}");
        assert_eq!(runs[0].len, self.samples.len());
        runs[0].sent
    }
}

/// The value that a share `q` of the numbers stays below (nearest rank).
pub fn quantile(values: &[f64], q: f64) -> f64 {
    let mut v = values.to_vec();
    v.sort_by(f64::total_cmp);
    v[((v.len() as f64 * q).ceil() as usize).clamp(1, v.len()) - 1]
}
