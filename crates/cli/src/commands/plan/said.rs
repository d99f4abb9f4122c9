//! The plan for a person at a terminal: 80 columns, no colour needed.

use slipgauge_analysis::verdict::count;
use slipgauge_guide::plan::{IDENTIFY, REST_AFTER};
use slipgauge_guide::size::{ARM, Claims, PEAK_SCATTER, READING, RESTING, STOPPING, Share};
use slipgauge_guide::study::{Chance, Curve, Row, Study};
use slipgauge_guide::{Need, TestPlan};
use slipgauge_report::text::{paragraph, speed, spelled};
use slipgauge_trace::outside::harmless;
use slipgauge_trace::session::{Axis, Step};
use std::fmt::{self, Write};
use std::path::PathBuf;

/// All that is said.
pub fn told(plan: &TestPlan, claims: &Claims, study: Option<&Study>, written: &[PathBuf]) -> String {
    let mut out = String::new();
    let _ = write_all(&mut out, plan, claims, study, written);
    out
}

fn write_all(
    out: &mut String,
    plan: &TestPlan,
    claims: &Claims,
    study: Option<&Study>,
    written: &[PathBuf],
) -> fmt::Result {
    test(out, plan)?;
    cost(out, claims)?;
    shares(out, claims)?;
    counts(out, plan, claims)?;
    warnings(out, plan, claims)?;
    if let Some(study) = study {
        studied(out, study)?;
    }
    if !written.is_empty() {
        writeln!(out, "\nWritten")?;
        for path in written {
            writeln!(out, "  {}", harmless(&path.to_string_lossy()))?;
        }
    }
    Ok(())
}

fn test(out: &mut String, plan: &TestPlan) -> fmt::Result {
    writeln!(out, "The test")?;
    paragraph(out, "  ", &harmless(&plan.travel.sentence()))?;
    writeln!(out)?;
    for line in plan.travel.drawing().lines() {
        writeln!(out, "{line}")?;
    }
    writeln!(out)?;
    let steps: Vec<String> = plan.steps.iter().map(step).collect();
    let many = match plan.steps.len() {
        1 => "One step".to_owned(),
        n => format!("{n} steps"),
    };
    let told = plan.steps.iter().any(|step| step.nominal_counts_per_inch.is_some());
    let unit = if told { ", counts per inch" } else { "" };
    paragraph(out, "  ", &format!("{many}{unit}: {}.", steps.join(", ")))?;
    let mut tasks = vec![format!("{IDENTIFY} slow swipes to tell the step")];
    if plan.still.0 > 0 {
        tasks.push(format!("{} s still", significant(plan.still.seconds())));
    }
    let paced = plan.paces.iter().filter(|paced| paced.swipes > 0);
    tasks.extend(paced.map(|p| format!("{} {} swipes at {:.2} m/s", p.swipes, spelled(p.pace), p.peak.0)));
    let axis = if plan.axis == Axis::Y { "fore and aft" } else { "sideways" };
    let edge = if plan.straight_edge { "along a straight edge" } else { "without a straight edge" };
    paragraph(out, "  ", &format!("At each: {}; {axis}, {edge}. Speeds are peaks.", tasks.join(", ")))
}

fn step(step: &Step) -> String {
    let label = step.label.as_deref().map(harmless);
    match (label, step.nominal_counts_per_inch) {
        (Some(label), Some(nominal)) => format!("“{label}” {nominal}"),
        (Some(label), None) => format!("“{label}”, nominal not told"),
        (None, Some(nominal)) => nominal.to_string(),
        (None, None) => "nominal not told, so resolution will not be held against any".to_owned(),
    }
}

fn cost(out: &mut String, claims: &Claims) -> fmt::Result {
    let cost = &claims.cost;
    writeln!(out, "\nWhat it costs")?;
    let of = |swipes, minutes: f64| format!("{} in about {minutes:.1} min", count(swipes, "swipe"));
    let one = of(cost.swipes_per_step, cost.minutes_per_step);
    let line = if claims.steps == 1 && cost.rests == 0 {
        format!("{one}.")
    } else {
        let rests = if cost.rests > 0 {
            format!(", with {} of {:.0} s", count(cost.rests, "rest"), RESTING.seconds())
        } else {
            String::new()
        };
        format!("{one} a step; {} in all{rests}.", of(cost.swipes, cost.minutes))
    };
    paragraph(out, "  ", &line)?;
    let assumed = format!(
        "Reckoned with {} s at each stop, {} s to read what is next, and a rest after every {REST_AFTER} fast swipes.",
        STOPPING.seconds(),
        READING.seconds()
    );
    paragraph(out, "  ", &assumed)
}

/// Two columns: one step, and all of them.
fn pair(out: &mut String, name: &str, one: &str, all: Option<&str>) -> fmt::Result {
    let all = all.unwrap_or_default();
    writeln!(out, "{}", format!("  {name:<29}{one:<24}{all}").trim_end())
}

fn shares(out: &mut String, claims: &Claims) -> fmt::Result {
    writeln!(out, "\nWhat it shows if all goes well (at one-sided 95 %, exact)")?;
    let all = claims.pooled.map(|_| format!("all {} steps together", claims.steps));
    if all.is_some() {
        pair(out, "", "each step", all.as_deref())?;
    }
    let row = |out: &mut String, name: &str, of: &dyn Fn(&Share) -> String| {
        pair(out, name, &of(&claims.per_step), claims.pooled.as_ref().map(of).as_deref())
    };
    if claims.per_step.swipes > 0 {
        row(out, "bad fast swipes, if none in", &|s| format!("{:>3}: at most {}", s.swipes, share(s.clean)))?;
        row(out, "  if one", &|s| format!("     at most {}", share(s.one_bad)))?;
        row(out, "  then to show the same", &|s| match s.more_after_one_bad {
            Some(more) => format!("     {more} more, all clean"),
            None => "     over 1000 more".to_owned(),
        })?;
    }
    if let Some(still) = claims.still {
        let of = |s: &slipgauge_guide::size::Still| {
            format!("{:>3.0} s: at most {}/min", s.seconds, significant(s.per_minute))
        };
        pair(
            out,
            "bursts at rest, if none in",
            &of(&still),
            claims.still_pooled.as_ref().map(of).as_deref(),
        )?;
        let hour = |s: &slipgauge_guide::size::Still| format!("     that is {}/h", significant(s.per_hour));
        pair(out, "", &hour(&still), claims.still_pooled.as_ref().map(hour).as_deref())?;
    }
    if claims.still.is_some() || claims.pooled.is_some() {
        let mut notes = Vec::new();
        if claims.still.is_some() {
            notes.push("The first seconds of each stillness are not looked at: the hand lets go.");
        }
        if claims.pooled.is_some() {
            notes.push("Together is a claim about a user who changes steps, not about the worst step.");
        }
        paragraph(out, "  ", &notes.join(" "))?;
    }
    Ok(())
}

fn counts(out: &mut String, plan: &TestPlan, claims: &Claims) -> fmt::Result {
    writeln!(out, "\nWhat it tells apart at one step, by how well the stops hold (95 %)")?;
    let row = |name: &str, cells: Vec<String>| {
        let cells: String = cells.iter().map(|cell| format!("{cell:<15}")).collect();
        format!("  {name:<31}{cells}").trim_end().to_owned()
    };
    let each =
        |of: &dyn Fn(&slipgauge_guide::size::AtStops) -> String| claims.at_stops.iter().map(of).collect();
    writeln!(out, "{}", row("scatter at the stops", each(&|at| format!("{} mm", at.scatter.millimetres()))))?;
    let half =
        |value: Option<f64>| value.map_or_else(|| "too few swipes".to_owned(), |v| format!("± {}", share(v)));
    writeln!(out, "{}", row("gain change, fast against slow", each(&|at| half(at.gain))))?;
    writeln!(out, "{}", row("resolution", each(&|at| half(at.resolution))))?;
    let mut notes = format!(
        "Of the resolution's, the travel's own uncertainty is ± {}, and no number of swipes removes it.",
        share(1.96 * claims.travel)
    );
    if !plan.straight_edge {
        let _ = write!(
            notes,
            " The device may turn: that adds ± {} to both, which a straight edge (--straight-edge) takes away.",
            share(1.96 * claims.arc)
        );
    }
    paragraph(out, "  ", &notes)
}

/// Where the plan falls short of what it is for.
fn warnings(out: &mut String, plan: &TestPlan, claims: &Claims) -> fmt::Result {
    if let Some(reach) = &claims.reach {
        writeln!(out, "\nWhat you need")?;
        let from = match plan.need {
            Some(Need::Turn { degrees, within, per_turn }) => format!(
                "A turn by {degrees}° in {} ms at {} cm a full turn takes a peak of {}.",
                (1e3 * within.seconds()).round(),
                significant(100.0 * per_turn.0),
                speed(reach.needed.0)
            ),
            _ => format!("A peak of {}.", speed(reach.needed.0)),
        };
        let mut said = format!(
            "{from} Fast swipes aim at {}: of a hand whose peaks scatter by {:.0} %, about {:.0} % reach it, and only those \
             count towards a claim about that speed: {} a step, at most {} bad if all are clean.",
            speed(reach.aimed.0),
            100.0 * PEAK_SCATTER,
            100.0 * reach.share,
            reach.counting.swipes,
            share(reach.counting.clean)
        );
        if reach.share < 0.94 {
            let _ = write!(said, " Aim higher, --fast-speed {:.2}m/s, and 95 % do.", reach.aim.0);
        }
        paragraph(out, "  ", &said)?;
    }
    if let Some(needed) = claims.acceleration_m_s2.filter(|a| *a > ARM) {
        writeln!(out, "\nMind")?;
        paragraph(
            out,
            "  ",
            &format!(
                "Such a fast swipe takes {needed:.0} m/s², and arms reach {ARM:.0} or so: take a longer travel or a lower \
                 --fast-speed."
            ),
        )?;
    }
    Ok(())
}

fn studied(out: &mut String, study: &Study) -> fmt::Result {
    writeln!(out, "\nHow often it finds a fault")?;
    let how = format!(
        "{} simulated sessions of this very test for each size, seed {}; reports every {} ms, stops ± {} mm. In per cent, with \
         exact 95 % intervals.",
        study.sessions,
        study.seed,
        significant(1e3 * study.interval.seconds()),
        significant(study.stops.millimetres())
    );
    paragraph(out, "  ", &how)?;
    if let Some(nominal) = study.assumed_counts_per_inch {
        paragraph(out, "  ", &format!("Steps without a nominal were given {nominal} counts/inch."))?;
    }
    writeln!(out)?;
    header(out)?;
    row(out, "a sound device", &study.sound)?;
    for Curve { fault, unit, what, rows, tolerated } in &study.curves {
        writeln!(out)?;
        let tolerated = tolerated.map(|most| format!("; tolerated up to {most}")).unwrap_or_default();
        paragraph(out, "  ", &format!("{fault}: {what}{tolerated}"))?;
        for of_size in rows {
            row(out, &format!("  {} {unit}", of_size.size), of_size)?;
        }
    }
    writeln!(out)?;
    paragraph(
        out,
        "  ",
        "“found”: something of the fault's kind is listed, whatever the verdict; of a sound device, anything at all. It holds \
         for the simulated hand and device.",
    )
}

fn header(out: &mut String) -> fmt::Result {
    writeln!(out, "  {:<26}{:<17}{:<17}{:>5}   {:>5}", "", "fails", "inconclusive", "pass", "found")
}

fn row(out: &mut String, name: &str, row: &Row) -> fmt::Result {
    let wide =
        |c: &Chance| format!("{:>3.0} ({:.0} to {:.0})", 100.0 * c.value(), 100.0 * c.low, 100.0 * c.high);
    let short = |c: &Chance| format!("{:>5.0}", 100.0 * c.value());
    writeln!(
        out,
        "  {name:<26}{:<17}{:<17}{}   {}",
        wide(&row.fails),
        wide(&row.inconclusive),
        short(&row.passes),
        short(&row.seen)
    )
}

/// A share in per cent, two figures or one decimal.
fn share(value: f64) -> String {
    let per_cent = 100.0 * value;
    if per_cent < 1.0 { format!("{per_cent:.2} %") } else { format!("{per_cent:.1} %") }
}

/// Three figures at most.
fn significant(value: f64) -> String {
    let digits = if value >= 100.0 {
        0
    } else if value >= 10.0 {
        1
    } else {
        2
    };
    let text = format!("{value:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
