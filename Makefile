# Two commands do all: `make demo` sets up and runs the main job, `make test` sets
# up and passes the tests.

GO ?= go
BIN := bin/pushback
VERSION ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo dev)
LDFLAGS := -X main.version=$(VERSION)

.PHONY: demo build test check lint fuzz accuracy bench gallery release clean setup

demo: build
	./$(BIN) demo

build: setup
	$(GO) build -trimpath -ldflags '$(LDFLAGS)' -o $(BIN) ./cmd/pushback

# What the tests need: formatting, vet, all tests with the race detector on, and
# each fuzz target for a moment.
test: setup
	@unformatted=$$(gofmt -l $$(git ls-files '*.go')); if [ -n "$$unformatted" ]; then echo "run gofmt on:" $$unformatted; exit 1; fi
	$(GO) vet ./...
	$(GO) test -race ./...
	$(GO) test ./cmd/internal/accuracy
	$(MAKE) fuzz FUZZTIME=2s

# Go brings its own tools; SQLite needs a C compiler.
setup:
	@command -v $(GO) >/dev/null || { echo "install Go 1.26 or later: https://go.dev/dl/"; exit 1; }
	@command -v $${CC:-cc} >/dev/null || { echo "install a C compiler (Debian: apt-get install gcc libc6-dev)"; exit 1; }
	@$(GO) mod download

# Linters beyond vet. The first run fetches them.
check: test lint
lint:
	$(GO) run honnef.co/go/tools/cmd/staticcheck@v0.8.2 ./...

FUZZTIME ?= 20s
fuzz:
	@set -e; for pkg in $$($(GO) list ./...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$pkg | grep '^Fuzz' || true); do \
	    echo "fuzz $$pkg $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) $$pkg >/tmp/pushback-fuzz.$$$$ 2>&1 || { cat /tmp/pushback-fuzz.$$$$; exit 1; }; \
	  done; done; rm -f /tmp/pushback-fuzz.*

# How often the watcher is right, on random simulated cars (about five minutes).
accuracy:
	$(GO) run ./cmd/accuracy

# Readings/s on each bus beside its ideal and a plain client's, first reading, recovery,
# and wrong samples over a bad line (about a minute).
bench:
	$(GO) run ./cmd/bench

# The report of every simulated car, to look through.
gallery: setup
	$(GO) test ./cmd/pushback -count=1 -run '^TestGallery$$' -gallery $(CURDIR)/build/gallery

# Linux amd64 and arm64 and Windows amd64, SQLite included, with Debian's cross compilers
# (gcc-aarch64-linux-gnu libc6-dev-arm64-cross gcc-mingw-w64-x86-64), into build/.
RELEASE := $(GO) build -trimpath -ldflags '-s -w $(LDFLAGS)'

release: setup
	@mkdir -p build
	CGO_ENABLED=1 $(RELEASE) -o build/pushback-linux-amd64 ./cmd/pushback
	CGO_ENABLED=1 GOARCH=arm64 CC=aarch64-linux-gnu-gcc $(RELEASE) -o build/pushback-linux-arm64 ./cmd/pushback
	CGO_ENABLED=1 GOOS=windows CC=x86_64-w64-mingw32-gcc $(RELEASE) -o build/pushback-windows-amd64.exe ./cmd/pushback
	cd build && sha256sum pushback-linux-amd64 pushback-linux-arm64 pushback-windows-amd64.exe > SHA256SUMS

clean:
	rm -rf bin build
