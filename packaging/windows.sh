#!/usr/bin/env bash
# Runs the Windows program under wine, in a wine folder of its own: version, the demo over
# TCP, import, replay, and what is said of a port that is not there. A serial port cannot be
# tried so: reads hang under wine. Takes the program's file; without, it builds one.
set -euo pipefail
cd "$(dirname "$0")/.."
wine=$(command -v wine64 || ls /usr/lib/wine/wine64 2>/dev/null || command -v wine) ||
  { echo "windows: wine is missing (Debian: wine64)"; exit 1; }
server=$(dirname "$(readlink -f "$wine")")/wineserver64
mingw=x86_64-w64-mingw32-gcc
command -v $mingw >/dev/null || { echo "windows: $mingw is missing (Debian: gcc-mingw-w64-x86-64)"; exit 1; }
program=${1:-}
work=$(mktemp -d)
trap 'WINEPREFIX=$work/wine "$server" -k 2>/dev/null || true; rm -rf "$work"' EXIT
if [ -z "$program" ]; then
  program=$work/built.exe
  CGO_ENABLED=1 GOOS=windows GOARCH=amd64 CC=$mingw go build -o "$program" ./cmd/pushback
fi
export WINEPREFIX=$work/wine WINEDEBUG=-all NO_COLOR=1
"$wine" wineboot --init >/dev/null 2>&1
system=$WINEPREFIX/drive_c/windows/system32
[ -e "$system/bcryptprimitives.dll" ] ||
  $mingw -shared -O2 -s -o "$system/bcryptprimitives.dll" packaging/bcryptprimitives.c -ladvapi32
cp "$program" "$work/pushback.exe"
cd "$work"

# runs STATUS PATTERN arguments…: the exit status and something that is said
runs() {
  local want=$1 pattern=$2 status=0; shift 2
  "$wine" pushback.exe "$@" > out.txt 2>&1 < /dev/null || status=$?
  tr -d '\r' < out.txt > said.txt
  if [ $status != "$want" ] || ! grep -qE "$pattern" said.txt; then
    echo "windows: pushback $*: status $status, want $want and '$pattern'; it said:"; cat said.txt; exit 1
  fi
  echo "ok  pushback $*: $(grep -m1 -E "$pattern" said.txt | cut -c1-80)"
}

runs 0 'windows/amd64$' version
runs 0 '^LOOP PROVEN' demo --tcp --report 'demo report.html'
[ -s 'demo report.html' ]
runs 0 '"event":"loop_answers","side":"lean"' replay last --json
runs 0 '^LOOP PROVEN' show last
printf 't_s,O2S11,SHRTFT1\r\n0,0.2,0\r\n0.5,0.8,0\r\n1,0.2,0\r\n' > 'a table.csv'
runs 0 '"id":"' import 'a table.csv' --json
runs 0 '"kind":"verdict"' replay last --json
runs 0 '^0.5,0.8,0' export last --csv
runs 0 'no serial ports|COM[0-9]' ports --no-probe
for port in COM10 '\\.\COM10' com10; do
  runs 1 'opening COM10: ' record --port "$port"
done
# The data folder of Windows, and nothing elsewhere.
find "$WINEPREFIX/drive_c/users" -path '*/AppData/Local/pushback/pushback.db' | grep -q .
echo "ok  sessions are kept under AppData/Local"
