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

/// Whether a codec is plain samples.
pub fn is_plain(id: AudioCodecId) -> bool {
    codec(id).ends_with(" PCM")
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
