#!/usr/bin/env bash
# Runs tests of the arm64 program on another machine, under qemu's emulation of one
# process: without arguments those that hold most of what depends on the machine, else what
# `go test` is told. Tests that start the program again need the kernel to know arm64 binaries
# (binfmt_misc); as root this sees to it and undoes it at the end.
set -euo pipefail
cd "$(dirname "$0")/.."
for need in qemu-aarch64-static aarch64-linux-gnu-gcc; do
  command -v $need >/dev/null || { echo "arm64: $need is missing (Debian: qemu-user-static gcc-aarch64-linux-gnu libc6-dev-arm64-cross)"; exit 1; }
done
export CGO_ENABLED=1 GOARCH=arm64 CC=aarch64-linux-gnu-gcc

known=/proc/sys/fs/binfmt_misc
runs() { # whether the kernel starts an arm64 binary by itself
  local probe; probe=$(mktemp)
  printf 'int main(void) { return 0; }' | $CC -static -x c -o "$probe" - && "$probe" 2>/dev/null
  local status=$?; rm -f "$probe"; return $status
}
if ! runs; then
  [ -e $known/register ] || mount -t binfmt_misc none $known 2>/dev/null || true
  # The first 20 bytes of a 64-bit little-endian ELF program for machine 0xB7, with those
  # that vary masked; F: the emulator is opened now, so that it is found in any root folder.
  if echo ':pushback-arm64:M::\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x02\x00\xb7\x00:\xff\xff\xff\xff\xff\xff\xff\x00\xff\xff\xff\xff\xff\xff\xff\xff\xfe\xff\xff\xff:'"$(command -v qemu-aarch64-static)"':F' 2>/dev/null > $known/register; then
    trap 'echo -1 > $known/pushback-arm64' EXIT
  else
    echo "arm64: this kernel does not start arm64 programs and may not be taught to (root and binfmt_misc are needed)"
    exit 1
  fi
fi
# Static, as the release is: no libraries of the other machine are needed.
arm64() {
  echo "go test $*"
  time go test -timeout 60m -tags 'netgo osusergo sqlite_omit_load_extension' -ldflags '-linkmode external -extldflags=-static' "$@"
}
if [ $# -gt 0 ]; then
  arm64 "$@"
  exit
fi
# What cannot run so: serial ports, for this emulator does not know how Linux sets their
# speed (TCGETS2); what puts a library before the system's calls (TestPowerLoss,
# TestNoSpaceLeft), for a static program loads none.
arm64 ./decode ./obd ./obd/capture ./obd/poll ./obd/simcar ./obd/tcplink ./analysis/...
arm64 -skip '^(TestPowerLoss|TestNoSpaceLeft)$' ./store/...
arm64 -run '^TestScripts$' ./cmd/pushback
