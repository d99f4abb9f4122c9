//! The bench: stops, operator, devices and host put together, and the session that comes of it.

use crate::SimError;
use crate::chain::Chain;
use crate::device::DeviceModel;
use crate::fault::Fault;
use crate::hand::Hand;
use crate::host::Host;
use crate::noise::{Noise, Stream};
use crate::script::{Doing, Script};
use crate::truth::{Cause, Family, Label, StepTruth, Truth};
use serde::{Deserialize, Serialize};
use serde_json::{Map, json};
use slipgauge_trace::session::{
    self, Axis, Clock, ClockId, Entry, Event, Header, Node, Plan, Role, Step, Writer,
};
use slipgauge_trace::{CountsPerMetre, Nanos};
use std::io::Write;

/// How far apart the stops are, and how well the operator knows it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Travel {
    /// What the plan says, in micrometres.
    pub told_um: i64,
    /// Its standard uncertainty in micrometres.
    pub uncertainty_um: i64,
    /// The true travel in metres; drawn from the two above if absent.
    pub true_m: Option<f64>,
}

impl Default for Travel {
    fn default() -> Self {
        Travel { told_um: 300_000, uncertainty_um: 500, true_m: None }
    }
}

/// A bench with everything on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Bench {
    /// Seed of every draw.
    pub seed: u64,
    /// The stops.
    pub travel: Travel,
    /// Body axis of the device that swipes run along.
    pub axis: Axis,
    /// The operator's hand.
    pub hand: Hand,
    /// The operator's tasks.
    pub script: Script,
    /// The device under test.
    pub device: DeviceModel,
    /// A reference device on the same carriage.
    pub reference: Option<DeviceModel>,
    /// The computer that records.
    pub host: Host,
    /// Faults at chosen places.
    pub faults: Vec<Fault>,
}

impl Default for Bench {
    /// A sound device, a steady hand and one screening test at step 1.
    fn default() -> Self {
        Bench {
            seed: 1,
            travel: Travel::default(),
            axis: Axis::X,
            hand: Hand::default(),
            script: Script::screen(1),
            device: DeviceModel::default(),
            reference: None,
            host: Host::default(),
            faults: Vec::new(),
        }
    }
}

impl Bench {
    /// Checks the parameters and makes the session of them.
    ///
    /// # Errors
    /// [`SimError::Parameter`] naming the one that makes no sense.
    pub fn session(self) -> Result<Session, SimError> {
        crate::check::check(&self)?;
        let drawn = Noise::new(self.seed, Stream::Travel, 0).bounded_normal();
        let told = (self.travel.told_um as f64, self.travel.uncertainty_um as f64);
        let travel_m = self.travel.true_m.unwrap_or(1e-6 * (told.0 + told.1 * drawn));
        Ok(Session { bench: self, travel_m })
    }

    pub(crate) fn devices(&self) -> impl Iterator<Item = &DeviceModel> {
        std::iter::once(&self.device).chain(&self.reference)
    }
}

/// A session that can be run any number of times, always with the same outcome.
#[derive(Debug, Clone)]
pub struct Session {
    bench: Bench,
    travel_m: f64,
}

impl Session {
    /// The bench that it is made of.
    pub fn bench(&self) -> &Bench {
        &self.bench
    }

    /// Line 1 of the session file. The clock is the simulator's, there is no wall-clock time, and the seed is among
    /// the further keys.
    pub fn header(&self) -> Header {
        let bench = &self.bench;
        let steps = bench.device.steps.iter().zip(1..).map(|(step, id)| Step {
            id,
            label: step.label.clone(),
            nominal_counts_per_inch: Some(step.nominal_counts_per_inch),
        });
        let mut paces = Map::new();
        for phase in &bench.script.phases {
            if let Doing::Swipes { pace, peak_m_s, .. } = phase.doing
                && let Ok(serde_json::Value::String(name)) = serde_json::to_value(pace)
            {
                paces.insert(name, json!({ "peak_m_s": peak_m_s }));
            }
        }
        let plan = Plan {
            travel_um: Some(bench.travel.told_um),
            travel_u_um: Some(bench.travel.uncertainty_um),
            travel_from: Some("ruler".to_owned()),
            axis: Some(bench.axis),
            steps: steps.collect(),
            paces,
            ..Plan::default()
        };
        let roles = [Role::Test, Role::Reference];
        Header {
            slipgauge: session::VERSION,
            tool: concat!("slipgauge-sim ", env!("CARGO_PKG_VERSION")).to_owned(),
            clock: Clock { id: ClockId::Simulated, resolution_ns: Some(Nanos(bench.host.resolution_ns)) },
            devices: bench.devices().zip(roles).map(|(model, role)| described(model, role)).collect(),
            plan: Some(plan),
            other: Map::from_iter([("seed".to_owned(), json!(bench.seed))]),
            ..Header::default()
        }
    }

    /// Runs the session: entries in order of time, a stream with bounded memory.
    pub fn entries(&self) -> Entries {
        let chain = |(index, model)| Chain::new(&self.bench, self.travel_m, model, index);
        let chains = self.bench.devices().enumerate().map(chain).collect();
        Entries { chains, session: self.clone(), latest: Nanos(0), ended: false }
    }

    /// The truth, by running the session once.
    pub fn truth(&self) -> Truth {
        let mut entries = self.entries();
        entries.by_ref().for_each(drop);
        entries.truth()
    }

    /// Writes the session file and gives the truth. The sink is not buffered here.
    ///
    /// # Errors
    /// [`SimError::Write`] if the sink refuses.
    pub fn write_to(&self, sink: impl Write) -> Result<Truth, SimError> {
        let mut writer = Writer::new(sink, &self.header())?;
        let mut entries = self.entries();
        for entry in entries.by_ref() {
            writer.write(&entry)?;
        }
        writer.flush()?;
        Ok(entries.truth())
    }

    /// What only shows against a reference.
    fn pair_labels(&self, end: i64) -> Vec<Label> {
        let Some(reference) = &self.bench.reference else { return Vec::new() };
        let lags_ms = [
            (Family::Lag, (self.bench.device.lag_ns - reference.lag_ns) as f64 * 1e-6, Cause::Sensor),
            (
                Family::StrikeLag,
                1e3 * (self.bench.device.strike_lag_s() - reference.strike_lag_s()),
                Cause::Firmware,
            ),
        ];
        let other = lags_ms.into_iter().filter(|(_, ms, _)| *ms != 0.0);
        other.map(|(family, ms, cause)| Label::new(family, "later", cause, (0, end), (ms, "ms"))).collect()
    }

    pub(crate) fn chain(&self, device: usize) -> Option<Chain> {
        self.bench.devices().nth(device).map(|model| Chain::new(&self.bench, self.travel_m, model, device))
    }
}

/// The entries of a session, in order of time.
pub struct Entries {
    session: Session,
    chains: Vec<Chain>,
    latest: Nanos,
    ended: bool,
}

impl Iterator for Entries {
    type Item = Entry;

    fn next(&mut self) -> Option<Entry> {
        // The earliest; the first device's where two are equal.
        let mut first: Option<(Nanos, usize)> = None;
        for (index, chain) in self.chains.iter_mut().enumerate() {
            if let Some(t) = chain.front()
                && first.is_none_or(|(other, _)| t < other)
            {
                first = Some((t, index));
            }
        }
        if let Some((t, index)) = first {
            self.latest = t;
            return self.chains.get_mut(index)?.next();
        }
        if std::mem::replace(&mut self.ended, true) {
            return None;
        }
        let end = self.chains.iter().filter_map(Chain::end).max().unwrap_or_default();
        Some(Entry { t: self.latest.max(end), device: 0, event: Event::End })
    }
}

impl Entries {
    /// What really happened up to the entry taken last; all of it once the iterator is at its end.
    pub fn truth(self) -> Truth {
        let mut truth = Truth {
            bench: self.session.bench.clone(),
            travel_m: self.session.travel_m,
            steps: Vec::new(),
            phases: Vec::new(),
            swipes: Vec::new(),
            labels: Vec::new(),
        };
        for (device, model) in truth.bench.devices().enumerate() {
            for (step, id) in model.steps.iter().zip(1..) {
                truth.steps.push(StepTruth {
                    device,
                    step: id,
                    nominal_counts_per_inch: step.nominal_counts_per_inch,
                    counts_per_inch: model.counts_per_m(id).map(|c| CountsPerMetre(c).per_inch()),
                });
            }
        }
        for (device, chain) in self.chains.into_iter().enumerate() {
            let ledger = chain.into_ledger();
            truth.labels.extend(ledger.labels);
            if device == 0 {
                (truth.phases, truth.swipes) = (ledger.phases, ledger.swipes);
            }
        }
        truth.labels.extend(self.session.pair_labels(truth.phases.last().map_or(0, |phase| phase.end_ns)));
        truth.labels.sort_by_key(|label| label.begin_ns);
        truth
    }
}

fn described(model: &DeviceModel, role: Role) -> session::Device {
    let node = Node {
        interface: Some(0),
        interval_ns: Some(Nanos(model.link.interval_ns)),
        descriptor: session::hex(&model.report.descriptor()),
        ..Node::default()
    };
    session::Device {
        role,
        label: model.label.clone(),
        name: Some(model.name.clone()),
        link: Some(if model.link.radio.is_some() { "radio" } else { "cable" }.to_owned()),
        nodes: vec![node],
        ..session::Device::default()
    }
}
