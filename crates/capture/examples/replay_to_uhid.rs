//! Plays a session file as a virtual HID device, through `/dev/uhid`.
//!
//!     replay_to_uhid SESSION [--name TEXT] [--vendor N] [--product N] [--when FILE] [--hold-ms N] [--destroy-after N]
//!
//! One device a node of the session's first device, with the node's own descriptor, on the USB bus number. Nothing is
//! sent until somebody opens one of them (its hidraw node); each report then follows at its time `t` from that
//! moment, on the monotonic clock, whatever the report holds. The kernel takes reports at any rate and tells nobody
//! when a reader was too slow for them.
//!
//! `--when` waits for a file, too: the kernel's own keyboard driver opens whatever has keys as soon as it is there.
//! `--hold-ms` is how long the devices stay after the last report (500), `--destroy-after` takes them away right
//! after that many reports. At the end one line says how many reports were sent.

use std::error::Error;
use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::path::PathBuf;

use rustix::event::{PollFd, PollFlags, poll};
use rustix::thread::clock_nanosleep_absolute;
use rustix::time::{ClockId, Timespec, clock_gettime};
use serde_json::Value;
use thread_priority::{
    RealtimeThreadSchedulePolicy, ThreadPriority, ThreadSchedulePolicy, set_thread_priority_and_policy,
    thread_native_id,
};

type Result<T> = std::result::Result<T, Box<dyn Error>>;

/// Event numbers and sizes of `linux/uhid.h`.
mod uhid {
    pub const DESTROY: u32 = 1;
    pub const OPEN: u32 = 4;
    pub const GET_REPORT: u32 = 9;
    pub const GET_REPORT_REPLY: u32 = 10;
    pub const CREATE2: u32 = 11;
    pub const INPUT2: u32 = 12;
    pub const SET_REPORT: u32 = 13;
    pub const SET_REPORT_REPLY: u32 = 14;
    pub const EVENT_BYTES: usize = 4380;
    pub const BUS_USB: u16 = 3;
    /// `EIO`: what a device answers that has no such report.
    pub const NO_SUCH_REPORT: u16 = 5;
}

fn main() -> Result<()> {
    let options = Options::parse()?;
    let score = Score::read(&options)?;
    let mut devices = Vec::new();
    for descriptor in &score.descriptors {
        devices.push(Device::create(&score, descriptor)?);
    }
    wait_until_opened(&mut devices)?;
    // A device does not wait for the computer to have time: go before everything else, where that is allowed.
    let first = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    let _ = set_thread_priority_and_policy(thread_native_id(), ThreadPriority::Max, first);
    while options.when.as_ref().is_some_and(|file| !file.exists()) {
        sleep_until(now() + 10_000_000)?;
    }
    let start = now();
    let mut sent = 0;
    for report in &score.reports {
        if options.destroy_after == Some(sent) {
            break;
        }
        sleep_until(start + report.at)?;
        let device =
            devices.get_mut(report.node).ok_or("a report of a node that the header does not have")?;
        device.send(&report.bytes)?;
        sent += 1;
    }
    if options.destroy_after.is_none() {
        sleep_until(now() + options.hold_ms * 1_000_000)?;
    }
    for device in &mut devices {
        device.destroy()?;
    }
    writeln!(std::io::stdout(), "sent {sent} of {} reports", score.reports.len())?;
    Ok(())
}

struct Options {
    session: PathBuf,
    name: Option<String>,
    vendor: Option<u32>,
    product: Option<u32>,
    when: Option<PathBuf>,
    hold_ms: u64,
    destroy_after: Option<usize>,
}

impl Options {
    fn parse() -> Result<Self> {
        let mut session = None;
        let (mut name, mut vendor, mut product) = (None, None, None);
        let (mut when, mut hold_ms, mut destroy_after) = (None, 500, None);
        let mut arguments = std::env::args().skip(1);
        while let Some(argument) = arguments.next() {
            let mut value = || arguments.next().ok_or_else(|| format!("{argument} needs a value"));
            match argument.as_str() {
                "--name" => name = Some(value()?),
                "--vendor" => vendor = Some(value()?.parse()?),
                "--product" => product = Some(value()?.parse()?),
                "--when" => when = Some(PathBuf::from(value()?)),
                "--hold-ms" => hold_ms = value()?.parse()?,
                "--destroy-after" => destroy_after = Some(value()?.parse()?),
                _ => session = Some(PathBuf::from(argument)),
            }
        }
        let session = session.ok_or("which session? replay_to_uhid SESSION [options]")?;
        Ok(Self { session, name, vendor, product, when, hold_ms, destroy_after })
    }
}

/// What is to be played.
struct Score {
    name: String,
    vendor: u32,
    product: u32,
    descriptors: Vec<Vec<u8>>,
    reports: Vec<Report>,
}

struct Report {
    /// Nanoseconds after the opening.
    at: u64,
    node: usize,
    bytes: Vec<u8>,
}

impl Score {
    fn read(options: &Options) -> Result<Self> {
        let text = std::fs::read_to_string(&options.session)?;
        let mut lines = text.lines();
        let header: Value = serde_json::from_str(lines.next().ok_or("an empty session")?)?;
        let device = &header["devices"][0];
        let number = |key: &str| device[key].as_u64().and_then(|n| u32::try_from(n).ok());
        let mut descriptors = Vec::new();
        for node in device["nodes"].as_array().ok_or("the header has no nodes")? {
            descriptors
                .push(bytes_of_hex(node["descriptor"].as_str().ok_or("a node without a descriptor")?)?);
        }
        let mut reports = Vec::new();
        for line in lines {
            let line: Value = serde_json::from_str(line)?;
            if let (Some(at), Some(hex), 0) =
                (line["t"].as_u64(), line["r"].as_str(), line["d"].as_u64().unwrap_or(0))
            {
                let node = usize::try_from(line["n"].as_u64().unwrap_or(0))?;
                reports.push(Report { at, node, bytes: bytes_of_hex(hex)? });
            }
        }
        let name = options.name.as_deref().or(device["name"].as_str()).unwrap_or("Bench Pointer");
        Ok(Self {
            name: name.to_owned(),
            vendor: options.vendor.or(number("vendor")).unwrap_or(0x1209),
            product: options.product.or(number("product")).unwrap_or(0x0001),
            descriptors,
            reports,
        })
    }
}

fn bytes_of_hex(hex: &str) -> Result<Vec<u8>> {
    let digits = hex.as_bytes().chunks(2);
    digits.map(|pair| Ok(u8::from_str_radix(std::str::from_utf8(pair)?, 16)?)).collect()
}

/// One virtual device: it is there while this lives.
struct Device(File);

impl Device {
    fn create(score: &Score, descriptor: &[u8]) -> Result<Self> {
        let mut event = uhid::CREATE2.to_ne_bytes().to_vec();
        event.extend(padded(score.name.as_bytes(), 128));
        event.extend(padded(b"replay/input0", 64));
        event.extend(padded(b"", 64)); // no serial number
        event.extend(u16::try_from(descriptor.len())?.to_ne_bytes());
        event.extend(uhid::BUS_USB.to_ne_bytes());
        let (release, country) = (0x0100_u32, 0_u32);
        for number in [score.vendor, score.product, release, country] {
            event.extend(number.to_ne_bytes());
        }
        event.extend(descriptor);
        let mut device = Self(OpenOptions::new().read(true).write(true).open("/dev/uhid")?);
        device.0.write_all(&event)?;
        Ok(device)
    }

    fn send(&mut self, report: &[u8]) -> Result<()> {
        let mut event = uhid::INPUT2.to_ne_bytes().to_vec();
        event.extend(u16::try_from(report.len())?.to_ne_bytes());
        event.extend(report);
        Ok(self.0.write_all(&event)?)
    }

    fn destroy(&mut self) -> Result<()> {
        Ok(self.0.write_all(&uhid::DESTROY.to_ne_bytes())?)
    }

    /// Reads one event of the kernel's; true when it says that somebody opened the device. Questions for feature
    /// reports are answered with an error at once: the kernel would wait seconds for each.
    fn serve(&mut self) -> Result<bool> {
        let mut event = vec![0; uhid::EVENT_BYTES];
        let length = self.0.read(&mut event)?;
        let (kind, rest) = event[..length].split_first_chunk::<4>().ok_or("a short event")?;
        let reply = match u32::from_ne_bytes(*kind) {
            uhid::OPEN => return Ok(true),
            uhid::GET_REPORT => uhid::GET_REPORT_REPLY,
            uhid::SET_REPORT => uhid::SET_REPORT_REPLY,
            _ => return Ok(false),
        };
        let mut answer = reply.to_ne_bytes().to_vec();
        answer.extend(rest.first_chunk::<4>().ok_or("a question without its number")?);
        answer.extend(uhid::NO_SUCH_REPORT.to_ne_bytes());
        answer.extend([0, 0]);
        self.0.write_all(&answer)?;
        Ok(false)
    }
}

fn padded(text: &[u8], size: usize) -> Vec<u8> {
    let mut field = text.to_vec();
    field.truncate(size - 1);
    field.resize(size, 0);
    field
}

fn wait_until_opened(devices: &mut [Device]) -> Result<()> {
    loop {
        let mut ready: Vec<_> = devices.iter().map(|device| PollFd::new(&device.0, PollFlags::IN)).collect();
        poll(&mut ready, None)?;
        let ready: Vec<bool> = ready.iter().map(|fd| fd.revents().contains(PollFlags::IN)).collect();
        for (device, ready) in devices.iter_mut().zip(ready) {
            if ready && device.serve()? {
                return Ok(());
            }
        }
    }
}

/// Nanoseconds on the monotonic clock.
fn now() -> u64 {
    let now = clock_gettime(ClockId::Monotonic);
    now.tv_sec.unsigned_abs() * 1_000_000_000 + now.tv_nsec.unsigned_abs()
}

fn sleep_until(at: u64) -> Result<()> {
    let at =
        Timespec { tv_sec: i64::try_from(at / 1_000_000_000)?, tv_nsec: i64::try_from(at % 1_000_000_000)? };
    while let Err(error) = clock_nanosleep_absolute(rustix::thread::ClockId::Monotonic, &at) {
        if error != rustix::io::Errno::INTR {
            return Err(error.into());
        }
    }
    Ok(())
}
