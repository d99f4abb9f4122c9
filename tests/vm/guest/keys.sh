# A pointer that types as well, and a keyboard beside it.
replay_to_uhid /score --when recorded.swipes.ndjson --hold-ms 3000 >played.txt 2>&1 &
await /dev/hidraw0
replay_to_uhid /keyboard --name "Bench Keyboard" >/dev/null &
keyboard=$!
await /dev/hidraw1
keep devices slipgauge devices
keep refused slipgauge record --device /dev/hidraw1 -o refused.swipes.ndjson --travel 300mm --for 2s
kill $keyboard
keep record slipgauge record --device /dev/hidraw0 -o recorded.swipes.ndjson $(cat /options)
