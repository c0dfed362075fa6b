module pushback

go 1.26

require (
	github.com/creack/pty v1.1.24 // indirect
	github.com/google/go-cmp v0.7.0 // indirect
	github.com/inconshreveable/mousetrap v1.1.0 // indirect
	github.com/mattn/go-colorable v0.1.14 // indirect
	github.com/mattn/go-isatty v0.0.24 // indirect
	github.com/mattn/go-sqlite3 v1.14.53 // indirect
	github.com/rogpeppe/go-internal v1.16.0 // indirect
	github.com/rs/zerolog v1.35.1 // indirect
	github.com/spf13/cobra v1.10.2 // indirect
	github.com/spf13/pflag v1.0.9 // indirect
	go.bug.st/serial v1.8.0 // indirect
	go.uber.org/goleak v1.3.0 // indirect
	golang.org/x/sys v0.43.0 // indirect
	pgregory.net/rapid v1.3.0 // indirect
)
