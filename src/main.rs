//! Arguments to settings to a run to an exit code.

use clap::Parser;
use std::io::Write;
use std::process::ExitCode;
use tarebell::cli::Cli;
use tarebell::daemon::commands;

fn main() -> ExitCode {
    // A terminal that was closed or is paused takes no words: no reason to panic or to wait in mid-pour.
    // Words that find no room are let go; the rest is out before the end.
    let (writer, _out) = tracing_appender::non_blocking(std::io::stderr());
    tracing_subscriber::fmt().log_internal_errors(false).with_writer(writer).with_target(false).init();
    match commands::run(Cli::parse()) {
        Ok(code) => code,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "tarebell: {error:#}");
            ExitCode::FAILURE
        }
    }
}
