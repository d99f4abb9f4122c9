use super::*;
use crate::args::{Cli, Command};
use clap::Parser as _;

fn args(words: &str) -> RecordArgs {
    let words = format!("slipgauge record -o out.swipes.ndjson {words}");
    match Cli::try_parse_from(words.split_whitespace()).unwrap().command {
        Command::Record(args) => *args,
        other => panic!("{other:?}"),
    }
}

fn planned(words: &str) -> anyhow::Result<Timetable> {
    let args = args(words);
    timetable(&args, &numbered_steps(&args.steps).unwrap())
}

fn summary(ended: Ended) -> Summary {
    Summary {
        ended,
        length: Nanos(12_340_000_000),
        reports: 12_345,
        other: 0,
        stalls: 0,
        longest_stall: Nanos(0),
        overruns: 0,
        gone: Vec::new(),
        realtime: Some(true),
    }
}

#[test]
fn phases_follow_each_other_from_the_start() {
    let timetable = planned("--phase still=3s --phase slow=8s --phase fast=4s").unwrap();
    let begins: Vec<_> = timetable.phases.iter().map(|(t, _)| t.seconds()).collect();
    assert_eq!((begins, timetable.length), (vec![0.0, 3.0, 11.0], Some(Nanos(15_000_000_000))));
}

#[test]
fn time_beyond_the_phases_is_between_phases() {
    let timetable = planned("--phase still=3s --for 5s").unwrap();
    assert_eq!(timetable.phases[1], (Nanos(3_000_000_000), None));
    assert_eq!(timetable.length, Some(Nanos(5_000_000_000)));
    assert_eq!(planned("--for 5s").unwrap().length, Some(Nanos(5_000_000_000)));
    assert_eq!(planned("").unwrap(), Timetable::default());
}

#[test]
fn a_timetable_that_cannot_be_kept_is_refused() {
    assert!(planned("--phase still=3s --for 2s").unwrap_err().to_string().contains("ends before the phases"));
    assert!(planned("--step 1=800 --phase 2:slow=3s").unwrap_err().to_string().contains("asks for step 2"));
}

#[test]
fn prompts_are_sentences() {
    let args =
        args("--step red=800 --step 2=1600 --phase still=10s --phase 2:fast=30sx15 --phase identify=1min");
    let steps = numbered_steps(&args.steps).unwrap();
    let timetable = timetable(&args, &steps).unwrap();
    let mut before = None;
    let mut said = Vec::new();
    for (_, phase) in &timetable.phases {
        said.push(prompt(phase.as_ref(), Some(Nanos::SECOND), before, &steps));
        before = phase.as_ref().map(|phase| phase.step);
    }
    assert_eq!(
        said,
        [
            "Now: leave it still, hands off, 1 s.",
            "Now: switch to step 2, then 15 fast swipes from stop to stop, as fast as is comfortable, 1 s.",
            "Now: switch to step 1 (red), then a few slow swipes from stop to stop, 1 s.",
        ]
    );
}

#[test]
fn the_header_holds_what_was_asked_and_nothing_guessed() {
    let device = FoundDevice { name: "Bench Pointer".to_owned(), ..FoundDevice::default() };
    let args = args("--travel 300mm --axis y --step red=800 --label mine --unit A --surface pad");
    let header = header(&args, std::slice::from_ref(&device), &numbered_steps(&args.steps).unwrap());
    let plan = header.plan.as_ref().unwrap();
    assert_eq!((plan.travel_um, plan.travel_u_um, plan.travel_from.as_ref()), (Some(300_000), None, None));
    assert_eq!(
        (plan.axis, plan.steps[0].label.as_deref()),
        (Some(slipgauge_trace::session::Axis::Y), Some("red"))
    );
    let started = header.started.clone().unwrap();
    assert!(started.len() == 20 && started.ends_with('Z'), "{started}");
    let written = &header.devices[0];
    assert_eq!(
        (written.label.as_deref(), written.unit.as_deref(), written.release),
        (Some("mine"), Some("A"), None)
    );
    assert_eq!(super::header(&self::args("--for 1s"), &[device], &[]).plan, None);
}

#[test]
fn caution_comes_before_fast_swipes_only() {
    let device = FoundDevice { name: "\u{1b}[1mBench Pointer".to_owned(), ..FoundDevice::default() };
    let said =
        |words: &str| announcement(&args(words), std::slice::from_ref(&device), &planned(words).unwrap());
    assert!(said("--phase fast=3s").contains("stop if anything hurts"));
    assert!(!said("--phase slow=3s").contains("hurts"));
    assert!(!said("").contains('\u{1b}'));
}

#[test]
fn the_end_tells_what_the_computer_missed_and_what_comes_next() {
    let file = Path::new("a.swipes.ndjson");
    let clean = told_at_the_end(&summary(Ended::Timetable), file);
    assert!(clean.contains("12345 reports in 12.3 s") && clean.contains("never held up"), "{clean}");
    assert!(clean.ends_with("Next: slipgauge judge a.swipes.ndjson\n"), "{clean}");
    let bad = Summary {
        stalls: 2,
        longest_stall: Nanos(4_200_000),
        overruns: 3,
        realtime: Some(false),
        ..summary(Ended::Gone)
    };
    let bad = told_at_the_end(&bad, file);
    for words in ["went away after 12.3 s", "is kept", "held up 2 times, 4.2 ms", "full 3 times", "not given"]
    {
        assert!(bad.contains(words), "{words}: {bad}");
    }
}
