//! The frame of a RIFF file: a four-letter name, a length, the bytes, padded to
//! an even number (IBM/Microsoft, Multimedia Programming Interface and Data
//! Specifications 1.0, 1991, chapter 2). RF64/BW64 (EBU Tech 3306; ITU-R
//! BS.2088) replace the 32-bit lengths by a `ds64` chunk.

use std::io::{self, Read};

/// A chunk's length that says "not known" (a streamed file) or, in RF64, "see
/// `ds64`".
pub const LEN_UNKNOWN: u32 = u32::MAX;

/// One chunk's name and length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChunkHeader {
    /// The four letters.
    pub id: [u8; 4],
    /// Bytes of content, without the padding byte.
    pub len: u32,
}

impl ChunkHeader {
    /// Reads the eight bytes of a chunk header; `None` at the end of the file,
    /// also when fewer than eight bytes are left.
    pub fn read(from: &mut impl Read) -> io::Result<Option<Self>> {
        let mut bytes = [0_u8; 8];
        if read_as_much(from, &mut bytes)? < bytes.len() {
            return Ok(None);
        }
        let [a, b, c, d, e, f, g, h] = bytes;
        Ok(Some(Self {
            id: [a, b, c, d],
            len: u32::from_le_bytes([e, f, g, h]),
        }))
    }

    /// The eight bytes of the header.
    pub fn to_bytes(self) -> [u8; 8] {
        let [a, b, c, d] = self.id;
        let [e, f, g, h] = self.len.to_le_bytes();
        [a, b, c, d, e, f, g, h]
    }

    /// Bytes of content with the padding to an even number.
    pub fn padded_len(self) -> u64 {
        u64::from(self.len) + u64::from(self.len % 2)
    }
}

/// Reads until the buffer is full or the source ends; gives the bytes read.
pub fn read_as_much(from: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut filled = 0;
    while filled < buffer.len() {
        match from.read(&mut buffer[filled..]) {
            Ok(0) => break,
            Ok(n) => filled += n,
            Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    Ok(filled)
}

/// Reads and drops up to `len` bytes; gives how many there were.
pub fn skip(from: &mut impl Read, len: u64) -> io::Result<u64> {
    io::copy(&mut from.take(len), &mut io::sink())
}

/// The little-endian 16-bit number at `at`, or `None` past the end.
pub fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    let two = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_le_bytes([*two.first()?, *two.get(1)?]))
}

/// The little-endian 32-bit number at `at`, or `None` past the end.
pub fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    four.try_into().ok().map(u32::from_le_bytes)
}

/// The little-endian 64-bit number at `at`, or `None` past the end.
pub fn u64_at(bytes: &[u8], at: usize) -> Option<u64> {
    let eight = bytes.get(at..at.checked_add(8)?)?;
    eight.try_into().ok().map(u64::from_le_bytes)
}
