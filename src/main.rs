//! Arguments to settings to a run to an exit code.

use clap::Parser;
use std::io::Write;
use std::process::ExitCode;
use tarebell::cli::Cli;
use tarebell::daemon::commands;

fn main() -> ExitCode {
    // A terminal that was closed takes no words: no reason to panic in mid-pour.
    let words = tracing_subscriber::fmt().log_internal_errors(false);
    words.with_writer(std::io::stderr).with_target(false).init();
    match commands::run(Cli::parse()) {
        Ok(code) => code,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "tarebell: {error:#}");
            ExitCode::FAILURE
        }
    }
}
