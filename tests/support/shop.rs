//! A folder with a configuration, and the built program on it.

use std::path::PathBuf;

use super::benchscribe;
use super::table::configuration;

pub(crate) struct Shop {
    pub(crate) folder: tempfile::TempDir,
    pub(crate) config: PathBuf,
}

impl Shop {
    pub(crate) fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let config = folder.path().join("bench.toml");
        let data = folder.path().join("data");
        std::fs::write(&config, configuration("/nowhere", data.to_str().unwrap())).unwrap();
        Self { folder, config }
    }

    /// What the program prints; it must end well.
    #[track_caller]
    pub(crate) fn done(&self, arguments: &[&str]) -> String {
        let config = self.config.to_str().unwrap();
        let output = benchscribe(arguments.iter().chain(&["--config", config]));
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }
}
