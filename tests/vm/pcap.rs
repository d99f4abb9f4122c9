//! USB traffic as the emulator wrote it down: a pcap file of link type 220 (Linux usbmon, 64-byte header).

/// The data of every interrupt transfer from a device that was completed, in order.
pub fn interrupt_reports(file: &[u8]) -> Vec<Vec<u8>> {
    assert_eq!((word(file, 0), word(file, 20)), (0xa1b2_c3d4, 220), "magic number and link type");
    let mut reports = Vec::new();
    let mut rest = &file[24..];
    while !rest.is_empty() {
        let captured = word(rest, 8) as usize;
        let (header, data) = rest[16..16 + captured].split_at(64);
        let (event, transfer, endpoint) = (header[8], header[9], header[10]);
        if event == b'C' && transfer == 1 && endpoint & 0x80 != 0 && !data.is_empty() {
            reports.push(data.to_vec());
        }
        rest = &rest[16 + captured..];
    }
    reports
}

fn word(bytes: &[u8], at: usize) -> u32 {
    u32::from_le_bytes(*bytes[at..].first_chunk().unwrap())
}
