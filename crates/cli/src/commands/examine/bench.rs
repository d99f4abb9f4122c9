//! What is examined: a device that is plugged in, or a simulated one.

use super::ExamineArgs;
use super::screen::Screen;
use crate::commands::{devices, record, simulate};
use anyhow::{Context as _, bail};
use slipgauge_capture::device::{self, FoundDevice};
use slipgauge_capture::{Inputs, Track, choose};
use slipgauge_guide::{Doing, TestPlan, rehearsal};
use slipgauge_sim::{LedSource, Operator, Session};
use slipgauge_trace::layout::Layout;
use slipgauge_trace::session::{Device, Header};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How long it is waited for a device that is moved.
const CHOICE: Duration = Duration::from_secs(60);
/// How often it is looked for one that went away.
const LOOK: Duration = Duration::from_secs(1);

/// Where reports come from.
pub enum Bench {
    /// A device.
    Real(Box<FoundDevice>),
    /// A simulated one, with its hand.
    Simulated {
        /// All that is known of it.
        session: Box<Session>,
        /// Who moves it.
        operator: Operator,
        /// Simulated seconds a second.
        times: f64,
    },
}

impl Bench {
    /// The one that was asked for, or is moved.
    pub fn choose(
        args: &ExamineArgs,
        plan: &TestPlan,
        screen: &mut Screen,
        stop: &AtomicBool,
    ) -> anyhow::Result<Bench> {
        if let Some(fault) = &args.simulate {
            if !(0.1..=100.0).contains(&args.times) {
                bail!("--times is between 0.1 and 100 simulated seconds a second");
            }
            let session = Box::new(simulate::for_plan(fault, args.seed, args.interval.0.0, plan)?);
            return Ok(Bench::Simulated { session, operator: Operator::default(), times: args.times });
        }
        if args.device.is_some() {
            return Ok(Bench::Real(Box::new(record::choose(args.device.as_deref())?)));
        }
        let mut found = device::find()?;
        if found.is_empty() {
            bail!("{}", devices::why_none(Path::new("/")));
        }
        screen.line("Move the device that is to be examined.")?;
        let chosen = choose::moved(&found, CHOICE, stop);
        let Some(index) = chosen else {
            bail!(
                "no device was moved within {} s; say which by --device (slipgauge devices lists them)",
                CHOICE.as_secs()
            );
        };
        let chosen = found.swap_remove(index);
        screen.line(&format!("It is {}.", devices::shown_name(&chosen)))?;
        Ok(Bench::Real(Box::new(chosen)))
    }

    /// The first line of its session.
    pub fn header(&self, args: &ExamineArgs, plan: &TestPlan) -> anyhow::Result<Header> {
        let mut header = match self {
            Bench::Real(device) => record::header_of(vec![device.described()]),
            Bench::Simulated { session, .. } => session.header(),
        };
        header.plan = Some(plan.to_session());
        header.surface = args.surface.clone().or(header.surface);
        let device = header.devices.first_mut().context("the bench has no device")?;
        device.label = args.label.clone().or(device.label.take());
        device.unit = args.unit.clone().or(device.unit.take());
        Ok(header)
    }

    /// Opens it: from now on its reports are queued.
    pub fn open(&self) -> anyhow::Result<(Vec<Track>, Option<Inputs>)> {
        match self {
            Bench::Real(device) => {
                let inputs = Inputs::open(device);
                let tracks = record::open(0, device, &inputs)?;
                Ok((tracks, Some(inputs)))
            }
            Bench::Simulated { session, operator, times } => {
                let source = LedSource::new(session, operator, *times).context("the bench has no device")?;
                let descriptor = session.bench().device.report.descriptor();
                let layout = Layout::from_descriptor(&descriptor)?;
                Ok((vec![Track { device: 0, node: 0, layout, source: Box::new(source) }], None))
            }
        }
    }

    /// Tells the hand, if it is a simulated one.
    pub fn ask(&self, doing: &Doing) {
        if let Bench::Simulated { operator, .. } = self {
            operator.ask(doing.phase, doing.asked.step, rehearsal::doing(doing));
        }
    }

    /// The phase is over, for a simulated hand.
    pub fn phase_ends(&self) {
        if let Bench::Simulated { operator, .. } = self {
            operator.stop();
        }
    }

    /// The device again, once it is back; `None` if `stop` is set before.
    pub fn wait_for(&mut self, described: &Device, stop: &AtomicBool) -> Option<()> {
        let Bench::Real(device) = self else { return None };
        let nodes = |d: &Device| d.nodes.iter().map(|n| n.descriptor.clone()).collect::<Vec<_>>();
        while !stop.load(Ordering::Relaxed) {
            let found = device::find().unwrap_or_default();
            let same = |f: &FoundDevice| {
                let now = f.described();
                (now.vendor, now.product) == (described.vendor, described.product)
                    && nodes(&now) == nodes(described)
            };
            if let Some(back) = found.into_iter().find(same) {
                **device = back;
                return Some(());
            }
            std::thread::sleep(LOOK);
        }
        None
    }
}
