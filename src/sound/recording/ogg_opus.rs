//! Opus in Ogg, page by page (RFC 3533, RFC 7845).
//!
//! The demuxer of the decoding library places the page after a lost one too early;
//! here a page's own count says where it lies, so that a lost page keeps its place.

use std::collections::VecDeque;
use std::io::{self, Read};

use symphonia::core::codecs::audio::AudioCodecParameters;
use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
use symphonia::core::packet::Packet;
use symphonia::core::units::Duration;

use super::opus::{self, Head, RATE_HZ, SHORTEST_FRAME};
use super::packets::{MAX_LOST_S, Next};
use crate::sound::riff::read_as_much;

/// A page: 27 bytes, up to 255 lengths, up to 255 bytes for each.
const HEADER_BYTES: usize = 27;
const MAX_PAGE_BYTES: usize = HEADER_BYTES + 255 + 255 * 255;
/// No Opus packet is longer, even of many streams; a longer one is broken.
const MAX_PACKET_BYTES: usize = 1024 * 1024;
/// So many broken pages one after another are no damage but no Ogg.
const MAX_BROKEN: u32 = 4_096;
/// A first page that begins later than 10 s is of a broadcast, not after lost pages.
const MAX_LATE: u64 = 10 * RATE_HZ as u64;

/// An Ogg stream of Opus.
pub struct OggOpus {
    from: Box<dyn Read + Send + Sync>,
    /// Bytes read, and how many of them are used.
    bytes: Vec<u8>,
    used: usize,
    at_end: bool,
    /// For the decoder.
    pub params: AudioCodecParameters,
    serial: u32,
    /// The beginning of a packet that goes on in the next page.
    begun: Vec<u8>,
    /// The number of the last page.
    number: u32,
    /// Complete packets, and the samples lost before each.
    ready: VecDeque<(Packet, u64)>,
    /// Samples at the end of the last page, as its count says.
    count: Option<u64>,
    /// Samples of the pre-skip that are still to be dropped.
    skip: u64,
    lost: u64,
    is_whole: bool,
    another: bool,
}

struct Page {
    continues: bool,
    begins: bool,
    ends: bool,
    count: i64,
    serial: u32,
    number: u32,
    lengths: Vec<u8>,
    body: Vec<u8>,
}

impl OggOpus {
    /// Reads the first page; `None` where it is not of Opus.
    pub fn open(from: Box<dyn Read + Send + Sync>) -> io::Result<Option<Self>> {
        let mut stream = Self {
            from,
            bytes: Vec::new(),
            used: 0,
            at_end: false,
            params: AudioCodecParameters::new(),
            serial: 0,
            begun: Vec::new(),
            number: 0,
            ready: VecDeque::new(),
            count: None,
            skip: 0,
            lost: 0,
            is_whole: false,
            another: false,
        };
        let begins = match stream.page()? {
            Some(page) => stream.begin(&page),
            None => false,
        };
        Ok(begins.then_some(stream))
    }

    /// The next packet.
    pub fn next(&mut self) -> Next {
        loop {
            if std::mem::take(&mut self.another) {
                return Next::AnotherStream;
            }
            if let Some((packet, lost)) = self.ready.pop_front() {
                return Next::Packet { packet, lost };
            }
            match self.page() {
                Ok(Some(page)) if page.begins => {
                    // Where one stream has ended another may begin.
                    if self.is_whole && self.begin(&page) {
                        self.another = true;
                    }
                }
                Ok(Some(page)) if page.serial == self.serial => self.take(page),
                Ok(Some(_other_stream)) => {}
                Ok(None) if self.is_whole => return Next::End,
                Ok(None) => return Next::Broken("the file ends too early".to_owned()),
                Err(source) => return Next::Failed(source),
            }
        }
    }

    /// Begins a stream with the page of its header; whether it is one of Opus.
    fn begin(&mut self, page: &Page) -> bool {
        let Some(head) = Head::parse(&page.body) else {
            return false;
        };
        self.params = AudioCodecParameters::new();
        self.params
            .for_codec(CODEC_ID_OPUS)
            .with_sample_rate(RATE_HZ)
            .with_extra_data(page.body.clone().into_boxed_slice());
        self.serial = page.serial;
        self.number = page.number;
        self.begun.clear();
        self.count = None;
        self.skip = u64::from(head.pre_skip);
        self.is_whole = false;
        true
    }

    /// Takes the packets that are complete with this page.
    fn take(&mut self, page: Page) {
        self.is_whole = page.ends;
        let follows = page.number == self.number.wrapping_add(1);
        let mut packets = self.packets(&page, follows);
        self.number = page.number;
        packets.retain(|packet| !packet.starts_with(b"OpusTags"));
        let durations: Vec<u64> = packets
            .iter()
            .map(|data| opus::samples(data).unwrap_or(0))
            .collect();
        let whole: u64 = durations.iter().sum();
        let (mut lost, mut padding) = (0, 0);
        if let Some(end) = u64::try_from(page.count)
            .ok()
            .filter(|_| !packets.is_empty())
        {
            // The first page begins where its packets do (RFC 7845 sections 4.3 to
            // 4.5): at 0, or later where the recording is part of a broadcast. After
            // a lost page the sound began there.
            let late = end.saturating_sub(whole);
            let begin = match self.count {
                Some(count) => count,
                None if follows || late > MAX_LATE => late,
                None => 0,
            };
            let played = begin.saturating_add(whole);
            if end > played {
                lost = self.bearable(end - played);
            } else if page.ends {
                padding = played - end;
            }
            self.count = Some(end);
        } else {
            // −1: not counted.
            self.count = self.count.map(|count| count.saturating_add(whole));
        }
        let mut left = whole;
        for (data, samples) in packets.into_iter().zip(durations) {
            left -= samples;
            // What is padding in this packet, after what is in those behind it.
            let trim_end = padding.saturating_sub(left).min(samples);
            let trim_start = self.skip.min(samples - trim_end);
            self.skip -= trim_start;
            let valid = samples - trim_start - trim_end;
            let mut packet = Packet::new(0, 0.into(), Duration::from(valid), data);
            packet.trim_start = Duration::from(trim_start);
            packet.trim_end = Duration::from(trim_end);
            self.ready.push_back((packet, std::mem::take(&mut lost)));
        }
    }

    /// A jump of the count as lost samples: 0 where it is shorter than any frame,
    /// or where the counts make no sense.
    fn bearable(&mut self, jump: u64) -> u64 {
        let most = (MAX_LOST_S * f64::from(RATE_HZ)) as u64;
        if !(SHORTEST_FRAME..=most.saturating_sub(self.lost)).contains(&jump) {
            return 0;
        }
        self.lost += jump;
        jump
    }

    /// The packets that are complete with a page; what is begun is kept.
    fn packets(&mut self, page: &Page, follows: bool) -> Vec<Vec<u8>> {
        let mut headless = page.continues && (self.begun.is_empty() || !follows);
        if !page.continues || headless {
            self.begun.clear();
        }
        let mut packets = Vec::new();
        let mut from = 0;
        for &length in &page.lengths {
            let to = from + usize::from(length);
            if !headless && self.begun.len() < MAX_PACKET_BYTES {
                let part = page.body.get(from..to).unwrap_or_default();
                self.begun.extend_from_slice(part);
            }
            from = to;
            if length < 255 {
                let packet = std::mem::take(&mut self.begun);
                if !headless && !packet.is_empty() {
                    packets.push(packet);
                }
                headless = false;
            }
        }
        packets
    }

    /// The next page whose check sum is right; `None` at the end, and where page
    /// after page is broken.
    fn page(&mut self) -> io::Result<Option<Page>> {
        let mut broken = 0;
        while broken < MAX_BROKEN {
            if !self.at_end && self.bytes.len() - self.used < MAX_PAGE_BYTES {
                self.fill()?;
            }
            let rest = &self.bytes[self.used..];
            match rest.windows(4).position(|w| w == b"OggS") {
                Some(0) => {
                    if let Some((page, len)) = parse(rest) {
                        self.used += len;
                        return Ok(Some(page));
                    }
                    // Broken, or cut by the end of the file: on to the next mark.
                    broken += 1;
                    self.used += 4;
                }
                Some(at) => self.used += at,
                None if self.at_end => return Ok(None),
                // The last three bytes may begin one.
                None => self.used = self.bytes.len() - rest.len().min(3),
            }
        }
        Ok(None)
    }

    fn fill(&mut self) -> io::Result<()> {
        self.bytes.drain(..self.used);
        self.used = 0;
        let have = self.bytes.len();
        self.bytes.resize(have + 2 * MAX_PAGE_BYTES, 0);
        let got = read_as_much(&mut self.from, &mut self.bytes[have..])?;
        self.bytes.truncate(have + got);
        self.at_end = got < 2 * MAX_PAGE_BYTES;
        Ok(())
    }
}

/// A page at the start of the bytes and its length (RFC 3533 section 6).
fn parse(bytes: &[u8]) -> Option<(Page, usize)> {
    let header = bytes.get(..HEADER_BYTES)?;
    let four = |at: usize| -> Option<[u8; 4]> { header.get(at..at + 4)?.try_into().ok() };
    let flags = header[5];
    let body_at = HEADER_BYTES + usize::from(header[26]);
    let lengths = bytes.get(HEADER_BYTES..body_at)?;
    let len = body_at + lengths.iter().map(|n| usize::from(*n)).sum::<usize>();
    let whole = bytes.get(..len)?;
    let sum = u32::from_le_bytes(four(22)?);
    let page = Page {
        continues: flags & 1 != 0,
        begins: flags & 2 != 0,
        ends: flags & 4 != 0,
        count: i64::from_le_bytes(header.get(6..14)?.try_into().ok()?),
        serial: u32::from_le_bytes(four(14)?),
        number: u32::from_le_bytes(four(18)?),
        lengths: lengths.to_vec(),
        body: whole[body_at..].to_vec(),
    };
    (header[4] == 0 && check_sum(whole) == sum).then_some((page, len))
}

/// CRC-32 of polynomial 0x04c11db7, not reflected, from 0, over a page whose own
/// sum counts as 0 (RFC 3533 section 6).
fn check_sum(page: &[u8]) -> u32 {
    let mut sum = 0;
    for (at, byte) in page.iter().enumerate() {
        let byte = if (22..26).contains(&at) { 0 } else { *byte };
        sum = (sum << 8) ^ CRC[usize::from((sum >> 24) as u8 ^ byte)];
    }
    sum
}

const CRC: [u32; 256] = {
    let mut table = [0; 256];
    let mut n = 0;
    while n < 256 {
        let mut sum = (n as u32) << 24;
        let mut bit = 0;
        while bit < 8 {
            sum = (sum << 1) ^ if sum >> 31 == 1 { 0x04c1_1db7 } else { 0 };
            bit += 1;
        }
        table[n] = sum;
        n += 1;
    }
    table
};
