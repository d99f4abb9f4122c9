# The guided test of a device that keeps to a score, with somebody else reading its event node.
# It stays for longer than the half second of rest with which a phase ends.
replay_to_uhid /score --when guided.swipes.ndjson --hold-ms 2000 >played.txt 2>&1 &
player=$!
await /dev/input/event0
await /dev/hidraw0
cat /dev/input/event0 >seen.bin &
# A test that never ends would never let the player go.
keep examine timeout -s INT 120 slipgauge examine --device /dev/hidraw0 -o guided.swipes.ndjson --no-questions $(cat /options) </dev/null
kill $player
