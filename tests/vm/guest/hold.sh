# Two recordings of one device with somebody else reading its event node: held, and let go; then not held at all.
for name in recorded plain; do
    replay_to_uhid /score --when $name.swipes.ndjson --hold-ms 500 >played-$name.txt 2>&1 &
    player=$!
    await_device
    cat /event0 >seen-$name.bin &
    hold=--hold
    [ $name = recorded ] || hold=
    keep record-$name slipgauge record --device /dev/hidraw0 -o $name.swipes.ndjson $hold $(cat /options)
    wait $player
    usleep 300000
done
