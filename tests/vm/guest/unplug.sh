# The device goes away in the middle of a recording.
replay_to_uhid /score --destroy-after $(cat /count) >played.txt 2>&1 &
await /dev/hidraw0
keep record slipgauge record --device /dev/hidraw0 -o recorded.swipes.ndjson $(cat /options)
wait
