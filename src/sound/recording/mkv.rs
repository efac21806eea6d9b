//! What a Matroska or WebM file says of its end that the demuxer does not pass on:
//! the padding after the last sample (RFC 9559: 5.1.3.5.7 DiscardPadding, 4 EBML
//! elements, 10 block structure).

use std::io::{self, Read, Seek, SeekFrom};

use crate::sound::riff::read_as_much;

const EBML: u32 = 0x1a45_dfa3;
const SEGMENT: u32 = 0x1853_8067;
const CLUSTER: u32 = 0x1f43_b675;
const SIMPLE_BLOCK: u32 = 0xa3;
const BLOCK_GROUP: u32 = 0xa0;
const BLOCK: u32 = 0xa1;
const DISCARD_PADDING: u32 = 0x75a2;

/// A file with more elements than this is not walked to its end.
const MAX_ELEMENTS: u32 = 1_000_000;

/// An element: its identity, the place of its content, and the place after it.
#[derive(Clone, Copy)]
struct Element {
    id: u32,
    from: u64,
    to: u64,
}

/// The padding of each track's last block, in nanoseconds: (number of the track,
/// padding). Empty where the file has none or is not whole. The reader is left
/// anywhere.
pub fn paddings(from: &mut (impl Read + Seek)) -> io::Result<Vec<(u64, u64)>> {
    let len = from.seek(SeekFrom::End(0))?;
    let mut walk = Walk { from, elements: 0 };
    let mut out = Vec::new();
    let header = walk.element(0, len)?.filter(|e| e.id == EBML);
    let segment = match header {
        Some(header) => walk.element(header.to, len)?,
        None => None,
    };
    let Some(segment) = segment.filter(|e| e.id == SEGMENT) else {
        return Ok(out);
    };
    let mut last = None;
    let mut at = segment.from;
    while let Some(element) = walk.element(at, segment.to)? {
        if element.id == CLUSTER {
            last = Some(element);
        }
        at = element.to;
    }
    let Some(cluster) = last else {
        return Ok(out);
    };
    let mut at = cluster.from;
    while let Some(element) = walk.element(at, cluster.to)? {
        let of_last = match element.id {
            SIMPLE_BLOCK => walk.number(element)?.map(|track| (track, 0)),
            BLOCK_GROUP => walk.group(element)?,
            _ => None,
        };
        if let Some((track, padding)) = of_last {
            out.retain(|(other, _)| *other != track);
            out.push((track, padding));
        }
        at = element.to;
    }
    Ok(out)
}

struct Walk<'a, R> {
    from: &'a mut R,
    elements: u32,
}

impl<R: Read + Seek> Walk<'_, R> {
    /// The element at a place; `None` at the end, for what makes no sense, and for
    /// one that ends after the file does.
    fn element(&mut self, at: u64, end: u64) -> io::Result<Option<Element>> {
        self.elements += 1;
        if self.elements > MAX_ELEMENTS || at >= end {
            return Ok(None);
        }
        let head = self.bytes(at, 12)?;
        let Some((id, id_len)) = vint(&head, true) else {
            return Ok(None);
        };
        let Some((len, len_len)) = vint(&head[id_len..], false) else {
            return Ok(None);
        };
        let from = at + (id_len + len_len) as u64;
        // All ones: a length that is not known, which only the segment may have here.
        let is_open = len == (1 << (7 * len_len)) - 1;
        let to = if is_open && id == u64::from(SEGMENT) {
            end
        } else {
            from.saturating_add(len)
        };
        let id = u32::try_from(id).unwrap_or(0);
        Ok((to <= end).then_some(Element { id, from, to }))
    }

    /// The track's number, with which a block begins.
    fn number(&mut self, block: Element) -> io::Result<Option<u64>> {
        let head = self.bytes(block.from, 8)?;
        Ok(vint(&head, false).map(|(number, _)| number))
    }

    fn group(&mut self, group: Element) -> io::Result<Option<(u64, u64)>> {
        let (mut track, mut padding) = (None, 0);
        let mut at = group.from;
        while let Some(element) = self.element(at, group.to)? {
            match element.id {
                BLOCK => track = self.number(element)?,
                DISCARD_PADDING => padding = self.signed(element)?,
                _ => {}
            }
            at = element.to;
        }
        Ok(track.map(|track| (track, u64::try_from(padding).unwrap_or(0))))
    }

    fn signed(&mut self, element: Element) -> io::Result<i64> {
        let len = element.to - element.from;
        let bytes = self.bytes(element.from, 8)?;
        let Some(bytes) = usize::try_from(len).ok().and_then(|n| bytes.get(..n)) else {
            return Ok(0);
        };
        let first = bytes.first().map_or(0, |b| i64::from(b.cast_signed()));
        let rest = bytes.iter().skip(1);
        Ok(rest.fold(first, |sum, b| sum << 8 | i64::from(*b)))
    }

    fn bytes(&mut self, at: u64, len: usize) -> io::Result<Vec<u8>> {
        self.from.seek(SeekFrom::Start(at))?;
        let mut bytes = vec![0; len];
        let got = read_as_much(self.from, &mut bytes)?;
        bytes.truncate(got);
        Ok(bytes)
    }
}

/// A number of variable length, with or without the bit that marks the length.
fn vint(bytes: &[u8], with_mark: bool) -> Option<(u64, usize)> {
    let first = *bytes.first()?;
    let len = first.leading_zeros() as usize + 1;
    if len > 8 {
        return None;
    }
    let rest = bytes.get(1..len)?;
    let mark = 0x80_u64 >> (len - 1);
    let start = u64::from(first) & if with_mark { 0xff } else { mark - 1 };
    let number = rest.iter().fold(start, |sum, b| sum << 8 | u64::from(*b));
    Some((number, len))
}

#[cfg(test)]
mod tests {
    use super::vint;

    /// RFC 8794, section 4.4: lengths of numbers; a first byte of 0 has none.
    #[test]
    fn numbers_of_variable_length() {
        assert_eq!(vint(&[0x82], false), Some((2, 1)));
        assert_eq!(vint(&[0x40, 0x02], false), Some((2, 2)));
        assert_eq!(
            vint(&[0x1a, 0x45, 0xdf, 0xa3], true),
            Some((0x1a45_dfa3, 4))
        );
        assert_eq!(vint(&[0x01, 0, 0, 0, 0, 0, 0, 2], false), Some((2, 8)));
        assert_eq!(vint(&[0; 12], false), None);
        assert_eq!(vint(&[0x40], false), None);
    }
}
