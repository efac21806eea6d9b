//! How a recording was compressed.

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known as id;

use super::names;

/// A recording's compression.
#[derive(Debug, Clone, PartialEq)]
pub struct Compression {
    /// The codec in words, for instance "AAC".
    pub codec: String,
    /// The mean bit rate of what was read so far, in kbit/s; `None` before the
    /// first sample.
    pub kbit_s: Option<f64>,
    /// Whether the codec leaves sound out, so that a click's shape and instant
    /// may differ from what was recorded.
    pub lossy: bool,
}

impl Compression {
    /// The compression of a codec and its name; `None` for plain samples.
    pub(super) fn of(codec: AudioCodecId, name: &str, bytes: u64, seconds: f64) -> Option<Self> {
        let lossless = [
            id::CODEC_ID_FLAC,
            id::CODEC_ID_ALAC,
            id::CODEC_ID_WAVPACK,
            id::CODEC_ID_MONKEYS_AUDIO,
            id::CODEC_ID_TTA,
        ];
        (!names::is_plain(codec)).then(|| Self {
            codec: name.to_owned(),
            kbit_s: (seconds > 0.0).then(|| bytes as f64 * 8e-3 / seconds),
            lossy: !lossless.contains(&codec),
        })
    }
}

/// "64 kbit/s AAC"
impl std::fmt::Display for Compression {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.kbit_s {
            Some(kbit_s) => write!(f, "{kbit_s:.0} kbit/s {}", self.codec),
            None => write!(f, "{}", self.codec),
        }
    }
}
