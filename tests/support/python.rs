//! A Python with packages from PyPI, in an environment of its own below the target folder.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Mutex;

/// Two tests of one program must not install at once.
static INSTALLING: Mutex<()> = Mutex::new(());

/// A Python that has these packages (`name==version`); it is made at the first run. Without PyPI the test fails and says so.
#[track_caller]
pub(crate) fn python(name: &str, packages: &[&str]) -> PathBuf {
    let _one = INSTALLING.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    let python = folder.join("bin/python");
    let run = |program: &Path, arguments: &[&str]| {
        let output = Command::new(program).args(arguments).output();
        let output = output.unwrap_or_else(|error| {
            panic!("{} does not run ({error}); Python 3 with venv is needed", program.display())
        });
        (output.status.success(), String::from_utf8_lossy(&output.stderr).into_owned())
    };
    let wanted = packages.join(" ");
    let marker = folder.join("packages");
    if std::fs::read_to_string(&marker).ok().as_deref() != Some(&wanted) {
        let (made, words) = run(Path::new("python3"), &["-m", "venv", "--clear", &folder.display().to_string()]);
        assert!(made, "no virtual environment for {name}: {words}");
        let install = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check"];
        let (installed, words) = run(&python, &[&install[..], packages].concat());
        assert!(installed, "{wanted} could not be installed from PyPI, so this is NOT tested: {words}");
        std::fs::write(&marker, wanted).unwrap();
    }
    python
}

/// Puts questions as JSON to a script's standard input; the answers, as JSON.
#[track_caller]
pub(crate) fn ask(python: &Path, script: &str, questions: &serde_json::Value) -> serde_json::Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(script);
    let mut child = Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(questions.to_string().as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "the reference did not answer");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// What SciPy is installed as, with what it needs.
pub(crate) const SCIPY: [&str; 2] = ["scipy==1.17.1", "numpy==2.4.6"];

/// Runs a script on arguments; its output, or what it complained of.
#[track_caller]
pub(crate) fn run(python: &Path, script: &str, arguments: &[&str]) -> Result<String, String> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(script);
    let output = Command::new(python).arg(&script).args(arguments).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    if output.status.success() { Ok(text(&output.stdout)) } else { Err(text(&output.stdout) + &text(&output.stderr)) }
}
