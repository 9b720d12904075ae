//! A full disk: nothing is shown that is not stored, the page says why, and the bench goes on by itself.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use simulators::Instrument;

use crate::support::daemon::measured;
use crate::support::http::Stream;
use crate::support::table::{Table, bench_time};
use crate::support::{assert_verified, wait_for};

const SCALE: Instrument = Instrument::PartsScale;

/// A small disk of its own; taken away at the end.
struct SmallDisk(PathBuf);

impl SmallDisk {
    /// `None` where mounting is not allowed: it takes the superuser.
    fn mount(folder: &Path) -> Option<Self> {
        std::fs::create_dir_all(folder).unwrap();
        let mount = Command::new("mount").args(["-t", "tmpfs", "-o", "size=2m", "tmpfs"]).arg(folder).output();
        mount.is_ok_and(|output| output.status.success()).then(|| Self(folder.to_owned()))
    }

    fn filler(&self) -> PathBuf {
        self.0.join("filler")
    }

    /// Leaves no byte free.
    fn fill(&self) {
        let mut filler = OpenOptions::new().create(true).append(true).open(self.filler()).unwrap();
        while filler.write_all(&[0; 4096]).is_ok() {}
        while filler.write_all(&[0]).is_ok() {}
    }

    fn free(&self) {
        std::fs::remove_file(self.filler()).unwrap();
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        // Lazily: the daemon may still be going down.
        Command::new("umount").arg("-l").arg(&self.0).status().ok();
    }
}

#[test]
fn a_full_disk_is_told_and_nothing_unstored_is_shown() {
    let table = Table::new(51);
    let Some(disk) = SmallDisk::mount(&table.data) else {
        #[expect(clippy::print_stderr, reason = "a test that proves nothing here says so")]
        {
            eprintln!("NOT TESTED: a full disk; mounting a small one needs the superuser");
        }
        return;
    };
    let daemon = table.ready_daemon();
    table.lay_part(SCALE, 203.2);
    daemon.wait_captured(SCALE.name(), 1);
    table.lift(&daemon, SCALE);
    let mut stream = Stream::open(daemon.address).unwrap();

    for (round, mass_g) in [(1, 61.7), (2, 50.4)] {
        // The write-ahead log has room of its own at times: only a capture that fails fills the page with words.
        disk.fill();
        table.lay_part(SCALE, mass_g);
        let state = wait_for("the banner of the full disk", || {
            let state = daemon.state();
            let told = state["banners"].as_array().unwrap().iter().any(|b| b["level"] == "fault");
            told.then_some(state)
        });
        let banners = state["banners"].to_string();
        assert!(banners.contains("the journal cannot be written") && banners.contains("free space"), "{banners}");
        daemon.get("/readyz").assert_problem(503, "free space");
        assert_eq!(daemon.get("/healthz").status, 200);
        // An open page hears of it too, without asking.
        wait_for("the banner on the open stream", || {
            let event = stream.next().expect("the stream ended");
            event["banners"].to_string().contains("the journal cannot be written").then_some(())
        });
        // The page must not take the daemon for dead meanwhile: the beat goes on.
        let before = daemon.state()["beat"].as_u64().unwrap();
        wait_for("the beat while the disk is full", || {
            (daemon.state()["beat"].as_u64().unwrap() >= before + 3).then_some(())
        });
        std::thread::sleep(bench_time(5.0));
        let state = daemon.state();
        let captures = state["captures"].as_array().unwrap();
        assert_eq!(captures.len(), round, "shown and not stored: {captures:?}");
        assert_eq!(daemon.captured(SCALE.name()).len(), round);
        let phase = crate::support::daemon::instrument(&state, SCALE.name())["phase"].clone();
        assert_ne!(phase, "held", "it looks captured and is not stored");

        disk.free();
        let captured = daemon.wait_captured(SCALE.name(), round + 1);
        let value = measured(&captured[round], "mass");
        assert!((value - mass_g).abs() <= 0.15, "{value}");
        wait_for("the banner's end", || {
            let state = daemon.state();
            state["banners"].as_array().unwrap().iter().all(|b| b["level"] != "fault").then_some(())
        });
        assert_eq!(daemon.get("/readyz").status, 200);
        table.lift(&daemon, SCALE);
        assert_eq!(daemon.captured(SCALE.name()).len(), round + 1, "captured once more after the disk had space");
    }
    assert!(daemon.terminate().success());
    assert_verified(&table.data);
}
