# A hold that is asked for longer than any may last; the device moves near the end of it, and after.
replay_to_uhid /score --when recorded.swipes.ndjson --hold-ms 500 >played.txt 2>&1 &
await_device
cat /event0 >seen.bin &
keep record slipgauge record --device /dev/hidraw0 -o recorded.swipes.ndjson --hold --for 304s
