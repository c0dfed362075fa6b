// Package advice has errors that know best what to do about them.
package advice

import "errors"

// Error is an error with what to do next.
type Error struct {
	Err      error
	Do       string // a sentence's beginning in lower case, no full stop
	NotReady bool   // the car is refused as it is now, and nothing has failed
}

func (e Error) Error() string { return e.Err.Error() }
func (e Error) Unwrap() error { return e.Err }

// On adds what to do to an error; nil stays nil.
func On(err error, do string) error {
	if err == nil {
		return nil
	}
	return Error{Err: err, Do: do}
}

// NotReady refuses a car.
func NotReady(why, do string) error { return Error{errors.New(why), do, true} }
