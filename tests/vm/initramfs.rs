//! The guest's file system, as the kernel unpacks it: a cpio archive of the "newc" kind.

/// An archive in the making. Paths have no leading slash, and a folder comes before what is in it.
#[derive(Default)]
pub struct Initramfs {
    bytes: Vec<u8>,
    entries: usize,
}

impl Initramfs {
    pub fn folder(&mut self, path: &str) {
        self.entry(path, 0o040_755, &[]);
    }

    /// Every file is executable: it does no harm.
    pub fn file(&mut self, path: &str, content: &[u8]) {
        self.entry(path, 0o100_755, content);
    }

    pub fn finish(mut self) -> Vec<u8> {
        self.entry("TRAILER!!!", 0, &[]);
        self.bytes
    }

    fn entry(&mut self, path: &str, mode: usize, content: &[u8]) {
        self.entries += 1;
        let (inode, name_bytes) = (self.entries, path.len() + 1);
        let (owner, group, links, time, checksum) = (0, 0, 1, 0, 0);
        let (major, minor, of_major, of_minor) = (0, 0, 0, 0);
        self.bytes.extend(b"070701");
        for field in [
            inode,
            mode,
            owner,
            group,
            links,
            time,
            content.len(),
            major,
            minor,
            of_major,
            of_minor,
            name_bytes,
            checksum,
        ] {
            self.bytes.extend(format!("{field:08x}").bytes());
        }
        self.bytes.extend(path.bytes().chain([0]));
        self.pad();
        self.bytes.extend(content);
        self.pad();
    }

    fn pad(&mut self) {
        self.bytes.resize(self.bytes.len().next_multiple_of(4), 0);
    }
}
