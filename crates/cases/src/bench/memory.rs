//! Peak memory and processor time of this process and the machine it runs on, read from /proc where there is one.

use std::fs;

use serde_json::{Value, json};

/// Memory held now; the peak counts from here on.
pub(super) fn start() -> Option<u64> {
    fs::write("/proc/self/clear_refs", "5").ok()?;
    status("VmRSS:")
}

/// The peak since [`start`].
pub(super) fn peak() -> Option<u64> {
    status("VmHWM:")
}

/// Seconds of processor time that this process has used so far.
pub(super) fn processor_seconds() -> Option<f64> {
    let text = fs::read_to_string("/proc/self/schedstat").ok()?;
    let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}

fn status(key: &str) -> Option<u64> {
    let text = fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix(key))?;
    let kib: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    Some(kib * 1024)
}

/// What the figures were measured on.
pub(super) fn machine() -> Value {
    let processor = fs::read_to_string("/proc/cpuinfo").ok().and_then(|text| {
        let line = text.lines().find(|line| line.starts_with("model name"))?;
        Some(line.split_once(':')?.1.trim().to_owned())
    });
    json!({
        "system": std::env::consts::OS,
        "architecture": std::env::consts::ARCH,
        "processor": processor,
        "threads": std::thread::available_parallelism().map(usize::from).ok(),
    })
}
