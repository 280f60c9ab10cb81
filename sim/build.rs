//! Names the build by its sources, so that a failure file can say which logic it
//! was seen with: equal sources give equal names, on any day and any machine.

use std::path::{Path, PathBuf};

fn sources(dir: &Path, found: &mut Vec<PathBuf>) {
    let Ok(entries) = std::fs::read_dir(dir) else { return };
    for path in entries.flatten().map(|entry| entry.path()) {
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|ext| ext == "rs") {
            found.push(path);
        }
    }
}

fn main() {
    let here = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    for dir in [here.join("../core/src"), here.join("src")] {
        println!("cargo::rerun-if-changed={}", dir.display());
        let mut files = Vec::new();
        sources(&dir, &mut files);
        files.sort();
        for file in files {
            let name =
                file.strip_prefix(&dir).unwrap_or(&file).to_string_lossy().replace('\\', "/");
            let text = std::fs::read(&file).unwrap_or_default();
            // line ends are the checkout's, not the program's
            for byte in name.bytes().chain(text).filter(|byte| *byte != b'\r') {
                hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
            }
        }
    }
    let version = std::env::var("CARGO_PKG_VERSION").unwrap_or_default();
    println!("cargo::rustc-env=DOSEWRIGHT_BUILD={version}+{:08x}", hash >> 32 ^ hash & 0xffff_ffff);
}
