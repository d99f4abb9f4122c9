//! Before the swipes: what was understood, what can be told once, how late this computer is.

use super::ExamineArgs;
use super::screen::Screen;
use slipgauge_capture::floor;
use slipgauge_guide::TestPlan;
use slipgauge_guide::say::{speed, step_name};
use slipgauge_trace::Nanos;
use slipgauge_trace::session::Header;
use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::time::Duration;

/// How long this computer's timing is looked at.
const FLOOR: Duration = Duration::from_secs(2);

/// Says the plan back.
pub fn plan(screen: &mut Screen, plan: &TestPlan) -> anyhow::Result<()> {
    screen.line(&plan.travel.sentence())?;
    screen.lines(plan.travel.drawing().trim_end())?;
    if !plan.straight_edge {
        screen.line(
            "No straight edge: resolution and gain change are known less well, for a device that turns counts less.",
        )?;
    }
    let steps: Vec<String> = plan.steps.iter().map(step_name).collect();
    let swipes: u32 = plan.paces.iter().map(|p| p.swipes).sum::<u32>() + slipgauge_guide::plan::IDENTIFY;
    screen.line(&format!(
        "Of each step {swipes} swipes and {:.0} s of rest: {}.",
        plan.still.seconds(),
        steps.join("; ")
    ))?;
    if let Some(need) = plan.need {
        screen.line(&format!("Needed: {} at the peak.", speed(need.peak())))?;
    }
    Ok(())
}

/// Asks what is not known and may be left out, if somebody is there to answer.
pub fn ask(args: &ExamineArgs, screen: &mut Screen, header: &mut Header) -> anyhow::Result<()> {
    let asks = !args.no_questions && args.simulate.is_none() && std::io::stdin().is_terminal();
    let told = |what: &str, given: Option<String>| -> anyhow::Result<Option<String>> {
        if given.is_some() || !asks {
            return Ok(given);
        }
        let mut out = std::io::stdout();
        write!(out, "{what} (Enter leaves it out): ").and_then(|()| out.flush())?;
        let mut line = String::new();
        std::io::stdin().lock().read_line(&mut line)?;
        let line = line.trim();
        Ok((!line.is_empty()).then(|| line.to_owned()))
    };
    if asks {
        screen.line("For the record, all of it optional:")?;
    }
    let distance = args.receiver_distance.map(|length| format!("{} mm", length.0 as f64 * 1e-3));
    let surface = told("What it moves on", header.surface.clone())?;
    let firmware = told("Its firmware's version", args.firmware.clone())?;
    let battery = told("How full its battery is", args.battery.clone())?;
    let distance = told("How far its receiver is away", distance)?;
    let note = told("Anything else", args.note.clone())?;
    header.surface = surface;
    if let Some(device) = header.devices.first_mut() {
        let facts = [("firmware", firmware), ("battery", battery), ("receiver_distance", distance)];
        for (key, fact) in facts {
            device.other.extend(fact.map(|fact| (key.to_owned(), fact.into())));
        }
    }
    header.other.extend(note.map(|note| ("note".to_owned(), note.into())));
    Ok(())
}

/// Measures how late this computer wakes a program, and says it.
pub fn floor(screen: &mut Screen, header: &mut Header, simulated: bool) -> anyhow::Result<()> {
    if simulated {
        screen.line("The computer's own timing is simulated too.")?;
        return Ok(());
    }
    let seen = floor::measure(FLOOR);
    let ms = |t: Nanos| t.seconds() * 1e3;
    header.host.insert(
        "wake_up_ns".to_owned(),
        serde_json::json!({ "median": seen.median, "p99": seen.p99, "worst": seen.worst, "n": seen.n }),
    );
    screen.line(&format!(
        "This computer wakes a program {:.2} ms late, {:.2} ms one time in a hundred, {:.1} ms at the worst of {}: no time \
         below is known better.",
        ms(seen.median),
        ms(seen.p99),
        ms(seen.worst),
        seen.n
    ))
}
