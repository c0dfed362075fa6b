package obd

import "errors"

// Errors of the dialogue; the text for people is made in cmd.
var (
	ErrLinkLost  = errors.New("the line to the adapter is gone")
	ErrNoAdapter = errors.New("no adapter answers")
	ErrNoVehicle = errors.New("the adapter answers, but no vehicle does")
	ErrPortBusy  = errors.New("the port is in use by another program")
)

// LinkError tells which operation on which port failed.
type LinkError struct {
	Op, Port string
	Err      error
}

func (e *LinkError) Error() string { return e.Op + " " + e.Port + ": " + e.Err.Error() }
func (e *LinkError) Unwrap() error { return e.Err }
