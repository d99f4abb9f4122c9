//! `slipgauge export`: tables that other programs read.

use super::compare::{HOSTILE, with};
use super::run::{FAILING, SOUND, files, folder, slipgauge};
use crate::fixtures;
use std::path::{Path, PathBuf};
use std::process::Command;

fn exported(name: &str, session: &str) -> PathBuf {
    let folder = folder(name);
    std::fs::write(folder.join("s.swipes.ndjson"), session).unwrap();
    slipgauge(&folder, &["export", "s.swipes.ndjson", "--as", "csv", "-o", "out"]).ends(0);
    folder
}

#[test]
fn csv_has_one_row_a_swipe_a_finding_a_step_and_a_report() {
    let folder = exported("export-csv", &FAILING);
    let out = folder.join("out");
    assert_eq!(files(&out), ["findings.csv", "s.motion.csv", "steps.csv", "swipes.csv"]);
    let motion = std::fs::read_to_string(out.join("s.motion.csv")).unwrap();
    assert_eq!(
        motion.split("\r\n").next().unwrap(),
        "received_ns,along_counts,across_counts,buttons_mask,x_counts,y_counts,phase,swipe,kernel_ns"
    );
    assert_eq!(motion.lines().count() - 1, FAILING.matches("\"r\":").count());
    // A second time, nothing is overwritten.
    slipgauge(&folder, &["export", "s.swipes.ndjson", "--as", "csv", "-o", "out"])
        .refused(&["there already"]);
    let markdown = slipgauge(&folder, &["export", "s.swipes.ndjson", "--as", "markdown"]).ends(0);
    assert!(markdown.out.contains("| FAIL |"), "{}", markdown.out);
    let json = slipgauge(&folder, &["export", "s.swipes.ndjson", "--as", "json"]).ends(0);
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    let findings = std::fs::read_to_string(out.join("findings.csv")).unwrap();
    assert_eq!(json["findings"].as_array().unwrap().len(), findings.lines().count() - 1);
}

/// A name with line ends, quotes and formulas.
fn hostile() -> String {
    with(&SOUND, |h| {
        h["devices"][0]["label"] = HOSTILE.into();
        h["devices"][0]["unit"] = "-2+3".into();
        h["surface"] = "@SUM(1), \"a\"\n".into();
        h["plan"]["steps"][0]["label"] = format!("\t={}", "x".repeat(10_000)).into();
    })
}

#[test]
fn no_cell_of_text_from_outside_begins_as_a_formula() {
    let folder = exported("export-hostile", &hostile());
    for name in ["swipes.csv", "steps.csv"] {
        let text = std::fs::read_to_string(folder.join("out").join(name)).unwrap();
        assert!(!text.contains(['\u{202e}', '\u{1b}', '\t']), "{name}");
        for bare in [",=", ",@", ",\"=", ",\"@", ",\"-"] {
            assert!(!text.contains(bare), "{name} has {bare:?}");
        }
        assert!(text.contains(",'-2+3,"), "{name}");
    }
    let markdown = slipgauge(&folder, &["export", "s.swipes.ndjson", "--as", "markdown"]).ends(0).out;
    assert!(!markdown.contains("<img") && !markdown.contains("http://"), "{markdown}");
}

/// Reads the tables back, and holds sums against each other and against the session's raw lines, given as arguments.
const READ_BACK: &str = r"
import sys, pandas
folder, reports, label = sys.argv[1], int(sys.argv[2]), sys.argv[3]
motion = pandas.read_csv(folder + '/s.motion.csv')
swipes = pandas.read_csv(folder + '/swipes.csv')
steps = pandas.read_csv(folder + '/steps.csv')
findings = pandas.read_csv(folder + '/findings.csv')
kinds = {'received_ns': 'int64', 'along_counts': 'float64', 'across_counts': 'float64', 'buttons_mask': 'int64', 'x_counts': 'int64', 'y_counts': 'int64'}
for name, kind in kinds.items():
    assert str(motion[name].dtype) == kind, (name, motion[name].dtype)
for name in ('begin_ns', 'end_ns', 'x_counts', 'y_counts', 'phase', 'swipe', 'moving_reports'):
    assert str(swipes[name].dtype) == 'int64', (name, swipes[name].dtype)
assert str(swipes['clean'].dtype) == 'bool' and str(swipes['peak_m_s'].dtype) == 'float64'
assert str(steps['swipes_found'].dtype) == 'int64' and str(steps['resolution_counts_per_inch'].dtype) == 'float64'
assert len(motion) == reports and motion['received_ns'].is_monotonic_increasing
inside = motion[motion['swipe'].notna()].groupby(['phase', 'swipe'])[['x_counts', 'y_counts', 'along_counts']].sum()
own = swipes.set_index(['phase', 'swipe'])
assert len(inside) == len(own) == steps['swipes_found'].sum()
both = own.join(inside.add_suffix('_motion'))
assert (both['x_counts'] == both['x_counts_motion']).all() and (both['y_counts'] == both['y_counts_motion']).all()
# A turned frame keeps lengths, to the last printed digit of each report.
square = lambda a, b: (motion[a] ** 2 + motion[b] ** 2).sum()
assert abs(square('x_counts', 'y_counts') / square('along_counts', 'across_counts') - 1) < 1e-5
# Lengths are taken between the rests around a swipe: a few counts of 18,900 lie outside its own reports.
assert (abs(both['along_counts'] - both['along_counts_motion'].abs()) < 0.02 * both['along_counts'].median() + 5).all()
assert len(findings) == steps['findings'].sum()
if label:
    assert (steps['device'] == label).all(), steps['device'][0]
print(motion['x_counts'].sum(), motion['y_counts'].sum())
";

fn python() -> Option<PathBuf> {
    let own = fixtures::root().join("target/python/bin/python3");
    [own, "python3".into()].into_iter().find(|python| {
        let import = Command::new(python).args(["-c", "import pandas"]).output();
        import.is_ok_and(|output| output.status.success())
    })
}

fn read_back(python: &Path, folder: &Path, session: &str, label: &str) -> String {
    let reports = session.matches("\"r\":").count().to_string();
    let out = folder.join("out");
    let mut command = Command::new(python);
    let output = command.args(["-c", READ_BACK]).arg(out).args([&reports, label]).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap().trim().to_owned()
}

/// Sums of X and Y over a session's raw reports, by the program that is not under test.
fn sums(session: &str) -> String {
    let recording = slipgauge_trace::Recording::read(session.as_bytes()).unwrap();
    let motion = &recording.devices[0].motion;
    let sum = |column: &[i32]| column.iter().map(|&v| i64::from(v)).sum::<i64>();
    format!("{} {}", sum(motion.x.as_slice().unwrap()), sum(motion.y.as_slice().unwrap()))
}

#[test]
fn pandas_reads_the_tables_back_with_their_types_and_sums() {
    let Some(python) = python() else {
        fixtures::skipped("tables against pandas", "the PyPI package pandas is not installed");
        return;
    };
    for (name, session) in [("export-pandas", SOUND.as_str()), ("export-pandas-failing", FAILING.as_str())] {
        let folder = exported(name, session);
        assert_eq!(read_back(&python, &folder, session, ""), sums(session));
    }
    let session = hostile();
    let folder = exported("export-pandas-hostile", &session);
    let label = format!("'{}", slipgauge_trace::outside::harmless(HOSTILE));
    assert_eq!(read_back(&python, &folder, &session, &label), sums(&session));
}
