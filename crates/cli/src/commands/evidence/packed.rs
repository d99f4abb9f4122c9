//! The zip: files in a fixed order with a fixed date, a list of them with their hashes, and how to judge again.

use super::Part;
use anyhow::bail;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};
use slipgauge_analysis::verdict::Verdict;
use slipgauge_trace::session::{VERSION, hex};
use std::fs::File;
use std::io::{BufWriter, Write as _};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// What goes in.
#[derive(Debug, Default)]
pub struct Pack {
    /// Name of the recording.
    pub recording: String,
    /// Hash of the session that is packed.
    pub sha256: String,
    /// Lines of unknown kind that a copy lacks.
    pub unknown: u64,
    files: Vec<(String, Vec<u8>)>,
}

/// What it is made of.
#[derive(Debug)]
pub struct Of<'a> {
    /// Verdict of the file as it was recorded.
    pub original: &'a Verdict,
    /// Parts that the copy lacks; none if the file is packed as it was recorded.
    pub left_out: &'a [Part],
}

/// Names that this program gives itself.
const OWN: [&str; 2] = ["README.txt", "evidence.json"];

impl Pack {
    /// Adds a file.
    ///
    /// # Errors
    /// If there is one of the same name.
    pub fn add(&mut self, name: &str, bytes: Vec<u8>) -> anyhow::Result<()> {
        if OWN.contains(&name) || self.files.iter().any(|(other, _)| other == name) {
            bail!("{name}: there would be two files of this name in the zip");
        }
        self.files.push((name.to_owned(), bytes));
        Ok(())
    }

    /// Writes the zip.
    ///
    /// # Errors
    /// If the disk is full, say.
    pub fn write(&self, file: File, of: &Of) -> anyhow::Result<()> {
        let mut list = serde_json::to_string_pretty(&self.list(of))?;
        list.push('\n');
        let own = [(OWN[0], self.readme(of).into_bytes()), (OWN[1], list.into_bytes())];
        let mut zip = ZipWriter::new(BufWriter::new(file));
        // One date for all, the first that a zip can hold: the same input makes the same bytes.
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644);
        let files = self.files.iter().map(|(name, bytes)| (name.as_str(), bytes));
        for (name, bytes) in own.iter().map(|(name, bytes)| (*name, bytes)).chain(files) {
            zip.start_file(name, options.large_file(u32::try_from(bytes.len()).is_err()))?;
            zip.write_all(bytes)?;
        }
        zip.finish()?.flush()?;
        Ok(())
    }

    fn list(&self, of: &Of) -> Value {
        let left_out: Vec<&str> = of.left_out.iter().map(|part| part.word()).collect();
        let file = |(name, bytes): &(String, Vec<u8>)| json!({ "name": name, "bytes": bytes.len(), "sha256": hex(&Sha256::digest(bytes)) });
        json!({
            "slipgauge_evidence": 1,
            "tool": of.original.tool,
            "rules": of.original.rules,
            "session_version": VERSION,
            "recording": self.recording,
            "session_sha256": self.sha256,
            "original_session_sha256": of.original.sha256,
            "original_session_bytes": of.original.bytes,
            "left_out": left_out,
            "files": self.files.iter().map(file).collect::<Vec<_>>(),
        })
    }

    fn readme(&self, of: &Of) -> String {
        let (tool, rules, name) = (&of.original.tool, of.original.rules, &self.recording);
        let mut said = format!(
            "A recording of a pointing device that was swiped between two stops, and its\n\
             verdict by {tool} (rules {rules}, session format {VERSION}).\n\n\
             To judge it again:\n\n    slipgauge judge {name}\n\n\
             With the same rules the verdict is the same as in verdict.json; other rules\n\
             may judge the same recording otherwise.\n\n"
        );
        if !of.left_out.is_empty() {
            let left_out: Vec<&str> = of.left_out.iter().map(|part| part.word()).collect();
            said += &format!(
                "{name} IS NOT THE FILE THAT WAS RECORDED. It is a copy without: {}.\n\
                 Keys of the file that this version does not know were left out too{}.\n\
                 All reports, phases and stalls are in it, and it was judged the same as the\n\
                 original when it was packed. Its hash differs from the original's, which was\n\n    {}\n\n\
                 Who holds the original can show that it is the same by that hash. It does not\n\
                 tell what was left out, but a right guess of all of it could be confirmed.\n\n",
                left_out.join(", "),
                match self.unknown {
                    0 => String::new(),
                    n => format!(", and {n} line(s) of kinds that it does not know"),
                },
                of.original.sha256
            );
        }
        said += &format!(
            "SHA-256 of the session's whole lines, uncompressed:\n\n    {}\n\n\
             The hash shows that two people hold the same file. It does not show how the\n\
             file was made, when, or with which device.\n\n\
             A verdict holds for this unit, this pad, this computer, this firmware, and the\n\
             speeds that were swiped. Tolerances are the user's or the program's own, not a\n\
             standard's.\n\n\
             evidence.json lists the files with their own hashes.\n",
            self.sha256
        );
        said
    }
}
