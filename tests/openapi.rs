//! The description of the API against the API: every route stands in it, and schemathesis (from PyPI) finds no answer that
//! it does not describe, nor an error of the server, whatever it asks.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test ends when something is not as it must be")]
#![allow(missing_docs, reason = "a test is no library")]

mod support;

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use support::daemon::Daemon;

const DESCRIPTION: &str = include_str!("../src/output/web/openapi.json");
const ROUTES: &str = include_str!("../src/output/web/mod.rs");
/// What it looks at.
const CHECKS: &str = "not_a_server_error,status_code_conformance,content_type_conformance,response_headers_conformance,\
                      response_schema_conformance,unsupported_method";
const PACKAGE: &str = "schemathesis==4.32.5";

/// The program in an environment of its own, installed at the first run.
fn schemathesis() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("schemathesis");
    let program = folder.join("bin/schemathesis");
    let run = |program: &Path, arguments: &[&str]| {
        let output = Command::new(program).args(arguments).output().unwrap_or_else(|error| {
            panic!("{} does not run ({error}); Python 3 with venv is needed", program.display())
        });
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    };
    if !program.exists() {
        run(Path::new("python3"), &["-m", "venv", "--clear", folder.to_str().unwrap()]);
        let install = ["-m", "pip", "install", "--quiet", "--disable-pip-version-check", PACKAGE];
        run(&folder.join("bin/python"), &install);
    }
    program
}

#[test]
fn every_route_of_the_api_is_described() {
    let description: Value = serde_json::from_str(DESCRIPTION).unwrap();
    let routes: Vec<&str> = ROUTES.split(".route(\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert!(routes.len() > 10, "{routes:?}");
    let is_data = |route: &&&str| route.starts_with("/api/") || ["/healthz", "/readyz", "/metrics"].contains(route);
    for route in routes.iter().filter(is_data) {
        let path = route.replace("{*", "{");
        assert!(description["paths"].get(&path).is_some(), "{path} is not described");
    }
    for path in description["paths"].as_object().unwrap().keys() {
        let is_there = routes.iter().any(|route| route.replace("{*", "{") == *path);
        assert!(is_there, "{path} is described and not there");
    }
}

#[test]
fn no_request_gets_an_answer_that_is_not_described() {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("bench.toml");
    let text = format!(
        "site = \"s\"\nbench = \"b\"\ndata = \"{}\"\n[http]\nlisten = \"127.0.0.1:0\"\n[mqtt]\n\
         [[instrument]]\nid = \"scale\"\nkind = \"scale\"\nport = \"/dev/not-plugged-in\"\n\
         format = \"hdr2-sign8-unit3\"\nresolution = \"0.1 g\"\n",
        folder.path().join("data").display()
    );
    std::fs::write(&config, text).unwrap();
    let daemon = Daemon::run(&config, 1.0);
    let order = "order = \"W-1\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\nhead_mass = \"203 g ± 2 g\"\n";
    let imported = daemon.command(&serde_json::json!({"command": "import_order", "text": order}));
    assert_eq!(imported.status, 200, "{}", imported.body);
    let url = format!("http://{}/api/openapi.json", daemon.address);
    let output = Command::new(schemathesis())
        // The stream never ends, so it is not asked.
        .args(["run", &url, "--exclude-path", "/api/v1/live", "--max-examples", "60", "--seed", "7", "--no-color"])
        .args(["--checks", CHECKS])
        .args(["--phases", "examples,coverage,fuzzing", "--suppress-health-check", "filter_too_much"])
        .current_dir(folder.path())
        .output()
        .unwrap();
    let words = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{words}\n{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(daemon.get("/healthz").status, 200);
}
