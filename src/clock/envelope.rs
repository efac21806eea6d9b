//! The lower envelope of late arrivals: the highest line that no point lies
//! below, in the sense of the smallest summed distance.

/// One arrival: audio time against its lateness, both in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Arrival {
    /// Sample count over nominal rate, in seconds.
    pub audio_s: f64,
    /// Arrival time − audio time, in seconds, on an arbitrary origin.
    pub late_s: f64,
}

/// `late_s = at_ref_s + slope * (audio_s - ref_s)`; the slope has no unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    pub ref_s: f64,
    pub at_ref_s: f64,
    pub slope: f64,
}

impl Line {
    /// The line's lateness in seconds at an audio time in seconds.
    pub fn late_at(&self, audio_s: f64) -> f64 {
        self.at_ref_s + self.slope * (audio_s - self.ref_s)
    }

    /// The audio time in seconds that ends at an arrival time in seconds
    /// (same origin): solves `arrival = audio + late_at(audio)`.
    pub fn audio_at(&self, arrival_s: f64) -> f64 {
        (arrival_s - self.at_ref_s + self.slope * self.ref_s) / (1.0 + self.slope)
    }

    /// A line of a known slope that touches the lowest of the points.
    pub fn touching(points: impl Iterator<Item = Arrival> + Clone, slope: f64) -> Option<Self> {
        let ref_s = points.clone().next()?.audio_s;
        let at_ref_s = points
            .map(|p| p.late_s - slope * (p.audio_s - ref_s))
            .fold(f64::INFINITY, f64::min);
        Some(Self {
            ref_s,
            at_ref_s,
            slope,
        })
    }
}

/// The line on or below all points (seconds, ordered by `audio_s`) with the
/// smallest summed distance to them: the edge of the lower convex hull that
/// spans the points' mean time. `None` for fewer than two distinct times.
///
/// Source: S. B. Moon, P. Skelly, D. Towsley (1999), "Estimation and removal of
/// clock skew from network delay measurements", IEEE INFOCOM. Lateness is
/// one-sided, so the envelope is not biased by it as least squares would be.
pub(super) fn lower_line(points: &[Arrival], hull: &mut Vec<Arrival>) -> Option<Line> {
    hull.clear();
    for &p in points {
        while let [.., a, b] = hull.as_slice() {
            let cross = (b.audio_s - a.audio_s) * (p.late_s - a.late_s)
                - (b.late_s - a.late_s) * (p.audio_s - a.audio_s);
            if cross > 0.0 {
                break;
            }
            hull.pop();
        }
        hull.push(p);
    }
    let mean_s = points.iter().map(|p| p.audio_s).sum::<f64>() / points.len() as f64;
    let (a, b) = hull
        .windows(2)
        .map(|w| (w[0], w[1]))
        .find(|(a, b)| a.audio_s <= mean_s && mean_s <= b.audio_s)?;
    let width_s = b.audio_s - a.audio_s;
    (width_s > 0.0).then(|| Line {
        ref_s: a.audio_s,
        at_ref_s: a.late_s,
        slope: (b.late_s - a.late_s) / width_s,
    })
}

/// Room for the fits, so that none of them allocates once it has grown.
#[derive(Debug, Clone)]
pub(super) struct Scratch {
    pub hull: Vec<Arrival>,
    near: Vec<Arrival>,
    values: Vec<f64>,
}

impl Scratch {
    /// Room for fits through at most `points`.
    pub fn for_points(points: usize) -> Self {
        Self {
            hull: Vec::with_capacity(points),
            near: Vec::with_capacity(points),
            values: Vec::with_capacity(points * points.saturating_sub(1) / 2),
        }
    }

    #[cfg(test)]
    pub fn capacity(&self) -> usize {
        self.hull.capacity() + self.near.capacity() + self.values.capacity()
    }
}

/// The slope (no unit) of the half of the points that lies nearest to the
/// lower envelope, and its standard uncertainty: the envelope says which minima
/// were late, and the median of the others' pairwise slopes steadies what one
/// edge of the hull would give. `None` for fewer than two distinct times.
///
/// The uncertainty is that of a straight line through those points (Draper and
/// Smith 1998, Applied Regression Analysis, 1.4; from memory). Their scatter is
/// taken to be at least `floor_s`, and at least the median height of all points
/// over the envelope: on a busy machine the nearest half alone looks too good.
pub(super) fn steady_slope(
    points: &[Arrival],
    floor_s: f64,
    scratch: &mut Scratch,
) -> Option<(f64, f64)> {
    let line = lower_line(points, &mut scratch.hull)?;
    let above = |p: &Arrival| p.late_s - line.late_at(p.audio_s);
    scratch.values.clear();
    scratch.values.extend(points.iter().map(above));
    let half_s = median(&mut scratch.values)?;
    scratch.near.clear();
    scratch
        .near
        .extend(points.iter().filter(|p| above(p) <= half_s));
    let slope = median_slope(&scratch.near, &mut scratch.values)?;
    let n = scratch.near.len() as f64;
    let mean = |of: fn(&Arrival) -> f64| scratch.near.iter().map(of).sum::<f64>() / n;
    let (middle_s, late_s) = (mean(|p| p.audio_s), mean(|p| p.late_s));
    let off_s = |p: &Arrival| p.late_s - late_s - slope * (p.audio_s - middle_s);
    let sum = |of: &dyn Fn(&Arrival) -> f64| scratch.near.iter().map(of).sum::<f64>();
    let scatter_s = (sum(&|p| off_s(p).powi(2)) / (n - 2.0).max(1.0)).sqrt();
    let spread_s = sum(&|p| (p.audio_s - middle_s).powi(2)).sqrt();
    Some((slope, scatter_s.max(half_s).max(floor_s) / spread_s))
}

/// The median of the slopes of all pairs of points (seconds; the slope has no
/// unit). `None` for fewer than two distinct times.
///
/// Source: H. Theil (1950); P. K. Sen (1968), J. Am. Stat. Assoc. 63, 1379–1389.
fn median_slope(points: &[Arrival], slopes: &mut Vec<f64>) -> Option<f64> {
    slopes.clear();
    for (i, a) in points.iter().enumerate() {
        let later = points[i + 1..].iter().filter(|b| b.audio_s > a.audio_s);
        slopes.extend(later.map(|b| (b.late_s - a.late_s) / (b.audio_s - a.audio_s)));
    }
    median(slopes)
}

/// The median; `None` of nothing. The values are sorted by it.
fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    let half = values.len() / 2;
    let upper = values.get(half)?;
    Some(if values.len() % 2 == 1 {
        *upper
    } else {
        (values[half - 1] + upper) / 2.0
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(audio_s: f64, late_s: f64) -> Arrival {
        Arrival { audio_s, late_s }
    }

    #[test]
    fn touches_the_hull_edge_over_the_mean_time() {
        // By hand: the hull is (0,1) (2,0) (6,1) (8,3); the mean time is 4.2.
        let pts = [
            at(0.0, 1.0),
            at(2.0, 0.0),
            at(5.0, 4.0),
            at(6.0, 1.0),
            at(8.0, 3.0),
        ];
        let line = lower_line(&pts, &mut Vec::new()).unwrap();
        assert!((line.slope - 0.25).abs() < 1e-12);
        assert!((line.late_at(2.0)).abs() < 1e-12);
        for p in pts {
            assert!(p.late_s >= line.late_at(p.audio_s) - 1e-12);
        }
    }

    #[test]
    fn median_slope_of_sens_own_example() {
        // Sen (1968): slope 4.
        let t = [1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0];
        let y = [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0];
        let pts: Vec<Arrival> = t.iter().zip(y).map(|(&t, y)| at(t, y)).collect();
        assert_eq!(median_slope(&pts, &mut Vec::new()), Some(4.0));
        assert_eq!(median_slope(&pts[..2], &mut Vec::new()), Some(6.0));
        assert_eq!(median_slope(&pts[..1], &mut Vec::new()), None);
    }

    #[test]
    fn steady_slope_leaves_late_minima_out() {
        // Slope 0.0001, and a later half that is late by 2 ms: the median of
        // all pairs would be pulled up.
        let pts: Vec<Arrival> = (0..30)
            .map(|k| {
                let s = f64::from(k);
                at(s, 1e-4 * s + if k >= 16 { 2e-3 } else { 0.0 })
            })
            .collect();
        let mut scratch = Scratch::for_points(30);
        let (slope, u) = steady_slope(&pts, 1e-5, &mut scratch).unwrap();
        assert!((slope - 1e-4).abs() < 1e-12);
        // By hand: the first sixteen seconds are left, without scatter; the
        // squares of 0 to 15 about their mean sum to 340.
        assert!((u - 1e-5 / 340.0f64.sqrt()).abs() < 1e-9, "{u}");
        assert!(median_slope(&pts, &mut Vec::new()).unwrap() > 1.02e-4);
    }

    #[test]
    fn one_point_or_none_gives_no_line() {
        assert!(lower_line(&[], &mut Vec::new()).is_none());
        assert!(lower_line(&[at(1.0, 0.0)], &mut Vec::new()).is_none());
        assert!(lower_line(&[at(1.0, 0.0), at(1.0, 2.0)], &mut Vec::new()).is_none());
    }

    #[test]
    fn audio_at_undoes_late_at() {
        let line = Line {
            ref_s: 3.0,
            at_ref_s: 0.2,
            slope: 1e-4,
        };
        let arrival_s = 7.5 + line.late_at(7.5);
        assert!((line.audio_at(arrival_s) - 7.5).abs() < 1e-12);
    }
}
