# Recordings that are killed at several distances from the last time they wrote; how long each had is in N.seconds.
replay_to_uhid /score >/dev/null 2>&1 &
await /dev/hidraw0
for tenths in 23 26 29 32; do
    begin=$(cut -d ' ' -f 1 /proc/uptime)
    slipgauge record --device /dev/hidraw0 -o $tenths.swipes.ndjson $(cat /options) >$tenths.txt 2>&1 &
    usleep ${tenths}00000
    kill -KILL $!
    end=$(cut -d ' ' -f 1 /proc/uptime)
    echo "$begin $end" | awk '{ print $2 - $1 }' >$tenths.seconds
done
