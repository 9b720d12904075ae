//! The command line program.

use std::process::ExitCode;

fn main() -> ExitCode {
    benchscribe::cli::main()
}
