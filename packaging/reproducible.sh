#!/usr/bin/env bash
# Builds the release twice from what is committed, in two folders, from empty build caches
# and at different times, and compares the checksums. They are those of `make release` in
# the same commit too.
set -euo pipefail
cd "$(dirname "$0")/.."
version=$(git describe --tags --always)
SOURCE_DATE_EPOCH=$(git log -1 --format=%ct)
export SOURCE_DATE_EPOCH
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
for folder in one second/deeper; do
  mkdir -p "$work/$folder"
  git archive HEAD | tar -x -C "$work/$folder"
  GOCACHE=$work/cache-${folder%%/*} make -s -C "$work/$folder" release VERSION="$version" >/dev/null
done
cat "$work/one/build/SHA256SUMS"
if ! diff "$work/one/build/SHA256SUMS" "$work/second/deeper/build/SHA256SUMS"; then
  echo "reproducible: the two builds differ"
  exit 1
fi
echo "reproducible: two builds of $version are the same, byte for byte"
