#!/usr/bin/env bash
# Ends the sound server that start-server.sh started in DIR, and no other.
set -u
D=$1
[ -s "$D/pid" ] || exit 0
pid=$(cat "$D/pid")
rm -f "$D/pid"
kill -"${2:-TERM}" "$pid" 2>/dev/null || exit 0
for _ in $(seq 40); do
    kill -0 "$pid" 2>/dev/null || exit 0
    sleep 0.05
done
kill -KILL "$pid" 2>/dev/null
exit 0
