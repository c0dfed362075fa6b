package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"pushback/analysis"
	"pushback/cmd/internal/advice"
	"pushback/obd"
	"pushback/store"
)

// The exit statuses that other programs rely on.
const (
	statusDone     = 0
	statusFailed   = 1
	statusUsage    = 2
	statusFault    = 10 // a fault was found
	statusUnclear  = 11 // the evidence does not decide, or one side was not tested
	statusNotReady = 12 // the car is not ready for the test
)

// statusOf is the exit status of a command that ends with a verdict.
func statusOf(c analysis.Conclusion) int {
	switch c {
	case analysis.LoopProven, analysis.NothingForced:
		return statusDone
	case analysis.InputDead, analysis.NoCommand, analysis.NoDelivery,
		analysis.SensorDead, analysis.SensorSlow, analysis.SensorSkewed, analysis.WrongBank:
		return statusFault
	case analysis.ConclusionNotReady:
		return statusNotReady
	}
	return statusUnclear
}

// concluded ends a command that did its work with a status that is not 0. It
// prints nothing: the verdict has been printed.
type concluded int

func (c concluded) Error() string { return fmt.Sprintf("status %d", int(c)) }

// conclude returns the error that makes the verdict's status the program's.
func conclude(c analysis.Conclusion) error {
	if s := statusOf(c); s != statusDone {
		return concluded(s)
	}
	return nil
}

// hints is the one table from an error to what to do next. The first that matches
// counts.
var hints = []struct {
	is   error
	hint string
}{
	// Before ErrNoAdapter: who cannot get a lost line back meets both.
	{obd.ErrLinkLost, "check the cable and the adapter's supply; what was recorded until then is stored"},
	{obd.ErrPortBusy, "close the other program that uses the port, then try again"},
	{obd.ErrHeavyDuty, "this tool speaks SAE J1979 and J1979-2, which cars and light trucks do; a heavy-duty vehicle needs a tool for SAE J1939"},
	{obd.ErrSilentBus, "switch the ignition on (engine running for a test), then try again; if it stays so this car lets nobody ask by SAE J1979 or J1979-2 (some electric cars do not, and some gateways): look in its papers which OBD it meets"},
	{obd.ErrNoVehicle, "push the adapter home in the car's socket, switch the ignition on (engine running for a test), then try again; --bus NAME skips the search when you know the bus"},
	{obd.ErrNoAdapter, "is this the adapter's port, and has the adapter power? `pushback ports` shows which ports answer; --baud N sets the speed by hand"},
	{store.ErrNoSession, "`pushback sessions` lists what is stored; --db FILE names another database"},
	{store.ErrNoVisit, "`pushback visit list` lists them; `pushback visit new NAME` opens one"},
	{store.ErrVisitExists, "take another name, such as the order number with a letter; `pushback visit list` lists what there is"},
	{store.ErrAmbiguous, "type more letters of the session's id"},
	{store.ErrNotOurs, "name a database of pushback's with --db FILE, or a file that does not exist yet"},
	{store.ErrNewerSchema, "a newer pushback wrote this database: update this one"},
	{store.ErrLocked, "another program holds the database: end it, or use another file with --db FILE"},
	{store.ErrReadOnly, "make file and folder writable, or name another file with --db FILE"},
	{store.ErrReplaced, "your sessions are safe in the rescued file: `pushback import` brings them back. Find out what moves or deletes the database (cloud sync does), or keep it elsewhere with --db FILE"},
	{store.ErrDiskFull, "free some space; all that was stored until then is kept"},
	{store.ErrDamaged, "keep a copy of the file, then go on with another one: --db FILE"},
	{fs.ErrPermission, "you may not use this file or port: for a serial port join the group that owns it (`ls -l` shows it; often dialout), then log in again"},
	{fs.ErrNotExist, "check the name; for a port see `pushback ports`"},
	{context.DeadlineExceeded, "it took too long; try again"},
}

// describe turns an error into text, advice and status.
func describe(err error) (text, hint string, status int) {
	var use usageError
	var own advice.Error
	switch {
	case errors.As(err, &use):
		return use.Error(), "see `" + use.help + "`", statusUsage
	case errors.As(err, &own) && own.NotReady:
		return err.Error(), own.Do, statusNotReady
	case errors.As(err, &own):
		return err.Error(), own.Do, statusFailed
	case errors.Is(err, context.Canceled):
		return "stopped before there was anything to judge", "", statusFailed
	}
	for _, h := range hints {
		if errors.Is(err, h.is) {
			return err.Error(), h.hint, statusFailed
		}
	}
	return err.Error(), "", statusFailed
}

// gerunds turn the first word of a package's error ("open /dev/ttyUSB0: …") into
// what was being done.
var gerunds = map[string]string{
	"open": "opening", "search": "looking for an adapter on", "read": "reading", "write": "writing",
	"find": "finding", "list": "listing", "create": "creating", "edit": "changing", "remove": "removing",
	"append": "storing", "go": "going", "ask": "asking", "finish": "finishing", "stat": "looking at", "seek": "reading",
}

// doing words an error's text on one line.
func doing(text string) string {
	text = strings.ReplaceAll(strings.TrimSpace(text), "\n", ": ")
	word, rest, _ := strings.Cut(text, " ")
	if g, ok := gerunds[word]; ok {
		return g + " " + rest
	}
	return text
}

// exit prints an error for people and returns the status.
func (a *app) exit(err error) int {
	var end concluded
	switch {
	case err == nil:
		return statusDone
	case errors.As(err, &end):
		return int(end)
	}
	text, hint, status := describe(err)
	fmt.Fprintf(a.errOut, "pushback: %s\n", doing(text))
	if hint != "" {
		fmt.Fprintf(a.errOut, "  what to do: %s\n", hint)
	}
	return status
}
