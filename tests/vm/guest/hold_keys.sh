# A pointer that types as well is held; its keys, and what types on the pointer's own node, are nobody's but the desktop's.
for name in apart together; do
    replay_to_uhid /$name --when $name.swipes.ndjson --hold-ms 500 >played-$name.txt 2>&1 &
    player=$!
    await_device
    for node in /event*; do readlink $node; done >$name.nodes
    for node in /event*; do
        cat $node >$name-${node#/}.bin &
    done
    slipgauge record --device /dev/hidraw0 -o $name.swipes.ndjson --hold --for 5s >$name.txt 2>&1 &
    recorder=$!
    await $name.swipes.ndjson
    usleep 500000
    ls -l /proc/$recorder/fd >$name.open
    wait $recorder
    echo $? >$name.status
    for node in /event*; do
        wc -c <$name-${node#/}.bin >$name-${node#/}.during
    done
    wait $player
    usleep 300000
done
