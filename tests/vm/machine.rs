//! One emulated machine, from its parts to the files that it leaves.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::initramfs::Initramfs;
use super::qmp::Qmp;

/// Longer than any scenario on a host with ten times the work it can do: the longest takes 40 s on an idle one.
const TIME_OUT: Duration = Duration::from_secs(400);

/// Which of the two kernels.
#[derive(Clone, Copy, PartialEq)]
pub enum Kernel {
    /// Quick to boot; has virtual HID devices, no USB.
    Cloud,
    /// Has USB too.
    Full,
}

/// What drives the guest's clocks.
#[derive(Clone, Copy, PartialEq)]
pub enum Time {
    /// Counted instructions: a run does not depend on how busy the host is. (Nearly: on a busy one, about one run
    /// in ten had a stamp or more that differed, by 4 microseconds at the most.) Says nothing of what a real machine keeps up
    /// with.
    Simulated,
    /// The host's clock.
    Host,
}

/// The parts of a machine.
pub struct Parts {
    /// Also the name of its folder under `target/vm/runs`.
    pub name: String,
    pub kernel: Kernel,
    pub time: Time,
    /// Sourced by the guest's `init`; what it leaves in its working folder comes back.
    pub scenario: &'static str,
    /// Further files for the guest's root folder.
    pub files: Vec<(&'static str, String)>,
    /// Values of `-device`.
    pub devices: Vec<&'static str>,
}

impl Parts {
    /// Starts the machine.
    pub fn boot(self) -> Machine {
        let vm = prepared();
        let run = vm.join("runs").join(&self.name);
        let _ = fs::remove_dir_all(&run);
        fs::create_dir_all(&run).unwrap();
        let kernel = vm.join("kernel").join(if self.kernel == Kernel::Cloud { "cloud" } else { "full" });
        fs::write(run.join("initramfs.cpio"), self.initramfs(&vm, &kernel)).unwrap();

        let root = vm.join("root");
        let mut qemu = Command::new(root.join("usr/bin/qemu-system-x86_64"));
        let libraries = [root.join("usr/lib/x86_64-linux-gnu"), root.join("lib/x86_64-linux-gnu")];
        qemu.env("LD_LIBRARY_PATH", std::env::join_paths(libraries).unwrap());
        qemu.current_dir(&run).arg("-L").arg(root.join("usr/share/qemu"));
        qemu.arg("-L").arg(root.join("usr/share/seabios")).arg("-kernel").arg(kernel.join("vmlinuz"));
        qemu.args(["-initrd", "initramfs.cpio"]);
        qemu.args(["-append", "console=ttyS0 quiet panic=-1 norandmaps nokaslr"]);
        qemu.args("-nodefaults -no-user-config -machine pc -accel tcg -m 512 -smp 1 -no-reboot".split(' '));
        qemu.args("-display none -serial file:console.txt -serial file:out.tar.gz".split(' '));
        qemu.args(match self.time {
            Time::Simulated => {
                "-icount shift=1,sleep=off -rtc base=2026-01-01T00:00:00,clock=vm -seed 1".split(' ')
            }
            Time::Host => "-qmp unix:qmp,server=on,wait=off".split(' '),
        });
        for device in &self.devices {
            qemu.args(["-device", device]);
        }
        let log = File::create(run.join("qemu.txt")).unwrap();
        let process = qemu.stdin(Stdio::null()).stdout(log.try_clone().unwrap()).stderr(log).spawn().unwrap();
        Machine { run, process, since: Instant::now() }
    }

    fn initramfs(&self, vm: &Path, kernel: &Path) -> Vec<u8> {
        let mut archive = Initramfs::default();
        for folder in ["bin", "dev", "modules", "out", "proc", "sys"] {
            archive.folder(folder);
        }
        archive.file("init", include_bytes!("guest/init"));
        archive.file("scenario", self.scenario.as_bytes());
        archive.file("bin/busybox", &fs::read(vm.join("root/bin/busybox")).unwrap());
        archive.file("bin/slipgauge", &fs::read(slipgauge()).unwrap());
        let replay = static_build().join("examples/replay_to_uhid");
        archive.file("bin/replay_to_uhid", &fs::read(replay).unwrap());
        for module in files_below(&kernel.join("lib/modules")) {
            let name = module.file_name().unwrap().to_str().unwrap();
            archive.file(&format!("modules/{name}"), &fs::read(&module).unwrap());
        }
        for (name, content) in &self.files {
            archive.file(name, content.as_bytes());
        }
        archive.finish()
    }
}

/// A machine that runs; it is ended when this goes.
pub struct Machine {
    run: PathBuf,
    process: Child,
    since: Instant,
}

impl Machine {
    /// Returns when the guest has said `@@word`.
    pub fn wait_for(&mut self, word: &str) {
        while !self.has_said(word) {
            let ended = self.process.try_wait().unwrap();
            assert!(ended.is_none(), "the machine ended without {word}; its console:\n{}", self.console());
            self.doze();
        }
    }

    pub fn has_said(&self, word: &str) -> bool {
        self.console().lines().any(|line| line.trim_end().ends_with(&format!("@@{word}")))
    }

    /// What moves its emulated mouse, in a machine that keeps the host's time.
    pub fn control(&self) -> Qmp {
        Qmp::connect(&self.run.join("qmp"))
    }

    /// Returns when the machine has switched itself off.
    pub fn finish(mut self) -> Files {
        while self.process.try_wait().unwrap().is_none() {
            self.doze();
        }
        assert!(self.has_said("done"), "the scenario broke off; the console:\n{}", self.console());
        let files = self.run.join("out");
        fs::create_dir(&files).unwrap();
        let mut tar = Command::new("tar");
        let unpacked =
            tar.arg("-xzf").arg(self.run.join("out.tar.gz")).arg("-C").arg(&files).status().unwrap();
        assert!(unpacked.success(), "the guest's files did not come through whole");
        Files { run: self.run.clone() }
    }

    fn doze(&self) {
        assert!(
            self.since.elapsed() < TIME_OUT,
            "the machine takes too long; its console:\n{}",
            self.console()
        );
        std::thread::sleep(Duration::from_millis(20));
    }

    fn console(&self) -> String {
        String::from_utf8_lossy(&fs::read(self.run.join("console.txt")).unwrap_or_default()).into_owned()
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// What a machine left.
pub struct Files {
    run: PathBuf,
}

impl Files {
    /// Where a file is that the scenario left in its working folder.
    pub fn path(&self, name: &str) -> PathBuf {
        self.run.join("out").join(name)
    }

    /// Where a file is that the emulator left.
    pub fn of_host(&self, name: &str) -> PathBuf {
        self.run.join(name)
    }

    pub fn text(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).unwrap_or_else(|error| panic!("{name} of the guest: {error}"))
    }

    /// The exit status and output of what the scenario ran with `keep name …`.
    pub fn ended(&self, name: &str) -> (i32, String) {
        (self.text(&format!("{name}.status")).trim().parse().unwrap(), self.text(&format!("{name}.txt")))
    }
}

/// The static program under test: the one that runs in the guest runs on the host as well.
pub fn slipgauge() -> PathBuf {
    static_build().join("slipgauge")
}

fn static_build() -> PathBuf {
    prepared().join("build/x86_64-unknown-linux-gnu/release")
}

fn prepared() -> PathBuf {
    std::env::var_os("SLIPGAUGE_VM").expect("SLIPGAUGE_VM is set by scripts/vm-test: run that").into()
}

fn files_below(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { files.extend(files_below(&path)) } else { files.push(path) }
    }
    files.sort();
    files
}
