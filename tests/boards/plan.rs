//! The outline as an index for nearest points.

/// Distance between the outline's points, mm: chords of the tightest tip (10 mm radius) then stay within .004 mm.
const SPACING_MM: f64 = 0.5;
/// What squares of distances may be off by rounding, relative: some times the machine epsilon.
const ROUNDING: f64 = 8.0 * f64::EPSILON;
/// Side of the index's cells, mm.
const CELL_MM: f64 = 12.0;

/// A closed counter-clockwise plan curve as equally spaced points.
pub struct Plan {
    pub points: Vec<[f64; 2]>,
    /// Outward unit normals.
    pub normals: Vec<[f64; 2]>,
    lo: [f64; 2],
    size: [i64; 2],
    cells: Vec<Vec<u32>>,
    /// Edges (by their first point) that touch each strip of x.
    strips: Vec<Vec<u32>>,
}
/// `n` points at equal distances along a closed polygon.
pub fn resample(p: &[[f64; 2]], spacing: f64) -> Vec<[f64; 2]> {
    let length = |i: usize| {
        let (a, b) = (p[i], p[(i + 1) % p.len()]);
        (a[0] - b[0]).hypot(a[1] - b[1])
    };
    let total: f64 = (0..p.len()).map(length).sum();
    let n = (total / spacing).round().max(8.0) as usize;
    let mut out = Vec::with_capacity(n);
    let (mut i, mut done) = (0, 0.0);
    for k in 0..n {
        let s = total * k as f64 / n as f64;
        while i + 1 < p.len() && done + length(i) < s {
            done += length(i);
            i += 1;
        }
        let (a, b) = (p[i], p[(i + 1) % p.len()]);
        let t = if length(i) > 0.0 { (s - done) / length(i) } else { 0.0 };
        out.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
    }
    out
}
impl Plan {
    pub fn new(polygon: &[[f64; 2]]) -> Self {
        let points = resample(polygon, SPACING_MM);
        let n = points.len();
        let normals = (0..n)
            .map(|i| {
                let (a, b) = (points[(i + n - 1) % n], points[(i + 1) % n]);
                let l = (b[0] - a[0]).hypot(b[1] - a[1]).max(1e-12);
                [(b[1] - a[1]) / l, (a[0] - b[0]) / l]
            })
            .collect();
        let far = |f: fn(f64, f64) -> f64, s: f64, k: usize| points.iter().map(|p| p[k]).fold(s, f);
        let lo = [0, 1].map(|k| far(f64::min, f64::INFINITY, k));
        let hi = [0, 1].map(|k| far(f64::max, f64::NEG_INFINITY, k));
        let size = [0, 1].map(|k| ((hi[k] - lo[k]) / CELL_MM) as i64 + 1);
        let mut cells = vec![Vec::new(); (size[0] * size[1]) as usize];
        for (i, p) in points.iter().enumerate() {
            let c = [0, 1].map(|k| (((p[k] - lo[k]) / CELL_MM) as i64).min(size[k] - 1));
            cells[(c[0] * size[1] + c[1]) as usize].push(i as u32);
        }
        let mut strips = vec![Vec::new(); size[0] as usize];
        for i in 0..n {
            let strip = |p: [f64; 2]| (((p[0] - lo[0]) / CELL_MM) as i64).clamp(0, size[0] - 1) as usize;
            let (a, b) = (strip(points[i]), strip(points[(i + 1) % n]));
            for s in &mut strips[a.min(b)..=a.max(b)] {
                s.push(i as u32);
            }
        }
        Self { points, normals, lo, size, cells, strips }
    }
    /// Lower and upper corner of the box round the curve.
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        self.points.iter().fold(([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]), |(l, h), p| {
            ([l[0].min(p[0]), l[1].min(p[1])], [h[0].max(p[0]), h[1].max(p[1])])
        })
    }
    /// Index of the point nearest to `q` and its distance, where one lies within `reach`.
    pub fn nearest(&self, q: [f64; 2], reach: f64) -> Option<(usize, f64)> {
        let c = [0, 1].map(|k| ((q[k] - self.lo[k]) / CELL_MM).floor() as i64);
        let mut best: Option<(usize, f64)> = None;
        // squares tell at once what is farther for sure
        let mut most_sq = f64::INFINITY;
        for ring in 0..=(reach / CELL_MM).ceil() as i64 {
            // nothing in this ring is nearer than its inner border
            if best.is_some_and(|b| b.1 < (ring - 1) as f64 * CELL_MM) {
                break;
            }
            for i in -ring..=ring {
                let edge = i.abs() == ring;
                for j in (-ring..=ring).step_by(if edge || ring == 0 { 1 } else { 2 * ring as usize }) {
                    let (a, b) = (c[0] + i, c[1] + j);
                    if a < 0 || b < 0 || a >= self.size[0] || b >= self.size[1] {
                        continue;
                    }
                    for &k in &self.cells[(a * self.size[1] + b) as usize] {
                        let p = self.points[k as usize];
                        let [x, y] = [p[0] - q[0], p[1] - q[1]];
                        if x * x + y * y > most_sq {
                            continue;
                        }
                        let d = x.hypot(y);
                        if best.is_none_or(|b| d < b.1) {
                            best = Some((k as usize, d));
                            most_sq = d * d * (1.0 + ROUNDING);
                        }
                    }
                }
            }
        }
        best.filter(|b| b.1 <= reach)
    }
    /// Whether `q` is inside (even-odd rule).
    pub fn contains(&self, q: [f64; 2]) -> bool {
        let strip = ((q[0] - self.lo[0]) / CELL_MM).floor() as i64;
        if strip < 0 || strip >= self.size[0] {
            return false;
        }
        let mut inside = false;
        for &i in &self.strips[strip as usize] {
            let (a, b) = (self.points[i as usize], self.points[(i as usize + 1) % self.points.len()]);
            if (a[0] > q[0]) != (b[0] > q[0]) && q[1] < a[1] + (q[0] - a[0]) / (b[0] - a[0]) * (b[1] - a[1]) {
                inside = !inside;
            }
        }
        inside
    }
    /// Signed distance from the curve, negative inside, with the index of the nearest point; beyond `reach` only the sign
    /// holds and the distance is `reach`.
    pub fn signed(&self, q: [f64; 2], reach: f64) -> (f64, usize) {
        match self.nearest(q, reach) {
            Some((i, d)) => {
                let n = self.points.len();
                let (p, m) = (self.points[i], self.normals[i]);
                let side = (q[0] - p[0]) * m[0] + (q[1] - p[1]) * m[1];
                // along a smooth piece the component along the normal is the distance to the chord
                if d < 2.0 * SPACING_MM {
                    return (side, i);
                }
                // at a pointed tip the normal of one point does not tell the side
                let turn = m[0] * self.normals[(i + 1) % n][0] + m[1] * self.normals[(i + 1) % n][1];
                let inside = if side.abs() > 0.7 * d && turn > 0.7 { side < 0.0 } else { self.contains(q) };
                (if inside { -d } else { d }, i)
            }
            None => (if self.contains(q) { -reach } else { reach }, 0),
        }
    }
    /// Widest station: greatest extent across at one x, by a scan of stations 1 mm apart.
    pub fn width(&self) -> f64 {
        let (lo, hi) = self.bounds();
        let n = (hi[0] - lo[0]).ceil() as usize;
        let mut span = vec![(f64::INFINITY, f64::NEG_INFINITY); n + 1];
        for p in &self.points {
            let s = &mut span[(p[0] - lo[0]) as usize];
            *s = (s.0.min(p[1]), s.1.max(p[1]));
        }
        span.iter().map(|s| s.1 - s.0).fold(0.0, f64::max)
    }
}
