use super::*;
use clap::Parser;
use slipgauge_guide::travel::From;

#[derive(Debug, Parser)]
struct Line {
    #[command(flatten)]
    args: PlanArgs,
}

fn typed(line: &str) -> anyhow::Result<TestPlan> {
    Line::try_parse_from(["x"].into_iter().chain(line.split_whitespace()))?.args.test_plan()
}

#[track_caller]
fn refused(line: &str, said: &[&str]) {
    let error = format!("{:#}", typed(line).unwrap_err());
    for said in said {
        assert!(error.contains(said), "{line}: {said:?} is not in {error:?}");
    }
}

#[test]
fn nothing_goes_on_before_it_is_said_which_travel_was_measured() {
    refused("", &["--travel 300mm", "--gap 365mm --body 64.2mm", "--travel-from SESSION", "20 to 40 %"]);
    refused("--steps 800", &["how far does the device move?"]);
    refused("--gap 365mm", &["is not the travel", "--body"]);
    refused("--body 64mm", &["--gap too"]);
    refused("--travel 300mm --gap 365mm --body 64mm", &["told twice"]);
    refused("--travel-uncertainty 1mm", &["of which travel?"]);
    refused("--travel 300mm --travel-from-resolution 1600+-4", &["--travel-from"]);
    refused("--travel 300", &["\"300\" has no unit; write mm, cm, m or in"]);
    refused("--travel 2mm", &["10 mm to 5 m"]);
    refused("--gap 60mm --body 64mm", &["no room"]);
}

#[test]
fn each_option_changes_its_own_part_of_the_plan() {
    let plan = typed(
        "--gap 365mm --body 64.2mm --travel-uncertainty 0.4mm --steps red=400,blue=800,1600,green --swipes fast=20,slow=4 \
         --still 20s --fast-speed 100in/s --axis y --straight-edge --turn 180deg --within 150ms --per-turn 40cm",
    )
    .unwrap();
    assert_eq!((plan.travel.um, plan.travel.uncertainty_um), (300_800, 400));
    assert_eq!(plan.travel.from, From::GapBody { gap_um: 365_000, body_um: 64_200 });
    let steps: Vec<_> =
        plan.steps.iter().map(|s| (s.id, s.label.as_deref(), s.nominal_counts_per_inch)).collect();
    assert_eq!(
        steps,
        [
            (1, Some("red"), Some(400.0)),
            (2, Some("blue"), Some(800.0)),
            (3, None, Some(1600.0)),
            (4, Some("green"), None)
        ]
    );
    let paces: Vec<_> = plan.paces.iter().map(|p| (p.pace, p.swipes)).collect();
    assert_eq!(paces, [(Pace::Slow, 4), (Pace::Medium, 6), (Pace::Fast, 20)]);
    assert!((plan.paces[2].peak.0 - 2.54).abs() < 1e-12);
    assert_eq!(
        (plan.still, plan.axis, plan.straight_edge),
        (Nanos(20_000_000_000), slipgauge_trace::session::Axis::Y, true)
    );
    assert_eq!(
        plan.need,
        Some(Need::Turn { degrees: 180.0, within: Nanos(150_000_000), per_turn: Metres(0.4) })
    );
    assert_eq!(typed("--travel 300mm --size confirm").unwrap().paced(Pace::Fast).unwrap().swipes, 59);
}

#[test]
fn what_makes_no_sense_is_refused_with_what_to_write() {
    let travel = |rest: &str| format!("--travel 300mm {rest}");
    for (rest, said) in [
        ("--steps red=fast", "\"fast\" is no number of counts per inch; write LABEL=COUNTS"),
        ("--steps 800,,1600", "step 2 is empty"),
        ("--steps 2=800", "numbered as they come"),
        ("--steps 0", "no number of counts per inch"),
        ("--swipes quick=4", "none of slow, medium, fast"),
        ("--swipes fast", "has no \"=\""),
        ("--swipes fast=-3", "no number of swipes from 0"),
        ("--swipes fast=1,fast=2", "given twice"),
        ("--swipes slow=0,medium=0,fast=0", "nothing to examine"),
        ("--still 2h", "more than 1 h"),
        ("--fast-speed 2.5", "no unit; write m/s or in/s"),
        ("--fast-speed 15m/s", "0.01 to 10 m/s"),
        ("--turn 180deg --within 150ms", "--per-turn is missing"),
        ("--turn 180deg", "--within and --per-turn are missing"),
        ("--need 2m/s --turn 90deg", "told twice"),
        ("--turn 3600deg --within 1ms --per-turn 1m", "none of a hand's"),
        ("--size large", "screen, confirm"),
        ("--travel-from-resolution 1600", "has no uncertainty"),
        ("--plan nowhere.toml", "--plan nowhere.toml"),
        ("--same-plan-as nowhere.ndjson", "nowhere.ndjson"),
    ] {
        refused(&travel(rest), &[said]);
    }
}

#[test]
fn flags_win_over_a_plan_file_length_by_length() {
    let file = file::parse(
        "gap = \"365mm\"\nbody = \"64.2mm\"\ntravel-uncertainty = \"2mm\"\nneed = \"2m/s\"\nstill = \"30s\"\n\
         steps = [\"red=400\", 800]\nstraight-edge = true\n",
    )
    .unwrap();
    let over = |line: &str| {
        let flags = Line::try_parse_from(["x"].into_iter().chain(line.split_whitespace())).unwrap().args;
        flags.over(file.clone()).test_plan().unwrap()
    };
    let plain = over("");
    assert_eq!((plain.travel.um, plain.travel.uncertainty_um, plain.steps.len()), (300_800, 2_000, 2));
    assert!(plain.straight_edge && plain.still == Nanos(30_000_000_000));
    // Another travel brings its own uncertainty; another body keeps the file's gap.
    let ruler = over("--travel 250mm");
    assert_eq!((ruler.travel.um, ruler.travel.uncertainty_um), (250_000, 500));
    assert_eq!(over("--body 100mm").travel.um, 265_000);
    let turn = over("--turn 90deg --within 100ms --per-turn 40cm");
    assert!(matches!(turn.need, Some(Need::Turn { .. })));
}

#[test]
fn a_plan_file_says_where_it_is_wrong() {
    for (text, said) in [
        ("travel = \"300\"", "travel: \"300\" has no unit"),
        ("travle = \"300mm\"", "\"travle\" is nothing that a plan says; it may say travel, gap"),
        ("plan = \"other.toml\"", "nothing that a plan says"),
        ("steps = true", "steps: write the value as you would type it"),
        ("travel = ", "line 1"),
        ("size = \"large\"", "size: "),
    ] {
        let error = format!("{:#}", file::parse(text).unwrap_err());
        assert!(error.contains(said), "{text}: {error}");
    }
    let twice = file::parse("travel = \"300mm\"\ngap = \"365mm\"\nbody = \"60mm\"\n").unwrap();
    assert!(twice.test_plan().unwrap_err().to_string().contains("told twice"));
}

#[test]
fn a_plan_survives_being_written_to_a_file() {
    for line in [
        "--travel 300mm",
        "--gap 365mm --body 64.2mm --steps red=400,blue=800,1600 --straight-edge --axis y --need 2.2m/s",
        "--travel 12in --size confirm --turn 180deg --within 150ms --per-turn 40cm --swipes medium=0 --still 90s",
    ] {
        let plan = typed(&format!("{line} --travel-uncertainty 0.3mm")).unwrap();
        let text = to_toml(&plan);
        let again = file::parse(&text).unwrap().test_plan().unwrap();
        assert_eq!(again, plan, "{text}");
    }
}
