package advice

import (
	"context"
	"errors"
	"io/fs"

	"pushback/obd"
	"pushback/store"
)

// table says of an error what to do next. The first that matches counts.
var table = []struct {
	is error
	do string
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

// Of is what to do about an error that does not know itself, "" where nothing is known.
func Of(err error) string {
	for _, row := range table {
		if errors.Is(err, row.is) {
			return row.do
		}
	}
	return ""
}
