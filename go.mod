module pushback

go 1.26

require (
	github.com/creack/pty v1.1.24
	github.com/google/go-cmp v0.7.0
	github.com/mattn/go-isatty v0.0.24
	github.com/mattn/go-sqlite3 v1.14.53
	github.com/rogpeppe/go-internal v1.16.0
	github.com/rs/zerolog v1.35.1
	github.com/spf13/cobra v1.10.2
	go.bug.st/serial v1.8.0
	go.uber.org/goleak v1.3.0
	golang.org/x/sys v0.43.0
	pgregory.net/rapid v1.3.0
)

require (
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/mattn/go-colorable v0.1.14 // indirect
	github.com/spf13/pflag v1.0.9 // indirect
	golang.org/x/tools v0.26.0 // indirect
)
