# The guided test of a device that is chosen by moving it, goes away in the middle of a swipe and comes back two seconds
# later.
{
    replay_to_uhid /score --destroy-after $(cat /count)
    usleep 2000000
    replay_to_uhid /rest --hold-ms 60000
} >played.txt 2>&1 &
player=$!
await_device
keep examine timeout -s INT 120 slipgauge examine -o guided.swipes.ndjson --no-questions $(cat /options) </dev/null
killall replay_to_uhid
