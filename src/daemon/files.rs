//! Files named on the command line: no more of one is read than a file of its kind can have.

use crate::pour::trace::LARGEST;
use crate::settings::Settings;
use anyhow::{Context, anyhow};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// The most bytes of a text: ten thousand lines of a hundred characters, and a scene or request has some dozen (our choice).
const TEXT: usize = 1_000_000;

/// A text; `-` is standard input.
pub(super) fn text(file: &Path) -> anyhow::Result<String> {
    let bytes = if file.as_os_str() == "-" {
        limited(std::io::stdin(), TEXT, "standard input")?
    } else {
        limited(open(file)?, TEXT, &file.display().to_string())?
    };
    of_utf8(bytes, file)
}

fn of_utf8(bytes: Vec<u8>, file: &Path) -> anyhow::Result<String> {
    String::from_utf8(bytes).map_err(|error| {
        let before = &error.as_bytes()[..error.utf8_error().valid_up_to()];
        let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
        anyhow!("can't read {}, line {line}: it is no text (UTF-8); save it as UTF-8", file.display())
    })
}

/// The settings of this file; none where there is no such file and nobody named it.
pub(super) fn settings(file: &Path, named: bool) -> anyhow::Result<Option<Settings>> {
    match std::fs::read(file) {
        Ok(bytes) => Ok(Some(Settings::parse(&of_utf8(bytes, file)?, &file.display().to_string())?)),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound && !named => Ok(None),
        Err(e) => Err(anyhow!("can't read {}: {e}", file.display())),
    }
}

/// A trace.
pub(super) fn trace(file: &Path) -> anyhow::Result<Vec<u8>> {
    limited(open(file)?, LARGEST, &file.display().to_string())
}

/// A plain file: a device or a pipe might never end.
fn open(file: &Path) -> anyhow::Result<File> {
    // Looked at before it is opened: to open a pipe waits for whoever writes into it.
    let kind = std::fs::metadata(file).with_context(|| format!("can't read {}", file.display()))?;
    if !kind.is_file() {
        let what = if kind.is_dir() { "a folder" } else { "a device or a pipe" };
        return Err(anyhow!("can't read {}: it is {what}; give a plain file", file.display()));
    }
    File::open(file).with_context(|| format!("can't read {}", file.display()))
}

fn limited(from: impl Read, most: usize, name: &str) -> anyhow::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    from.take(most as u64 + 1).read_to_end(&mut bytes).with_context(|| format!("can't read {name}"))?;
    if bytes.len() > most {
        return Err(anyhow!(
            "{name} has more than {most} bytes: such a file is never so large; is it another?"
        ));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_that_never_ends_and_a_folder_are_refused_as_what_they_are() {
        let said = trace(Path::new("/dev/zero")).unwrap_err().to_string();
        assert!(said.contains("a device or a pipe; give a plain file"), "{said}");
        assert!(text(Path::new("/")).unwrap_err().to_string().contains("a folder"));
    }

    #[test]
    fn a_file_larger_than_any_of_its_kind_is_refused_and_the_largest_is_read() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("large");
        std::fs::write(&file, vec![b'\n'; TEXT]).unwrap();
        assert_eq!(text(&file).unwrap().len(), TEXT);
        std::fs::write(&file, vec![b'\n'; TEXT + 1]).unwrap();
        assert!(text(&file).unwrap_err().to_string().contains("more than 1000000 bytes"));
        File::create(&file).unwrap().set_len(LARGEST as u64 + 1).unwrap();
        assert!(trace(&file).unwrap_err().to_string().contains("more than 8065536 bytes"));
    }

    #[test]
    fn settings_that_are_no_text_are_refused_with_file_line_and_what_to_do_and_those_not_named_may_be_missing()
     {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("tarebell.toml");
        assert!(settings(&file, false).unwrap().is_none());
        assert!(settings(&file, true).unwrap_err().to_string().starts_with("can't read "));
        std::fs::write(&file, b"[pour]\n# caf\xe9\nmin_piece_g = 20\n").unwrap();
        for named in [false, true] {
            let said = settings(&file, named).unwrap_err().to_string();
            let wanted = "tarebell.toml, line 2: it is no text (UTF-8); save it as UTF-8";
            assert!(said.ends_with(wanted), "{said}");
        }
        std::fs::write(&file, "[pour]\n# caf\u{e9}\nmin_piece_g = 20\n").unwrap();
        assert_eq!(settings(&file, true).unwrap().map(|s| s.pour.min_piece.g()), Some(20.0));
    }

    #[test]
    fn a_text_that_is_none_is_refused_with_its_line() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("odd.scene");
        std::fs::write(&file, b"scales usual\nseed \xff\n").unwrap();
        assert!(text(&file).unwrap_err().to_string().contains("line 2: it is no text"));
    }
}
