//! The program, run as a user would.

use assert_cmd::Command;

/// `howflat`, ready for arguments.
pub fn howflat() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_howflat"));
    command.env_remove("RUST_BACKTRACE");
    command
}

/// What a run left behind.
pub struct Run {
    pub code: i32,
    pub out: String,
    pub err: String,
}

/// Runs a command to its end.
pub fn run(command: &mut Command) -> Run {
    let output = command.output().expect("a program that runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    Run {
        code: output.status.code().expect("an exit code"),
        out: text(output.stdout),
        err: text(output.stderr),
    }
}
