# Holds that end by a signal while the device moves on; what somebody else has seen a second after each began, when it
# was told to end, and a second later. Before them one that is refused: a button is down.
replay_to_uhid /pressed --hold-ms 500 >played-pressed.txt 2>&1 &
player=$!
await_device
cat /event0 >seen-pressed.bin &
usleep 1000000
keep pressed slipgauge record --device /dev/hidraw0 -o pressed.swipes.ndjson --hold --for 2s
wait $player
usleep 300000

replay_to_uhid /score --when INT.swipes.ndjson --hold-ms 500 >played.txt 2>&1 &
player=$!
await_device
cat /event0 >seen.bin &
for signal in INT KILL TERM; do
    slipgauge record --device /dev/hidraw0 -o $signal.swipes.ndjson --hold --for 60s >$signal.txt 2>&1 &
    recorder=$!
    usleep 1000000
    wc -c <seen.bin >$signal.seen
    usleep 1000000
    wc -c <seen.bin >>$signal.seen
    kill -$signal $recorder
    usleep 1000000
    wc -c <seen.bin >>$signal.seen
done
wait $player
