//! `slipgauge`: the command line.

fn main() {}
