#!/usr/bin/env bash
# Makes a Debian package: cmd/pushback/packaging/deb.sh BINARY ARCH VERSION FOLDER, where FOLDER holds
# man/, completions/ and third-party-licences.txt. Same input and same SOURCE_DATE_EPOCH:
# same bytes.
set -euo pipefail
binary=$1 arch=$2 version=${3#v} folder=$4
here=$(cd "$(dirname "$0")" && pwd)
# Debian's versions begin with a digit; what is no release sorts before the first.
case $version in [0-9]*) ;; *) version=0~git.$version ;; esac
version=${version//-/+}
maintainer='The pushback authors <pushback@example.invalid>'
umask 022
root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT

put() { install -D -m "$1" "$2" "$root/$3"; }
put 755 "$binary" usr/bin/pushback
for page in "$folder"/man/*.1; do
  put 644 "$page" "usr/share/man/man1/$(basename "$page")"
done
gzip -9n "$root"/usr/share/man/man1/*
put 644 "$folder/completions/pushback.bash" usr/share/bash-completion/completions/pushback
put 644 "$folder/completions/_pushback" usr/share/zsh/vendor-completions/_pushback
put 644 "$folder/completions/pushback.fish" usr/share/fish/vendor_completions.d/pushback.fish
doc=usr/share/doc/pushback
put 644 "$here/serial-permission.rules" "$doc/examples/70-pushback-serial.rules"
put 644 "$here/README.Debian" "$doc/README.Debian"
put 644 "$here/copyright" "$doc/copyright"
put 644 "$folder/third-party-licences.txt" "$doc/third-party-licences.txt"
put 644 "$here/../../../README.md" "$doc/README.md"
put 644 "$here/../../../CHANGELOG.md" "$doc/NEWS.md"
put 644 "$here/lintian-overrides" usr/share/lintian/overrides/pushback
cat > "$root/$doc/changelog" <<CHANGELOG
pushback ($version) unstable; urgency=medium

  * See NEWS.md.gz.

 -- $maintainer  $(LC_ALL=C date -u -R -d "@$SOURCE_DATE_EPOCH")
CHANGELOG
gzip -9n "$root/$doc"/{changelog,NEWS.md,README.md,third-party-licences.txt}

chmod 755 "$root"
install -d -m 755 "$root/DEBIAN"
cat > "$root/DEBIAN/control" <<CONTROL
Package: pushback
Version: $version
Architecture: $arch
Maintainer: $maintainer
Installed-Size: $(find "$root" -type f -printf '%s\n' | awk '{kb += int(($1 + 1023) / 1024)} END {print kb}')
Section: electronics
Priority: optional
Description: does the fuel loop push back when an oxygen sensor is forced?
 A technician holds an oxygen sensor's signal wire lean, then rich, and lets go.
 pushback reads the car over an OBD-II adapter and judges whether the computer's
 short-term fuel trim pushes back and whether the sensor tells the truth on
 release. Sessions are kept and can be replayed, compared and reported.
CONTROL
(cd "$root" && find usr -type f -print0 | LC_ALL=C sort -z | xargs -0 md5sum > DEBIAN/md5sums)
chmod 644 "$root"/DEBIAN/*
dpkg-deb --root-owner-group -Zxz --threads-max=1 --build "$root" "$folder/pushback-linux-$arch.deb" >/dev/null
