# A USB mouse of the emulator's; the host moves it once we say that we are ready.
await /dev/hidraw0
slipgauge record --device /dev/hidraw0 -o recorded.swipes.ndjson --travel 300mm --for 60s >record.txt 2>&1 &
recorder=$!
await recorded.swipes.ndjson
usleep 500000
mark ready
sleep 6
mark moved
kill -INT $recorder
wait $recorder
echo $? >record.status
