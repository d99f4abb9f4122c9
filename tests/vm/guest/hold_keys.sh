# A pointer that types as well is held; its keys, and what types on the pointer's own node, are nobody's but the desktop's.
for name in apart together; do
    replay_to_uhid /$name --when $name.swipes.ndjson --hold-ms 500 >played-$name.txt 2>&1 &
    player=$!
    await /dev/hidraw0
    usleep 300000
    for node in /dev/input/event*; do
        cat $node >$name-${node#/dev/input/}.bin &
    done
    grep . /sys/class/input/event*/device/capabilities/key >$name.capabilities
    slipgauge record --device /dev/hidraw0 -o $name.swipes.ndjson --hold --for 5s >$name.txt 2>&1 &
    recorder=$!
    await $name.swipes.ndjson
    usleep 500000
    ls -l /proc/$recorder/fd >$name.open
    wait $recorder
    echo $? >$name.status
    for node in /dev/input/event*; do
        wc -c <$name-${node#/dev/input/}.bin >$name-${node#/dev/input/}.during
    done
    wait $player
    usleep 300000
done
