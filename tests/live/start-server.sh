#!/usr/bin/env bash
# Starts a sound server of its own in DIR; nothing outside DIR is touched.
#   start-server.sh DIR MODULE...      e.g. "module-pipe-source source_name=mic file=DIR/mic.fifo"
# The first module's source becomes the default one. The server's socket is
# DIR/pulse.sock and its process id is in DIR/pid. stop-server.sh ends it.
set -euo pipefail
D=$1
shift
mkdir -p "$D/run" "$D/state" "$D/config"
chmod 700 "$D"
export PULSE_RUNTIME_PATH=$D/run PULSE_STATE_PATH=$D/state XDG_CONFIG_HOME=$D/config
export PULSE_SERVER=unix:$D/pulse.sock
rm -f "$D/pulse.sock" "$D"/*.fifo # a killed server leaves both behind
modules=()
for m in "$@"; do modules+=(-L "$m"); done
setsid pulseaudio -n --daemonize=no --use-pid-file=no --exit-idle-time=-1 --disallow-exit \
    --high-priority=no --realtime=no --disable-shm=yes \
    "${modules[@]}" -L "module-native-protocol-unix socket=$D/pulse.sock auth-anonymous=1" >"$D/pulse.log" 2>&1 </dev/null &
echo $! >"$D/pid"
for _ in $(seq 200); do
    if pactl info >/dev/null 2>&1; then
        pactl set-default-source "$(pactl list short sources | head -1 | cut -f2)"
        exit 0
    fi
    sleep 0.05
done
echo "the sound server did not start; its log:" >&2
cat "$D/pulse.log" >&2
exit 1
