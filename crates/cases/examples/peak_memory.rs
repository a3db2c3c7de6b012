//! Prints the most bytes that one diagnosis of a fault network holds above those held at its start; run by `cargo xtask bench diagnosis`.
//!
//! Every allocation is counted, so this stands apart from the programs that are timed. The bytes are those asked for; what an
//! allocator adds for its own books is not in them.

use std::{env, error::Error, io::Write, path::Path, sync::Arc};

use diagnosis::Diagnosis;
use peak_alloc::PeakAlloc;

#[global_allocator]
static HELD: PeakAlloc = PeakAlloc;

fn main() -> Result<(), Box<dyn Error>> {
    let words: Vec<String> = env::args().skip(1).collect();
    let [file, set] = &words[..] else {
        return Err("expected `FILE SET`".into());
    };
    let network = cases::read_network(Path::new(file))?;
    let set = network.sets.get(set.parse::<usize>()?);
    let set = set.ok_or("expected the number of a set of the file")?;
    let situation = Arc::new(network.situation(&set.steps));
    HELD.reset_peak_usage();
    let start = HELD.current_usage();
    let diagnosis = Diagnosis::of(situation)?;
    let answer = (diagnosis.modes(), diagnosis.p_findings());
    let peak = HELD.peak_usage();
    drop((answer, diagnosis));
    writeln!(std::io::stdout(), "{}", peak - start)?;
    Ok(())
}
