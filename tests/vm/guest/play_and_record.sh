# A virtual device plays /score while the recorder records it.
replay_to_uhid /score --hold-ms 2000 >played.txt 2>&1 &
await /dev/hidraw0
keep record slipgauge record --device /dev/hidraw0 -o recorded.swipes.ndjson $(cat /options)
wait
