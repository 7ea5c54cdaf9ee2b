//! Arguments to settings to a run to an exit code.

use clap::Parser;
use std::process::ExitCode;
use tarebell::cli::Cli;
use tarebell::daemon::commands;

fn main() -> ExitCode {
    tracing_subscriber::fmt().with_writer(std::io::stderr).with_target(false).init();
    match commands::run(Cli::parse()) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("tarebell: {error:#}");
            ExitCode::FAILURE
        }
    }
}
