//! What the boxes of an MP4, M4A or MOV say that the demuxer does not pass on:
//! whether there is an index, a sound track, encryption, and the edit list with
//! the encoder's lead-in (ISO/IEC 14496-12: 8.1 boxes, 8.5.2 sample
//! descriptions, 8.6.6 edit list).

use std::io::{self, Read, Seek, SeekFrom};

use crate::sound::riff::read_as_much;

/// Facts of one sound track.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct SoundTrack {
    /// Its number in the file.
    pub id: u32,
    /// The four letters of its first sample description.
    pub entry: [u8; 4],
    /// The rate that its first sample description names, in Hz.
    pub rate_hz: u32,
    /// Ticks a second of the track's media.
    pub ticks_per_s: u32,
    /// Its edits in order.
    pub edits: Vec<Edit>,
}

/// One line of an edit list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Edit {
    /// Length in ticks of the movie.
    pub duration_ticks: u64,
    /// First tick of the media that is presented; `None`: nothing is presented.
    pub media_start_ticks: Option<u64>,
    /// Whether the media runs at its own speed.
    pub at_own_speed: bool,
}

/// Facts of a whole file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Facts {
    /// Whether there is an index (`moov`).
    pub has_index: bool,
    /// Whether the index comes after the media.
    pub index_last: bool,
    /// The length in bytes that a cut file had, as its last box tells; `None`
    /// for a whole file.
    pub cut_from_bytes: Option<u64>,
    /// Whether there is the file-type box, which old QuickTime files lack.
    pub has_file_type: bool,
    /// Whether the media comes in pieces, which the index does not count.
    pub in_pieces: bool,
    /// Ticks a second of the movie.
    pub movie_ticks_per_s: u32,
    /// The sound tracks in order.
    pub sound: Vec<SoundTrack>,
}

/// A box nested deeper is not followed.
const MAX_DEPTH: u32 = 8;
/// A file with more boxes than this is broken.
const MAX_BOXES: u32 = 100_000;
/// More edits than this are not kept.
const MAX_EDITS: usize = 64;

/// Walks the boxes. The reader is left anywhere.
pub fn facts(from: &mut (impl Read + Seek)) -> io::Result<Facts> {
    let len = from.seek(SeekFrom::End(0))?;
    let mut walk = Walk {
        from,
        facts: Facts::default(),
        boxes: 0,
        media_seen: false,
        track: None,
        is_sound: false,
    };
    walk.children(0, len, 0)?;
    Ok(walk.facts)
}

struct Walk<'a, R> {
    from: &'a mut R,
    facts: Facts,
    boxes: u32,
    media_seen: bool,
    track: Option<SoundTrack>,
    is_sound: bool,
}

impl<R: Read + Seek> Walk<'_, R> {
    fn children(&mut self, start: u64, end: u64, depth: u32) -> io::Result<()> {
        let mut at = start;
        while end.saturating_sub(at) >= 8 && self.boxes < MAX_BOXES {
            self.boxes += 1;
            self.from.seek(SeekFrom::Start(at))?;
            let mut header = [0_u8; 16];
            let got = read_as_much(self.from, &mut header)?;
            let (Some(size), Some(kind)) = (be32(&header, 0), fourcc(&header, 4)) else {
                break;
            };
            let (size, header_len) = match size {
                0 => (end - at, 8),
                1 if got == 16 => (be64(&header, 8).unwrap_or(0), 16),
                n => (u64::from(n), 8),
            };
            if size < header_len {
                break;
            }
            let box_end = at.saturating_add(size);
            if box_end > end && depth == 0 {
                self.facts.cut_from_bytes = Some(box_end);
            }
            let box_end = box_end.min(end);
            self.one_box(kind, at + header_len, box_end, depth)?;
            at = box_end;
        }
        Ok(())
    }

    fn one_box(&mut self, kind: [u8; 4], start: u64, end: u64, depth: u32) -> io::Result<()> {
        match &kind {
            b"ftyp" if depth == 0 => self.facts.has_file_type = true,
            b"mdat" | b"moof" if depth == 0 => self.media_seen = true,
            b"moov" if depth == 0 => {
                self.facts.has_index = true;
                self.facts.index_last = self.media_seen;
                self.children(start, end, 1)?;
            }
            b"trak" => {
                self.track = Some(SoundTrack::default());
                self.is_sound = false;
                self.deeper(start, end, depth)?;
                if let Some(track) = self.track.take()
                    && self.is_sound
                {
                    self.facts.sound.push(track);
                }
            }
            b"mvex" if depth == 1 => self.facts.in_pieces = true,
            b"mdia" | b"minf" | b"stbl" | b"edts" => self.deeper(start, end, depth)?,
            b"mvhd" | b"tkhd" | b"mdhd" | b"hdlr" | b"stsd" | b"elst" => {
                let body = self.body(start, end)?;
                self.leaf(kind, &body);
            }
            _ => {}
        }
        Ok(())
    }

    fn deeper(&mut self, start: u64, end: u64, depth: u32) -> io::Result<()> {
        if depth < MAX_DEPTH {
            self.children(start, end, depth + 1)?;
        }
        Ok(())
    }

    /// The first bytes of a box: as many as any field read here needs.
    fn body(&mut self, start: u64, end: u64) -> io::Result<Vec<u8>> {
        let len = end.saturating_sub(start).min(8 + 20 * MAX_EDITS as u64);
        self.from.seek(SeekFrom::Start(start))?;
        let mut body = vec![0; usize::try_from(len).unwrap_or(0)];
        let got = read_as_much(self.from, &mut body)?;
        body.truncate(got);
        Ok(body)
    }

    fn leaf(&mut self, kind: [u8; 4], body: &[u8]) {
        let long = body.first() == Some(&1); // version 1: 64-bit times
        if &kind == b"mvhd" {
            self.facts.movie_ticks_per_s = be32(body, if long { 20 } else { 12 }).unwrap_or(0);
            return;
        }
        let Some(track) = &mut self.track else {
            return;
        };
        match &kind {
            b"tkhd" => track.id = be32(body, if long { 20 } else { 12 }).unwrap_or(0),
            b"mdhd" => track.ticks_per_s = be32(body, if long { 20 } else { 12 }).unwrap_or(0),
            // A MOV has a second handler inside `minf`; its kind is "dhlr" data.
            b"hdlr" if fourcc(body, 8) == Some(*b"soun") => self.is_sound = true,
            b"stsd" => {
                track.entry = fourcc(body, 12).unwrap_or_default();
                // 16.16 bits, of which the whole part counts.
                track.rate_hz = be32(body, 40).unwrap_or(0) >> 16;
            }
            b"elst" => track.edits = edits(body, long),
            _ => {}
        }
    }
}

fn edits(body: &[u8], long: bool) -> Vec<Edit> {
    let count = be32(body, 4).unwrap_or(0) as usize;
    let size = if long { 20 } else { 12 };
    let mut out = Vec::new();
    for n in 0..count.min(MAX_EDITS + 1) {
        let at = 8 + n * size;
        let (duration, start, rate) = if long {
            (
                be64(body, at),
                be64(body, at + 8).map(|t| t.cast_signed()),
                be32(body, at + 16),
            )
        } else {
            (
                be32(body, at).map(u64::from),
                be32(body, at + 4).map(|t| i64::from(t.cast_signed())),
                be32(body, at + 8),
            )
        };
        let (Some(duration_ticks), Some(start), Some(rate)) = (duration, start, rate) else {
            break;
        };
        out.push(Edit {
            duration_ticks,
            media_start_ticks: u64::try_from(start).ok(),
            at_own_speed: rate == 0x0001_0000,
        });
    }
    out
}

fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    fourcc(bytes, at).map(u32::from_be_bytes)
}

fn be64(bytes: &[u8], at: usize) -> Option<u64> {
    let eight = bytes.get(at..at.checked_add(8)?)?;
    eight.try_into().ok().map(u64::from_be_bytes)
}

fn fourcc(bytes: &[u8], at: usize) -> Option<[u8; 4]> {
    bytes.get(at..at.checked_add(4)?)?.try_into().ok()
}

/// What an edit list does to the start of the sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Start {
    /// Samples of the track that players drop before the first one they play.
    pub drop_samples: u64,
    /// Movie ticks of silence before the sound begins.
    pub wait_ticks: u64,
    /// Movie ticks that are played; 0 where it is not said.
    pub play_ticks: u64,
}

/// The start that an edit list asks for, at a rate in Hz; `None` where the list
/// is more than "wait, then play from here" and is not followed.
pub fn start(track: &SoundTrack, rate_hz: u32) -> Option<Start> {
    let mut start = Start::default();
    let mut played = false;
    for edit in &track.edits {
        match edit.media_start_ticks {
            None if !played => {
                start.wait_ticks = start.wait_ticks.saturating_add(edit.duration_ticks);
            }
            Some(ticks) if !played && edit.at_own_speed && track.ticks_per_s > 0 => {
                let samples = u128::from(ticks) * u128::from(rate_hz);
                let ticks_per_s = u128::from(track.ticks_per_s);
                start.drop_samples =
                    u64::try_from((samples + ticks_per_s / 2) / ticks_per_s).ok()?;
                start.play_ticks = edit.duration_ticks;
                played = true;
            }
            _ => return None,
        }
    }
    Some(start)
}
