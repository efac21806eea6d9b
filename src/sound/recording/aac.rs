//! The AudioSpecificConfig of an AAC track (ISO/IEC 14496-3, 1.6.2.1): what is
//! decoded, what is decoded in part, and what is not.

/// What a configuration says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Config {
    /// Plain AAC (low complexity, up to two channels, 1024 samples a frame), or
    /// unreadable.
    Plain,
    /// AAC with band replication: a plain core at half the rate, which is decoded,
    /// and hints for the upper half of the spectrum, which are not.
    BandReplication {
        /// The name.
        name: &'static str,
        /// The core's own configuration.
        core: [u8; 2],
    },
    /// What is not decoded, by name.
    Undecoded(String),
}

/// The name of AAC with band replication.
pub const HE_AAC: &str = "HE-AAC (AAC with spectral band replication)";
const LOW_COMPLEXITY: u32 = 2;
const BAND_REPLICATION: u32 = 5;
const PARAMETRIC_STEREO: u32 = 29;

/// Reads a configuration.
pub fn config(bytes: &[u8]) -> Config {
    Bits { bytes, at: 0 }.config().unwrap_or(Config::Plain)
}

struct Bits<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Bits<'_> {
    fn config(&mut self) -> Option<Config> {
        let object_type = self.object_type()?;
        let name = match object_type {
            LOW_COMPLEXITY => return self.plain(),
            BAND_REPLICATION => HE_AAC,
            PARAMETRIC_STEREO => "HE-AAC v2 (AAC with parametric stereo)",
            1 => "AAC Main",
            3 => "AAC SSR",
            4 => "AAC LTP",
            23 => "AAC-LD",
            39 => "AAC-ELD",
            42 => "xHE-AAC (USAC)",
            other => {
                return Some(Config::Undecoded(format!(
                    "MPEG-4 audio of object type {other}"
                )));
            }
        };
        let replicates = matches!(object_type, BAND_REPLICATION | PARAMETRIC_STEREO);
        let core = self.core().filter(|_| replicates);
        Some(match core {
            Some(core) => Config::BandReplication { name, core },
            None => Config::Undecoded(name.to_owned()),
        })
    }

    /// The core of a band replication that is signalled in front of it.
    fn core(&mut self) -> Option<[u8; 2]> {
        let rate = self.take(4)?;
        let channels = self.take(4)?;
        let full_rate = self.take(4)?;
        if full_rate == 15 {
            self.take(24)?;
        }
        let core = self.object_type()?;
        let rest = self.take(3)?;
        // A rate in full, a frame of 960 samples, a core layer: all unheard of.
        let is_plain = rate < 13 && (1..=2).contains(&channels) && rest == 0;
        (core == LOW_COMPLEXITY && is_plain).then(|| {
            let bits = LOW_COMPLEXITY << 11 | rate << 7 | channels << 3;
            [(bits >> 8) as u8, bits as u8]
        })
    }

    /// After the object type of plain AAC.
    fn plain(&mut self) -> Option<Config> {
        let rate = self.take(4)?;
        if rate == 15 {
            self.take(24)?;
        }
        let channels = self.take(4)?;
        let frame_960 = self.take(1)? == 1;
        self.take(2)?;
        let undecoded = if channels > 2 {
            Some("AAC with more than two channels")
        } else if channels == 0 {
            Some("AAC with a channel layout of its own")
        } else if frame_960 {
            Some("AAC with 960-sample frames")
        } else {
            None
        };
        if let Some(name) = undecoded {
            return Some(Config::Undecoded(name.to_owned()));
        }
        // Backward-compatible signalling: the sync word, object type 5, and its flag
        // set (many encoders write the word only to say that there is none).
        let signalled = self.take(11) == Some(0x2b7)
            && self.take(5) == Some(BAND_REPLICATION)
            && self.take(1) == Some(1);
        let core = self.bytes.first_chunk().filter(|_| signalled && rate < 15);
        Some(match core {
            Some(core) => Config::BandReplication {
                name: HE_AAC,
                core: *core,
            },
            None => Config::Plain,
        })
    }

    fn object_type(&mut self) -> Option<u32> {
        match self.take(5)? {
            31 => Some(32 + self.take(6)?),
            object_type => Some(object_type),
        }
    }

    /// The next bits, up to 24.
    fn take(&mut self, bits: usize) -> Option<u32> {
        let mut value = 0;
        for at in self.at..self.at + bits {
            let byte = self.bytes.get(at / 8)?;
            value = value << 1 | u32::from(byte >> (7 - at % 8) & 1);
        }
        self.at += bits;
        Some(value)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO/IEC 14496-3, table 1.15 and 1.6.6: bits put together by hand.
    #[test]
    fn configurations() {
        // Plain at 48 kHz, mono: 00010 0011 0001 000; with the sync word, unset.
        assert_eq!(config(&[0x11, 0x88]), Config::Plain);
        assert_eq!(config(&[0x11, 0x88, 0x56, 0xe5, 0x00]), Config::Plain);
        // Set.
        let core = |bytes: &[u8]| match config(bytes) {
            Config::BandReplication { core, .. } => Some(core),
            _ => None,
        };
        assert_eq!(core(&[0x11, 0x88, 0x56, 0xe5, 0x80]), Some([0x11, 0x88]));
        // 00101 0110 0001 0011 00010 000: type 5, 24 kHz, mono, to 48 kHz, plain.
        assert_eq!(core(&[0x2b, 0x09, 0x88, 0x00]), Some([0x13, 0x08]));
        // The same of type 29.
        assert_eq!(core(&[0xeb, 0x09, 0x88, 0x00]), Some([0x13, 0x08]));
        // 6 channels: 00010 0011 0110 000.
        assert!(matches!(config(&[0x11, 0xb0]), Config::Undecoded(_)));
        assert_eq!(config(&[]), Config::Plain);
    }
}
