//! Codecs and containers in words.

use symphonia::core::codecs::audio::AudioCodecId;
use symphonia::core::codecs::audio::well_known as id;

/// A codec's name in words.
pub fn codec(codec: AudioCodecId) -> String {
    let fixed = match codec {
        id::CODEC_ID_PCM_U8 | id::CODEC_ID_PCM_S8 => "8-bit PCM",
        id::CODEC_ID_PCM_S16LE | id::CODEC_ID_PCM_S16BE => "16-bit PCM",
        id::CODEC_ID_PCM_S24LE | id::CODEC_ID_PCM_S24BE => "24-bit PCM",
        id::CODEC_ID_PCM_S32LE | id::CODEC_ID_PCM_S32BE => "32-bit PCM",
        id::CODEC_ID_PCM_F32LE | id::CODEC_ID_PCM_F32BE => "32-bit float PCM",
        id::CODEC_ID_PCM_F64LE | id::CODEC_ID_PCM_F64BE => "64-bit float PCM",
        id::CODEC_ID_PCM_ALAW => "A-law (G.711)",
        id::CODEC_ID_PCM_MULAW => "mu-law (G.711)",
        id::CODEC_ID_ADPCM_MS => "Microsoft ADPCM",
        id::CODEC_ID_ADPCM_IMA_WAV | id::CODEC_ID_ADPCM_IMA_QT => "IMA ADPCM",
        id::CODEC_ID_ADPCM_G722 => "G.722",
        id::CODEC_ID_ADPCM_G726 | id::CODEC_ID_ADPCM_G726LE => "G.726",
        id::CODEC_ID_VORBIS => "Vorbis",
        id::CODEC_ID_OPUS => "Opus",
        id::CODEC_ID_SPEEX => "Speex",
        id::CODEC_ID_MUSEPACK => "Musepack",
        id::CODEC_ID_MP1 => "MPEG layer I",
        id::CODEC_ID_MP2 => "MPEG layer II (MP2)",
        id::CODEC_ID_MP3 => "MP3",
        id::CODEC_ID_AAC => "AAC",
        id::CODEC_ID_AC3 => "AC-3 (Dolby Digital)",
        id::CODEC_ID_EAC3 => "E-AC-3 (Dolby Digital Plus)",
        id::CODEC_ID_AC4 => "AC-4",
        id::CODEC_ID_DCA => "DTS",
        id::CODEC_ID_WMA => "Windows Media Audio (WMA)",
        id::CODEC_ID_FLAC => "FLAC",
        id::CODEC_ID_WAVPACK => "WavPack",
        id::CODEC_ID_MONKEYS_AUDIO => "Monkey's Audio",
        id::CODEC_ID_ALAC => "Apple Lossless (ALAC)",
        id::CODEC_ID_TTA => "True Audio (TTA)",
        id::CODEC_ID_TRUEHD => "Dolby TrueHD",
        other => return format!("a codec that is not known here ({other})"),
    };
    fixed.to_owned()
}

/// A container's name in words from the reader's short name.
pub fn container(short_name: &str) -> String {
    match short_name {
        "isomp4" => "MP4".to_owned(),
        "matroska" | "mkv" => "Matroska (MKV/WebM)".to_owned(),
        "adts" | "aac" => "AAC stream (ADTS)".to_owned(),
        "ogg" => "Ogg".to_owned(),
        other => other.to_ascii_uppercase(),
    }
}

/// The name of an AAC that is not the plain kind (LC, two channels, 1024
/// samples a frame), from its AudioSpecificConfig (ISO/IEC 14496-3, 1.6.2.1);
/// `None` where the configuration is plain or unreadable.
pub fn unusual_aac(config: &[u8]) -> Option<String> {
    let first = *config.first()?;
    let second = *config.get(1)?;
    let mut object_type = u16::from(first >> 3);
    if object_type == 31 {
        object_type = 32 + (u16::from(first & 7) << 3 | u16::from(second >> 5));
    }
    let name = match object_type {
        2 => {
            // Backward-compatible signalling of band replication: the sync
            // word 0x2b7 after the plain configuration.
            if has_sbr_sync(config) {
                "HE-AAC (AAC with spectral band replication)"
            } else {
                let channels = (second >> 3) & 0xf;
                if channels > 2 {
                    "AAC with more than two channels"
                } else if channels == 0 {
                    "AAC with a channel layout of its own"
                } else if second & 0b100 != 0 {
                    "AAC with 960-sample frames"
                } else {
                    return None;
                }
            }
        }
        1 => "AAC Main",
        3 => "AAC SSR",
        4 => "AAC LTP",
        5 => "HE-AAC (AAC with spectral band replication)",
        23 => "AAC-LD",
        29 => "HE-AAC v2 (AAC with parametric stereo)",
        39 => "AAC-ELD",
        42 => "xHE-AAC (USAC)",
        other => return Some(format!("MPEG-4 audio of object type {other}")),
    };
    Some(name.to_owned())
}

/// Whether band replication is signalled after the plain two-byte
/// configuration: the 11-bit sync word, object type 5, and its flag set (many
/// encoders write the sync word only to say that there is none).
fn has_sbr_sync(config: &[u8]) -> bool {
    match config {
        [_, _, c, d, e, ..] => {
            let sync = u16::from(*c) << 3 | u16::from(*d) >> 5;
            sync == 0x2b7 && d & 0x1f == 5 && e & 0x80 != 0
        }
        _ => false,
    }
}

/// The name of a WAV format tag that is not decoded (RFC 2361 and its
/// registry).
pub fn wav_format_tag(tag: u16) -> String {
    let name = match tag {
        0x0031 => "GSM 6.10",
        0x0040 | 0x0045 | 0x0064 => "G.726",
        0x0050 => "MPEG layer I/II",
        0x0055 => "MP3",
        0x0065 | 0x028f => "G.722",
        0x00ff | 0x1600 | 0x1601 | 0x1602 | 0x1610 => "AAC",
        0x0160..=0x0163 => "Windows Media Audio (WMA)",
        0x2000 => "AC-3 (Dolby Digital)",
        0x2001 => "DTS",
        0x704f => "Opus",
        0xf1ac => "FLAC",
        _ => "a codec that is not known here",
    };
    format!("{name} inside a WAV file (format tag 0x{tag:04x})")
}

/// The name of an MP4 sample entry that is not decoded.
pub fn mp4_sample_entry(entry: [u8; 4]) -> String {
    match &entry {
        b"Opus" => "Opus".to_owned(),
        b"ac-3" => "AC-3 (Dolby Digital)".to_owned(),
        b"ec-3" => "E-AC-3 (Dolby Digital Plus)".to_owned(),
        b"ac-4" => "AC-4".to_owned(),
        b"samr" => "AMR (narrow band)".to_owned(),
        b"sawb" => "AMR (wide band)".to_owned(),
        b"sawp" => "AMR (extended wide band)".to_owned(),
        b"sevc" => "EVRC".to_owned(),
        b"sqcp" | b"Qclp" => "QCELP".to_owned(),
        b"dtsc" | b"dtsh" | b"dtsl" | b"dtse" => "DTS".to_owned(),
        b"apac" => "APAC (spatial audio)".to_owned(),
        b"mha1" | b"mhm1" => "MPEG-H".to_owned(),
        b"agsm" => "GSM 6.10".to_owned(),
        b"QDM2" | b"QDMC" => "QDesign Music".to_owned(),
        b"wma " => "Windows Media Audio (WMA)".to_owned(),
        other => format!(
            "a codec that is not known here (MP4 sample entry '{}')",
            other.escape_ascii()
        ),
    }
}
