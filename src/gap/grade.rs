//! Grades of closed-cell foam.

/// A grade by ASTM D1056: how hard the foam is to press to three quarters of its height.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Grade {
    /// The grade, 0 to 5.
    pub number: u8,
    /// Class letter, A to D; `None` where only the number is known.
    pub class: Option<char>,
    /// Least and greatest pressure at 25 %, kPa.
    pub pressure_at_25_kpa: [f64; 2],
}
/// kPa in a pound-force per square inch (NIST SP 811).
const KPA: f64 = 6.894_757;

impl Grade {
    /// The grade of a call-out such as "2C1" (closed cells, class C, grade 1) or of a bare number; `None` for any other text,
    /// open cells among them.
    ///
    /// # References
    /// ASTM D1056, pressure at 25 %, psi: grade 0 below 2, 1 2 to 5, 2 5 to 9; classes A to C 3 9 to 13, 4 13 to 17, 5 17 to 25;
    /// class D 3 9 to 15, 4 15 to 22, 5 22 to 30 (as foam makers' guides print the standard's table).
    pub fn named(text: &str) -> Option<Self> {
        let mut letters: Vec<char> = text.trim().to_ascii_uppercase().chars().collect();
        let number = letters.pop()?.to_digit(10)? as u8;
        let class = match letters.as_slice() {
            [] => None,
            ['2', c @ 'A'..='D'] => Some(*c),
            _ => return None,
        };
        let psi = match (number, class) {
            (0, _) => [0.0, 2.0],
            (1, _) => [2.0, 5.0],
            (2, _) => [5.0, 9.0],
            (3, Some('D')) => [9.0, 15.0],
            (4, Some('D')) => [15.0, 22.0],
            (5, Some('D')) => [22.0, 30.0],
            (3, _) => [9.0, 13.0],
            (4, _) => [13.0, 17.0],
            (5, _) => [17.0, 25.0],
            _ => return None,
        };
        Some(Self { number, class, pressure_at_25_kpa: psi.map(|p| KPA * p) })
    }
    /// The middle of its range, kPa.
    pub fn middle_kpa(&self) -> f64 {
        (self.pressure_at_25_kpa[0] + self.pressure_at_25_kpa[1]) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    /// ASTM D1056: grade 1 14 to 34 kPa, grade 2 34 to 62 kPa, grade 3 62 to 90 kPa (rounded to a kPa in the table).
    #[test]
    fn the_standards_table() {
        for (name, want) in [("1", [14.0, 34.0]), ("2C2", [34.0, 62.0]), ("2a3", [62.0, 90.0])] {
            let g = Grade::named(name).unwrap();
            for k in 0..2 {
                assert!((g.pressure_at_25_kpa[k] - want[k]).abs() < 0.6, "{name} {:?}", g.pressure_at_25_kpa);
            }
        }
        assert!(Grade::named("2D5").unwrap().middle_kpa() > Grade::named("2C5").unwrap().middle_kpa());
        for bad in ["", "6", "2E1", "1A1", "C1", "2C"] {
            assert!(Grade::named(bad).is_none(), "{bad}");
        }
    }
}
