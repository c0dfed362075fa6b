# Two commands do all: `make demo` sets up and runs the main job, `make test` sets
# up and passes the tests.

GO ?= go
BIN := bin/pushback
VERSION ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo dev)
# The Go that builds what is handed out: the same bytes need the same compiler.
TOOLCHAIN := go1.26.11
# Functions begin anywhere, not at every 32 bytes, which makes the program smaller by a fiftieth.
LDFLAGS := -X main.version=$(VERSION) -funcalign=1
# The page for a phone needs no HTTP/2, and names of machines and people are looked up without the C library, as in the release.
TAGS := nethttpomithttp2 netgo osusergo

.PHONY: demo build test check format vet tests lint vulnerabilities fuzz accuracy bench gallery release reproducible arm64 windows fleet clean setup

demo: build
	./$(BIN) demo

build: setup
	$(GO) build -trimpath -tags '$(TAGS)' -ldflags '-s -w $(LDFLAGS)' -o $(BIN) ./cmd/pushback

# $(call timed,TARGET) makes a target and prints how long it took.
timed = @+start=$$(date +%s); $(MAKE) --no-print-directory $(1) && echo "== $(1): $$(($$(date +%s) - start)) s"

# What must pass: formatting, vet, all tests (directions of imports and licences of
# dependencies among them, and what is kept of each fuzz target), and the short ones with the
# race detector on where things run at once.
test: setup
	$(call timed,format)
	$(call timed,vet)
	$(call timed,tests)

# That, two thousand inputs to each fuzz target, and what fetches its own tools.
check: test
	$(call timed,fuzz FUZZTIME=2000x)
	$(call timed,lint)
	$(call timed,vulnerabilities)

format:
	@unformatted=$$(gofmt -l $$(git ls-files '*.go')); if [ -n "$$unformatted" ]; then echo "run gofmt on:" $$unformatted; exit 1; fi

vet:
	$(GO) vet ./...

# Where things run at once: lines, stores, screens, a whole session.
RACE := ./obd ./obd/poll ./obd/capture ./obd/seriallink ./obd/tcplink ./store/... \
  ./cmd/internal/live ./cmd/internal/rig ./cmd/internal/replay ./cmd/internal/term ./cmd/internal/page

tests:
	$(GO) test -race -short $(RACE)
	$(GO) test -race -short ./cmd/pushback -run 'Unplugged|Interrupt|Deleted|Unfinished|Live$$/healthy'
	$(GO) test ./...

# Go brings its own tools; SQLite needs a C compiler.
setup:
	@command -v $(GO) >/dev/null || { echo "install Go 1.26 or later: https://go.dev/dl/"; exit 1; }
	@command -v $${CC:-cc} >/dev/null || { echo "install a C compiler (Debian: apt-get install gcc libc6-dev)"; exit 1; }
	@$(GO) mod download

lint:
	$(GO) run honnef.co/go/tools/cmd/staticcheck@v0.8.2 ./...

# Known faults of Go and of the libraries that the program calls, as built for a release.
vulnerabilities: export GOTOOLCHAIN := $(TOOLCHAIN)
vulnerabilities:
	.ci/vulnerabilities

# A time or a count; where a time runs out, Go 1.26 now and then calls that a failure.
FUZZTIME ?= 20s
fuzz:
	@set -e; for pkg in $$($(GO) list ./...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$pkg | grep '^Fuzz' || true); do \
	    echo "fuzz $$pkg $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) $$pkg >/tmp/pushback-fuzz.$$$$ 2>&1 || { cat /tmp/pushback-fuzz.$$$$; exit 1; }; \
	  done; done; rm -f /tmp/pushback-fuzz.*

# How often the watcher is right, a row a model of cars (about twenty minutes). MODEL names
# one or some, with commas; REALTRIMS is the file that testdata/realtrims/README.md speaks of.
accuracy:
	$(GO) run ./cmd/accuracy -model '$(MODEL)' -realtrims '$(REALTRIMS)'

# Readings/s on each bus beside its ideal and a plain client's, first reading, recovery,
# and wrong samples over a bad line (about a minute).
bench:
	$(GO) run ./cmd/bench

# The report of every simulated car and of real recordings, to look through. REALTRIMS is
# the file that testdata/realtrims/README.md speaks of, where you have it.
gallery: setup
	$(GO) test ./cmd/pushback -count=1 -run '^TestGallery$$' -gallery $(CURDIR)/build/gallery -realtrims '$(REALTRIMS)'

# Linux amd64 and arm64 and Windows amd64, SQLite included, packages for Debian, and
# checksums, into build/; with Debian's cross compilers (gcc-aarch64-linux-gnu
# libc6-dev-arm64-cross gcc-mingw-w64-x86-64). The same bytes wherever it is built.
SOURCE_DATE_EPOCH ?= $(shell git log -1 --format=%ct 2>/dev/null || echo 0)
export SOURCE_DATE_EPOCH
RELEASE := CGO_ENABLED=1 $(GO) build -trimpath -buildvcs=false -tags 'sqlite_omit_load_extension $(TAGS)'
STATIC := -s -w -linkmode external -extldflags=-static $(LDFLAGS)
PRINTS := ./build/pushback-linux-$(shell $(GO) env GOHOSTARCH)

release: export GOTOOLCHAIN := $(TOOLCHAIN)
release: setup
	rm -rf build/man build/completions
	mkdir -p build/completions
	GOARCH=amd64 $(RELEASE) -ldflags '$(STATIC)' -o build/pushback-linux-amd64 ./cmd/pushback
	GOARCH=arm64 CC=aarch64-linux-gnu-gcc $(RELEASE) -ldflags '$(STATIC)' -o build/pushback-linux-arm64 ./cmd/pushback
	GOOS=windows GOARCH=amd64 CC=x86_64-w64-mingw32-gcc $(RELEASE) -ldflags '-s -w $(LDFLAGS)' -o build/pushback-windows-amd64.exe ./cmd/pushback
	$(PRINTS) man build/man
	$(PRINTS) completion bash > build/completions/pushback.bash
	$(PRINTS) completion zsh > build/completions/_pushback
	$(PRINTS) completion fish > build/completions/pushback.fish
	$(PRINTS) completion powershell > build/completions/pushback.ps1
	$(GO) run ./cmd/licences > build/third-party-licences.txt
	for arch in amd64 arm64; do cmd/pushback/packaging/deb.sh build/pushback-linux-$$arch $$arch '$(VERSION)' build || exit 1; done
	cd build && sha256sum pushback-* third-party-licences.txt > SHA256SUMS

# Builds the release twice from what is committed, in two folders and from empty
# caches, and compares.
reproducible:
	.ci/reproducible

# The arm64 tests under qemu (gcc-aarch64-linux-gnu libc6-dev-arm64-cross qemu-user-static).
arm64:
	.ci/arm64

# The Windows program under wine (gcc-mingw-w64-x86-64 wine64).
windows:
	.ci/windows

# Sessions of 10,000 simulated cars (SESSIONS) in partitions, judged by 1, 2 and 4 workers, one of
# which is killed (Debian's python3-distributed, which this installs as root).
FLEET ?= build/fleet
SESSIONS ?= 10000
FLEETPYTHON := /usr/bin/python3
fleet: build
	@$(FLEETPYTHON) -c 'import distributed' 2>/dev/null || { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends python3-distributed >/dev/null; } \
	  || { echo "install Dask distributed (Debian: apt-get install python3-distributed)"; exit 1; }
	@test -e $(FLEET)/made-$(SESSIONS) || { rm -rf $(FLEET); echo "$(SESSIONS) sessions of 20 s each: of 10,000 6 minutes of processor"; $(GO) run ./cmd/fleet cars -to $(FLEET)/sessions -n $(SESSIONS) && touch $(FLEET)/made-$(SESSIONS); }
	rm -rf $(FLEET)/verdicts
	$(FLEETPYTHON) cmd/fleet/judge.py $(FLEET)/sessions $(FLEET)/verdicts --pushback $(BIN) --workers 1,2,4 --kill --alone

clean:
	rm -rf bin build
