//! From version 7 on a trace is sealed: its whole length stands after the version byte, and at its end
//! CRC-32 (the one of ISO-HDLC, IEEE 802.3) of all before it; both in four bytes, least first.

use super::BadTrace;

/// Version byte and length.
const HEAD: usize = 5;
/// The checksum.
const TAIL: usize = 4;

/// A sealed trace of these bytes.
pub(super) fn seal(version: u8, body: &[u8]) -> Vec<u8> {
    let length = (HEAD + body.len() + TAIL) as u32;
    let mut out = vec![version];
    out.extend(length.to_le_bytes());
    out.extend(body);
    let sum = crc32fast::hash(&out);
    out.extend(sum.to_le_bytes());
    out
}

/// What stands between head and checksum.
///
/// # Errors
/// Where it is cut, has more than it should, or was changed.
pub(super) fn open(bytes: &[u8]) -> Result<&[u8], BadTrace> {
    let four = |at: usize| bytes.get(at..at + 4)?.try_into().ok().map(u32::from_le_bytes);
    let wants = four(1).ok_or(BadTrace::Cut { has: bytes.len(), wants: HEAD + TAIL })? as usize;
    if bytes.len() < wants.max(HEAD + TAIL) {
        return Err(BadTrace::Cut { has: bytes.len(), wants: wants.max(HEAD + TAIL) });
    }
    if bytes.len() > wants {
        return Err(BadTrace::Long { has: bytes.len(), wants });
    }
    let end = wants - TAIL;
    if four(end) == Some(crc32fast::hash(&bytes[..end])) {
        Ok(&bytes[HEAD..end])
    } else {
        Err(BadTrace::Mangled)
    }
}
