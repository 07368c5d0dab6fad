//! What a file may ask for: its unpacked size and its number of points.
use super::{DAMAGED, fail};
use crate::error::Result;
use crate::picture::PhotoLimits;
use std::io::Read;

/// Bounds on the memory that a file can claim, by being packed or by what its bytes become.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReadLimits {
    /// Most bytes a packed file (gzip, 3MF, LAZ) may unpack to.
    pub unpacked_bytes: u64,
    /// Most times its packed size that a file may unpack to.
    pub unpacked_ratio: u64,
    /// Most points read.
    pub points: u64,
    /// Most bytes of memory that points, normals, colours and faces may take as they are read.
    pub memory_bytes: u64,
    /// What a texture may ask for, and all textures of a scan together.
    pub picture: PhotoLimits,
}
impl Default for ReadLimits {
    fn default() -> Self {
        Self {
            // a text scan of some 50 million points
            unpacked_bytes: 2 << 30,
            // deflate packs at most 1,032 to 1; text of points packs 3 to 10, a mesh of repeated digits 30 to 1
            unpacked_ratio: 200,
            // indices are 32 bits wide
            points: u32::MAX as u64 - 1,
            // 80 million points; beside the file's own bytes and what is worked out from them, a machine of 8 GB holds that
            memory_bytes: 2 << 30,
            picture: PhotoLimits::default(),
        }
    }
}
/// Small files are not held to the ratio: a kilobyte of zeros does no harm, bytes.
const FREE: u64 = 16 << 20;
/// Times its size that a short text of points takes as numbers: "0 0 0" and a line feed are six bytes and become 24.
const BECOMES: u64 = 4;

impl ReadLimits {
    /// Most bytes that `packed` bytes may become.
    pub(super) fn unpacked(&self, packed: usize) -> u64 {
        self.unpacked_bytes.min(self.unpacked_ratio.saturating_mul(packed as u64).max(FREE))
    }
    /// These limits for what comes out of `packed` bytes: it may take as many times their size in memory as it may unpack to.
    pub(super) fn of_packed(&self, packed: usize) -> Self {
        let most = self.unpacked_ratio.saturating_mul(packed as u64).max(FREE * BECOMES);
        Self { memory_bytes: self.memory_bytes.min(most), ..*self }
    }
    /// All of `reader`, whose packed form has `packed` bytes, or an error once it passes the limit.
    pub(super) fn unpack(&self, what: &str, packed: usize, reader: impl Read) -> Result<Vec<u8>> {
        let most = self.unpacked(packed);
        let mut out = Vec::new();
        reader
            .take(most.saturating_add(1))
            .read_to_end(&mut out)
            .map_err(|e| fail(format!("{what} cannot be unpacked: {e}")).hint(DAMAGED))?;
        self.allow(what, packed, out.len() as u64)?;
        Ok(out)
    }
    /// Refuses `unpacked` bytes out of `packed` where that is beyond the limit.
    pub(super) fn allow(&self, what: &str, packed: usize, unpacked: u64) -> Result<()> {
        let most = self.unpacked(packed);
        if unpacked > most {
            return Err(fail(format!(
                "{what} unpacks {packed} bytes to more than {most} bytes, the limit ({} times its size, at most {} bytes)",
                self.unpacked_ratio, self.unpacked_bytes
            ))
            .hint("if the scan is good, unpack it yourself or thin it"));
        }
        Ok(())
    }
    /// Refuses more points than allowed.
    pub(super) fn allow_points(&self, n: u64) -> Result<()> {
        if n > self.points {
            return Err(fail(format!("the file has {n} points, the limit is {}", self.points)).hint("thin the scan"));
        }
        Ok(())
    }
}
