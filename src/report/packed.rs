//! Numbers and bytes as short text inside a page.
use serde::{Serialize, Serializer};

/// Numbers written as `{ "least", "step", "data" }`: base64 of 16-bit little-endian counts of `step` above `least`; the
/// greatest count stands for "not a number". The error is at most half a step, a 131 000th of the range.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Packed(pub Vec<f64>);
/// Vertex numbers, written as `{ "bytes", "data" }`: base64 of little-endian integers of 2 or 4 bytes.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Indices(pub Vec<[u32; 3]>);
/// Bytes of a file, written as base64.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Bytes(pub Vec<u8>);

/// Count that stands for "not a number".
const NONE: u16 = u16::MAX;
/// Greatest count of a number.
const MOST: f64 = (u16::MAX - 1) as f64;

#[derive(Serialize)]
struct Numbers {
    least: f64,
    step: f64,
    data: String,
}
#[derive(Serialize)]
struct Integers {
    bytes: u8,
    data: String,
}

impl FromIterator<f64> for Packed {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        Self(values.into_iter().collect())
    }
}
impl Serialize for Packed {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let finite = || self.0.iter().copied().filter(|v| v.is_finite());
        let (least, most) = finite().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        let (least, step) = if least <= most { (least, (most - least) / MOST) } else { (0.0, 0.0) };
        let count = |v: f64| match v.is_finite() {
            true if step > 0.0 => ((v - least) / step).round().min(MOST) as u16,
            true => 0,
            false => NONE,
        };
        let data = base64(self.0.iter().flat_map(|v| count(*v).to_le_bytes()));
        Numbers { least, step, data }.serialize(to)
    }
}
impl Serialize for Indices {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let all = || self.0.iter().flatten();
        let short = all().all(|i| u16::try_from(*i).is_ok());
        let (bytes, data) = match short {
            true => (2, base64(all().flat_map(|i| (*i as u16).to_le_bytes()))),
            false => (4, base64(all().flat_map(|i| i.to_le_bytes()))),
        };
        Integers { bytes, data }.serialize(to)
    }
}
impl Serialize for Bytes {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&base64(self.0.iter().copied()))
    }
}

/// Base64 with padding (RFC 4648, section 4).
fn base64(bytes: impl Iterator<Item = u8>) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    let mut put = |group: &[u8]| {
        let word = group.iter().enumerate().fold(0u32, |w, (k, b)| w | u32::from(*b) << (16 - 8 * k));
        for k in 0..4 {
            let digit = DIGITS[(word >> (18 - 6 * k) & 63) as usize];
            out.push(if k > group.len() { '=' } else { char::from(digit) });
        }
    };
    let (mut group, mut n) = ([0u8; 3], 0);
    for b in bytes {
        group[n] = b;
        n += 1;
        if n == 3 {
            put(&group);
            n = 0;
        }
    }
    if n > 0 {
        put(&group[..n]);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    /// RFC 4648, section 10, test vectors.
    #[test]
    fn base64_as_the_standard_says() {
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.bytes()), text);
        }
    }
    #[test]
    fn numbers_keep_their_ends_and_their_holes() {
        let v = serde_json::to_value(Packed(vec![-2.0, f64::NAN, 3.0])).unwrap();
        // counts 0, 65535, 65534 as bytes 00 00 ff ff fe ff
        assert_eq!(v["data"], "AAD///7/");
        let (least, step) = (v["least"].as_f64().unwrap(), v["step"].as_f64().unwrap());
        assert!(least == -2.0 && (least + 65_534.0 * step - 3.0).abs() < 1e-12);
        for odd in [vec![], vec![f64::NAN; 2], vec![7.0; 2]] {
            let v = serde_json::to_value(Packed(odd)).unwrap();
            assert_eq!(v["step"], 0.0);
        }
        let v = serde_json::to_value(Indices(vec![[0, 1, 65_536]])).unwrap();
        assert_eq!((v["bytes"].as_u64(), v["data"].as_str()), (Some(4), Some("AAAAAAEAAAAAAAEA")));
    }
}
