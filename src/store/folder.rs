//! The data folder: one daemon at a time, and room to write.

use super::StoreError;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

fn folder(what: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> StoreError {
    let path = path.to_owned();
    move |source| StoreError::Folder { what, path, source }
}

/// The folder is ours for as long as this lives: a lock of the operating system, gone with the process.
pub(super) struct Lock {
    file: File,
    path: PathBuf,
}

impl Lock {
    pub(super) fn take(dir: &Path) -> Result<Self, StoreError> {
        std::fs::create_dir_all(dir).map_err(folder("make", dir))?;
        let path = dir.join("tarebell.lock");
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .open(&path)
            .map_err(folder("open", &path))?;
        match file.try_lock() {
            Ok(()) => Ok(Self { file, path }),
            Err(TryLockError::WouldBlock) => {
                let mut address = String::new();
                // Not readable: it is held all the same.
                let _ = file.read_to_string(&mut address);
                let address =
                    if address.trim().is_empty() { "an address not known yet" } else { address.trim() };
                Err(StoreError::Held { dir: dir.to_owned(), address: address.to_owned() })
            }
            Err(TryLockError::Error(source)) => Err(StoreError::Folder { what: "lock", path, source }),
        }
    }

    pub(super) fn announce(&self, address: &str) -> Result<(), StoreError> {
        self.file.set_len(0).map_err(folder("write", &self.path))?;
        let mut file = &self.file;
        file.write_all(address.as_bytes()).map_err(folder("write", &self.path))
    }
}

/// Writes and removes a small file, synced: is there room, and may we?
pub fn try_writable(dir: &Path) -> Result<(), StoreError> {
    let path = dir.join(format!("room-{}.tmp", uuid::Uuid::now_v7()));
    let result = File::create(&path)
        .and_then(|mut file| file.write_all(&[0_u8; 65_536]).and_then(|()| file.sync_all()))
        .map_err(folder("write into", dir));
    // When it could not be made there is nothing to remove.
    let _ = std::fs::remove_file(&path);
    result
}
