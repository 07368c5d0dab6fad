//! The names of a text's columns, as exporters write them: "x", "X [m]", "pos_y", "Z (mm)", "normal x", "Red".

/// Words that say nothing about which column it is: units and what a coordinate is called.
const FILLERS: [&str; 22] = [
    "m",
    "mm",
    "cm",
    "km",
    "in",
    "inch",
    "inches",
    "ft",
    "feet",
    "meter",
    "meters",
    "metre",
    "metres",
    "coord",
    "coords",
    "coordinate",
    "coordinates",
    "pos",
    "position",
    "point",
    "world",
    "value",
];
/// A colour's or a normal's names for its three parts, the long one and the short one.
const COLOR: [[&str; 2]; 3] = [["red", "r"], ["green", "g"], ["blue", "b"]];
const NORMAL: [&str; 3] = ["nx", "ny", "nz"];

/// What each column is called, in plain words.
pub(super) struct Names(Vec<String>);

impl Names {
    /// A line of names without what stands in brackets.
    pub fn without_units(line: &str) -> String {
        let mut depth = 0usize;
        let kept = |c: &char| {
            depth += usize::from(matches!(c, '[' | '('));
            let inside = depth > 0;
            depth = depth.saturating_sub(usize::from(matches!(c, ']' | ')')));
            !inside
        };
        line.chars().filter(kept).collect()
    }
    pub fn of<'a>(words: impl Iterator<Item = &'a str>) -> Self {
        Self(words.map(plain).collect())
    }
    fn place(&self, names: &[&str]) -> Option<usize> {
        self.0.iter().position(|n| names.contains(&n.as_str()))
    }
    pub fn xyz(&self) -> Option<[usize; 3]> {
        Some([self.place(&["x"])?, self.place(&["y"])?, self.place(&["z"])?])
    }
    pub fn normal(&self) -> Option<[usize; 3]> {
        let [x, y, z] = NORMAL.map(|n| self.place(&[n]));
        Some([x?, y?, z?])
    }
    pub fn color(&self) -> Option<[usize; 3]> {
        let [r, g, b] = COLOR.map(|n| self.place(&n));
        Some([r?, g?, b?])
    }
}
fn plain(name: &str) -> String {
    let lower = name.to_ascii_lowercase();
    let words: Vec<&str> =
        lower.split(|c: char| !c.is_ascii_alphanumeric()).filter(|w| !w.is_empty() && !FILLERS.contains(w)).collect();
    match words[..] {
        ["normal" | "n", axis @ ("x" | "y" | "z")] | [axis @ ("x" | "y" | "z"), "normal"] => format!("n{axis}"),
        ["color" | "colour" | "diffuse" | "rgb", one] => one.to_owned(),
        [one] => one.to_owned(),
        _ => words.join(" "),
    }
}
