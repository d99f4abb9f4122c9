# The guided test of a device that keeps to a score, with somebody else reading its event node.
replay_to_uhid /score --when guided.swipes.ndjson --hold-ms 500 >played.txt 2>&1 &
player=$!
await /dev/input/event0
cat /dev/input/event0 >seen.bin &
keep examine slipgauge examine --device /dev/hidraw0 -o guided.swipes.ndjson --no-questions $(cat /options) </dev/null
wait $player
