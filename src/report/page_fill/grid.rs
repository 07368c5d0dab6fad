//! Values over the plan on a square grid.
use crate::geom::Polygon;
use crate::num::{median, quantile};
use crate::report::{LayerColours, Packed, PageLayer};

/// An empty grid over the outline's box, a node beyond it all round.
pub(super) fn grid(outline: &Polygon, step_mm: f64) -> PageLayer {
    let (lo, hi) = outline.bounds();
    let nodes = [0, 1].map(|k| ((hi[k] - lo[k]) / step_mm).ceil() as usize + 3);
    let values = Packed(vec![f64::NAN; nodes[0] * nodes[1]]);
    PageLayer { origin_mm: lo.map(|v| v - step_mm), step_mm, nodes, values, ..PageLayer::default() }
}
impl PageLayer {
    pub(super) fn named(mut self, key: &str, name: &str, unit: &str, about: &str, from: &str) -> Self {
        self.key = key.into();
        self.name = name.into();
        self.unit = unit.into();
        self.about = about.into();
        self.from = from.into();
        self
    }
    /// Sets the scale's ends so that they hold `share` of the values, rounded outward to two digits.
    pub(super) fn scaled(mut self, colours: LayerColours, share: f64) -> Self {
        let v: Vec<f64> = self.values.0.iter().copied().filter(|v| v.is_finite()).collect();
        let tail = (1.0 - share) / 2.0;
        let (l, h) = if v.is_empty() { (0.0, 1.0) } else { (quantile(&v, tail), quantile(&v, 1.0 - tail)) };
        let digits = |v: f64| 10f64.powf(v.abs().max(f64::MIN_POSITIVE).log10().floor() - 1.0);
        let out = |v: f64, d: f64| (v / d).ceil() * d;
        (self.least, self.most) = match colours {
            LayerColours::Signed => {
                let m = l.abs().max(h.abs());
                let m = out(m, digits(m));
                (-m, m)
            }
            LayerColours::Gap => (0.0, out(h.max(1.0), digits(h.max(1.0)))),
            LayerColours::Rising | LayerColours::Own => (-out(-l, digits(h - l)), out(h, digits(h - l))),
        };
        self.colours = colours;
        self
    }
    /// Zero at every node over the outline and a step beyond it; found once for all layers, it is most of their work.
    pub(super) fn covering(mut self, outline: &Polygon) -> Self {
        let over = outline.within(1.5 * self.step_mm);
        for k in 0..self.values.0.len() {
            if over.holds(self.node(k)) {
                self.values.0[k] = 0.0;
            }
        }
        self
    }
    fn node(&self, k: usize) -> [f64; 2] {
        let [_, ny] = self.nodes;
        [(0, k / ny), (1, k % ny)].map(|(axis, i)| self.origin_mm[axis] + self.step_mm * i as f64)
    }
    /// The same layer with every covered node filled.
    pub(super) fn filled(&self, f: impl Fn(f64, f64) -> f64) -> Self {
        let mut to = self.clone();
        for (k, v) in to.values.0.iter_mut().enumerate().filter(|(_, v)| v.is_finite()) {
            let [x, y] = self.node(k);
            *v = f(x, y);
        }
        to
    }
    /// Fills with the median of the values near each node.
    pub(super) fn gathered(mut self, values: impl Iterator<Item = ([f64; 2], f64)>) -> Self {
        let mut cells: Vec<Vec<f64>> = vec![Vec::new(); self.values.0.len()];
        for (p, v) in values {
            let [i, j] = [0, 1].map(|k| ((p[k] - self.origin_mm[k]) / self.step_mm).round());
            if i >= 0.0 && j >= 0.0 && i < self.nodes[0] as f64 && j < self.nodes[1] as f64 {
                cells[i as usize * self.nodes[1] + j as usize].push(v);
            }
        }
        for (to, cell) in self.values.0.iter_mut().zip(&cells) {
            if !cell.is_empty() {
                *to = median(cell);
            }
        }
        self
    }
}
