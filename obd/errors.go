package obd

import "errors"

// Errors of the dialogue; the text for people is made in cmd.
var (
	ErrLinkLost  = errors.New("the line to the adapter is gone")
	ErrNoAdapter = errors.New("no adapter answers")
	ErrNoVehicle = errors.New("the adapter answers, but no vehicle does")
	// Kinds of ErrNoVehicle, by what was heard.
	ErrHeavyDuty = errors.New("the bus is that of a heavy-duty vehicle (SAE J1939)")
	ErrSilentBus = errors.New("the bus is there, but nobody answers in either dialect")
	ErrPortBusy  = errors.New("the port is in use by another program")
)

// LinkError tells which operation on which port failed.
type LinkError struct {
	Op, Port string
	Err      error
}

func (e *LinkError) Error() string { return e.Op + " " + e.Port + ": " + e.Err.Error() }
func (e *LinkError) Unwrap() error { return e.Err }
