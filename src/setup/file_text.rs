//! What every text file has in common, whatever is in it.

/// A text without the byte-order mark that some editors and spreadsheets put before it.
pub(super) fn unmarked(text: &str) -> &str {
    text.strip_prefix('\u{feff}').unwrap_or(text)
}

/// Bytes, such as a digest, in hexadecimal.
pub fn hex(bytes: impl AsRef<[u8]>) -> String {
    bytes.as_ref().iter().map(|byte| format!("{byte:02x}")).collect()
}
