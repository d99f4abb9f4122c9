# What a user who is not root may open, before and after the right was given.
mkdir -p /etc
echo 'nobody:x:65534:65534::/:/bin/sh' >/etc/passwd
replay_to_uhid /score --when never --hold-ms 500 >played.txt 2>&1 &
player=$!
await_device
as_nobody() {
    su -s /bin/sh nobody -c "$*"
}
chmod 600 /dev/hidraw0 /dev/input/event*
keep before as_nobody slipgauge devices --permissions
chmod 666 /dev/hidraw0
keep half as_nobody slipgauge devices --permissions 1
mkdir -m 777 /tmp
keep without_stamps as_nobody slipgauge record -o /tmp/a.swipes.ndjson --hold --for 500ms
chmod 666 $(readlink /event0)
keep after as_nobody slipgauge devices --permissions /dev/hidraw0
kill $player
