//! What the first bytes say a file is.

/// How many first bytes are looked at.
pub const HEAD_LEN: usize = 512;

/// A file told by its first bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// RIFF/RF64/BW64 with the form WAVE.
    Wav,
    /// MP4, M4A, MOV.
    Mp4,
    /// MKV, WebM.
    Mkv,
    /// Opus in Ogg.
    OggOpus,
    /// Something that may be sound: the decoders must try it.
    Unknown,
    /// A known kind of sound that is not decoded.
    UndecodedSound(&'static str),
    /// A known kind of file that is no sound; the rest of a sentence.
    NotSound(&'static str),
}

/// Tells a file by its first bytes (published signatures of the formats).
pub fn kind(head: &[u8]) -> Kind {
    let form = head.get(8..12).unwrap_or_default();
    if head.starts_with(b"RIFF") || head.starts_with(b"RF64") || head.starts_with(b"BW64") {
        return match form {
            b"WAVE" => Kind::Wav,
            b"AVI " => Kind::UndecodedSound("an AVI video"),
            b"RMID" => Kind::NotSound(": it is a MIDI file, notes without sound"),
            b"WEBP" => Kind::NotSound(": it is a picture"),
            _ => Kind::NotSound(": it is a RIFF file of another kind"),
        };
    }
    let mp4_part = head.get(4..8).unwrap_or_default();
    if [
        b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot",
    ]
    .iter()
    .any(|part| mp4_part == *part)
    {
        let heif: [&[u8]; 5] = [b"heic", b"heix", b"mif1", b"avif", b"msf1"];
        if mp4_part == b"ftyp" && heif.contains(&form) {
            return Kind::NotSound(": it is a picture");
        }
        return Kind::Mp4;
    }
    // The first Ogg page holds one packet, after 27 bytes and one length.
    if head.starts_with(b"OggS") && head.get(28..36) == Some(b"Speex   ") {
        return Kind::UndecodedSound("Speex");
    }
    if head.starts_with(b"OggS") && head.get(28..36) == Some(b"OpusHead") {
        return Kind::OggOpus;
    }
    if head.starts_with(b"\x1a\x45\xdf\xa3") {
        return Kind::Mkv;
    }
    const SOUND: [(&[u8], &str); 17] = [
        (b"RIFX", "a big-endian WAV (RIFX)"),
        (b"riff\x2e\x91\xcf\x11", "a Wave64 recording (W64)"),
        (b"#!AMR-WB", "AMR (wide band)"),
        (b"#!AMR", "AMR (narrow band)"),
        (b"#!SILK_V3", "SILK"),
        (b"\x02#!SILK_V3", "SILK"),
        (
            b"\x30\x26\xb2\x75\x8e\x66\xcf\x11",
            "Windows Media (ASF/WMA)",
        ),
        (b"wvpk", "WavPack"),
        (b"MAC ", "Monkey's Audio"),
        (b"TTA1", "True Audio (TTA)"),
        (b"MPCK", "Musepack"),
        (b"MP+", "Musepack"),
        (b".snd", "Sun AU"),
        (b".RMF", "RealMedia"),
        (b"FLV\x01", "Flash video"),
        (b"\x0b\x77", "AC-3 (Dolby Digital)"),
        (b"DSD ", "DSD"),
    ];
    if let Some((_, name)) = SOUND.iter().find(|(magic, _)| head.starts_with(magic)) {
        return Kind::UndecodedSound(name);
    }
    const OTHER: [(&[u8], &str); 12] = [
        (b"MThd", ": it is a MIDI file, notes without sound"),
        (b"%PDF", ": it is a PDF document"),
        (b"PK\x03\x04", ": it is a ZIP archive; unpack it first"),
        (b"Rar!", ": it is a RAR archive; unpack it first"),
        (
            b"7z\xbc\xaf\x27\x1c",
            ": it is a 7z archive; unpack it first",
        ),
        (b"\x1f\x8b", ": it is a gzip archive; unpack it first"),
        (b"\x89PNG", ": it is a picture"),
        (b"\xff\xd8\xff", ": it is a picture"),
        (b"GIF8", ": it is a picture"),
        (b"\x7fELF", ": it is a program"),
        (b"MZ", ": it is a program"),
        (b"SQLite format 3", ": it is a database"),
    ];
    if let Some((_, name)) = OTHER.iter().find(|(magic, _)| head.starts_with(magic)) {
        return Kind::NotSound(name);
    }
    if is_text(head) {
        return Kind::NotSound(": it is text");
    }
    Kind::Unknown
}

/// Whether a file begins as one of the containers that the decoders read.
pub fn is_known_container(head: &[u8]) -> bool {
    let magics: [&[u8]; 6] = [
        b"fLaC",
        b"OggS",
        b"FORM",
        b"caff",
        b"ID3",
        b"\x1a\x45\xdf\xa3",
    ];
    magics.iter().any(|magic| head.starts_with(magic))
}

fn is_text(head: &[u8]) -> bool {
    let valid = match std::str::from_utf8(head) {
        Ok(text) => text,
        // The last character may be cut by the end of the head.
        Err(e) if e.error_len().is_none() && e.valid_up_to() > 0 => {
            std::str::from_utf8(&head[..e.valid_up_to()]).unwrap_or_default()
        }
        Err(_) => return false,
    };
    !valid.is_empty()
        && !is_known_container(head)
        && !head.starts_with(b"TAG")
        && valid
            .chars()
            .all(|c| !c.is_control() || matches!(c, '\n' | '\r' | '\t' | '\u{c}'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kinds() {
        assert_eq!(kind(b"RIFF\0\0\0\0WAVEfmt "), Kind::Wav);
        assert_eq!(kind(b"\0\0\0\x18ftypM4A \0\0"), Kind::Mp4);
        assert_eq!(kind(b"fLaC\0\0\0\x22"), Kind::Unknown);
        assert_eq!(kind(b"hello goats"), Kind::NotSound(": it is text"));
        assert_eq!(
            kind("Gänse im Stall".as_bytes()),
            Kind::NotSound(": it is text")
        );
        assert_eq!(kind(b"\xff\xfb\x90\x64"), Kind::Unknown);
        assert!(matches!(kind(b"#!AMR\n\x3c"), Kind::UndecodedSound(_)));
        assert_eq!(kind(b""), Kind::Unknown);
    }
}
