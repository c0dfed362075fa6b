package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"pushback/analysis"
	"pushback/cmd/internal/advice"
	"pushback/cmd/internal/words"
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
	return err.Error(), advice.Of(err), statusFailed
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
	text = words.Brief(strings.ReplaceAll(strings.TrimSpace(text), "\n", ": "))
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
