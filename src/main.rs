//! The `marklag` program: parse the line, run the command, give the exit code.

fn main() -> std::process::ExitCode {
    marklag::cli::main()
}
