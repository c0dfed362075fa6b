package obd

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Identity is what an adapter says of itself.
type Identity struct {
	Text    string   // its name and version as it prints them
	Voltage float64  // at the car's connector, V; 0 unknown
	Quirks  []string // what it refused or does differently, for people
}

// NoVehicleError tells why no vehicle was found; it is an [ErrNoVehicle].
type NoVehicleError struct {
	Said    string  // the adapter's last words
	Voltage float64 // at the car's connector, V; 0 unknown
}

func (e *NoVehicleError) Error() string {
	text := "find bus: " + ErrNoVehicle.Error()
	if e.Said != "" {
		text += fmt.Sprintf(" (it says %q)", e.Said)
	}
	if e.Voltage > 0 {
		text += fmt.Sprintf(", %.1f V at the connector", e.Voltage)
	}
	return text
}

func (e *NoVehicleError) Unwrap() error { return ErrNoVehicle }

// settings are the commands of the start. All but the wish for headers are of no
// consequence when refused.
var settings = []string{
	"ATE1",  // echo: requests are checked by it
	"ATM0",  // do not keep the protocol: the adapter stays as it was
	"ATL0",  // no line feeds
	"ATS0",  // no spaces
	"ATH1",  // headers: they tell the computer and carry the checksum
	"ATAT1", // adaptive timing
}

// Start resets the adapter and sets it up. A command that the adapter refuses is a
// quirk, not an error. The error is [ErrNoAdapter], [ErrLinkLost], or the
// context's.
func (a *Adapter) Start(ctx context.Context) (Identity, error) {
	a.about, a.format = Identity{}, Format{}
	a.headers, a.counts, a.noEcho, a.outOfSync = false, false, false, true
	a.repeats, a.last, a.unheard, a.pace = untried, "", 0, 0
	err := a.setUp(ctx)
	if errors.Is(err, errSilent) {
		err = ErrNoAdapter
	}
	if err != nil {
		return Identity{}, fmt.Errorf("start adapter: %w", err)
	}
	return a.Identity(), nil
}

// Identity returns what Start learned, and the quirks found since.
func (a *Adapter) Identity() Identity {
	id := a.about
	id.Quirks = slices.Clone(id.Quirks)
	return id
}

func (a *Adapter) setUp(ctx context.Context) error {
	if err := a.resync(ctx); err != nil {
		return err
	}
	name, err := a.reset(ctx)
	if errors.Is(err, errSilent) {
		a.quirk("no answer to ATZ")
	} else if err != nil {
		return err
	}
	if err := a.set(ctx); err != nil {
		return err
	}
	if text, err := a.command(ctx, "ATI", second); err != nil {
		return err
	} else if text != "" && !strings.Contains(text, "?") {
		name = text
	}
	a.about.Text = printable(name)
	if err := a.tryEcho(ctx); err != nil {
		return err
	}
	if err := a.raise(ctx); err != nil {
		return err
	}
	a.about.Voltage, err = a.voltage(ctx)
	return err
}

// set sends the settings.
func (a *Adapter) set(ctx context.Context) error {
	for _, text := range settings {
		answer, err := a.command(ctx, text, second)
		if err != nil {
			return err
		}
		good := strings.Contains(answer, "OK")
		if !good {
			a.quirk("refuses " + text)
		}
		if text == "ATH1" {
			a.headers = good
		}
	}
	return nil
}

// Known is what start-up found out about adapter and car. Given back to [Adapter.Use] it
// need not be found out again.
type Known struct {
	Format  Format
	Counts  bool // the adapter takes the number of replies to wait for
	Repeats bool // a lone return repeats the last request
}

// Known returns what was found out.
func (a *Adapter) Known() Known {
	return Known{Format: a.format, Counts: a.counts, Repeats: a.repeats == does}
}

// Use takes what was known before in place of FindBus. Nothing is asked of the car: the next
// Exchange shows whether it is still right.
func (a *Adapter) Use(ctx context.Context, k Known) error {
	ok, err := a.protocol(ctx, k.Format.Bus)
	switch {
	case errors.Is(err, errSilent):
		return fmt.Errorf("use bus: %w", ErrNoAdapter)
	case err != nil:
		return fmt.Errorf("use bus: %w", err)
	case !ok:
		return fmt.Errorf("use bus %v: the adapter refuses it: %w", k.Format.Bus, ErrNoVehicle)
	}
	a.take(k)
	return nil
}

func (a *Adapter) take(k Known) {
	a.format, a.counts, a.repeats = k.Format, k.Counts, untried
	if k.Repeats {
		a.repeats = does
	}
}

// Keep is Use where the adapter is still on the bus, so that it need not be started again;
// false, and nothing changed, where it is not.
func (a *Adapter) Keep(ctx context.Context, k Known) (bool, error) {
	b, err := a.current(ctx)
	if errors.Is(err, errSilent) {
		err = ErrNoAdapter
	}
	if err != nil {
		return false, fmt.Errorf("ask for bus: %w", err)
	}
	if b != k.Format.Bus {
		return false, nil
	}
	a.take(k)
	return true, nil
}

// Again sends the settings again after trouble, without a reset: that is quicker
// than Start, and enough unless the adapter is confused. Use or FindBus must follow.
// The errors are those of Start.
func (a *Adapter) Again(ctx context.Context) error {
	a.outOfSync = true
	err := a.set(ctx)
	if err == nil {
		err = a.raise(ctx)
	}
	if errors.Is(err, errSilent) {
		err = ErrNoAdapter
	}
	if err != nil {
		return fmt.Errorf("set up adapter: %w", err)
	}
	return nil
}

// voltage asks what the adapter measures at the connector; 0 if it does not.
func (a *Adapter) voltage(ctx context.Context) (float64, error) {
	answer, err := a.command(ctx, "ATRV", second)
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseFloat(strings.TrimSuffix(strings.ToUpper(answer), "V"), 64)
	if err != nil || v < 0 || v > 40 {
		return 0, nil
	}
	return v, nil
}

func (a *Adapter) quirk(text string) {
	if !slices.Contains(a.about.Quirks, text) {
		a.about.Quirks = append(a.about.Quirks, text)
	}
}

// printable makes an adapter's own words fit to be shown: one line, at most 64
// characters of ASCII.
func printable(text string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case r == '\n':
			return ' '
		case r < ' ' || r > '~':
			return -1
		}
		return r
	}, text)
	return strings.TrimSpace(text[:min(len(text), 64)])
}

// searchOrder is how buses are tried one by one: the common ones first, those
// with a slow start last.
var searchOrder = []Bus{CAN11at500, CAN29at500, CAN11at250, CAN29at250, ISO14230Fast, VPW, PWM, ISO14230Slow, ISO9141}

// supported is the request that every vehicle answers (SAE J1979): which PIDs
// are supported.
var supported = Request{Service: 0x01, Data: []byte{0x00}}

// FindBus makes the adapter talk on the bus that is wanted, or with BusUnknown on
// the one that it finds: by its own search, and if that fails one by one. It also learns
// whether headers are printed and whether the adapter takes a number of replies to wait for.
//
// When no vehicle answers the error is a [*NoVehicleError]; others are
// [ErrNoAdapter], [ErrLinkLost], or the context's.
func (a *Adapter) FindBus(ctx context.Context, want Bus) (Format, error) {
	a.format, a.counts = Format{}, false
	f, said, err := a.search(ctx, want)
	if err == nil && f.Bus == BusUnknown {
		none := &NoVehicleError{Said: said}
		none.Voltage, err = a.voltage(ctx)
		if err == nil {
			return Format{}, none
		}
	}
	if errors.Is(err, errSilent) {
		err = ErrNoAdapter
	}
	if err != nil {
		return Format{}, fmt.Errorf("find bus: %w", err)
	}
	return f, nil
}

// search returns Format{} and the adapter's last words when no vehicle answers.
func (a *Adapter) search(ctx context.Context, want Bus) (f Format, said string, err error) {
	if want != BusUnknown {
		for range 2 { // a car that was just switched on may miss the first
			if f, said, err = a.try(ctx, want); err != nil || f.Bus != BusUnknown {
				break
			}
		}
		return f, said, err
	}
	if f, said, err = a.try(ctx, BusUnknown); err != nil || f.Bus != BusUnknown {
		return f, said, err
	}
	for _, b := range searchOrder {
		var words string
		if f, words, err = a.try(ctx, b); err != nil || f.Bus != BusUnknown {
			return f, words, err
		}
		if said == "" {
			said = words
		}
	}
	return Format{}, said, nil
}

// try asks on one bus, or with BusUnknown lets the adapter search.
func (a *Adapter) try(ctx context.Context, b Bus) (Format, string, error) {
	if a.opts.Trying != nil {
		a.opts.Trying(b)
	}
	if ok, err := a.protocol(ctx, b); err != nil || !ok {
		return Format{}, "", err
	}
	wait := 3 * second
	switch b {
	case BusUnknown:
		wait = 30 * second
	case ISO14230Fast:
		wait = 6 * second
	case ISO9141, ISO14230Slow: // 5 baud: 2 s for the address alone, and the adapter may try twice
		wait = 10 * second
	}
	raw, err := a.ask(ctx, supported.Hex(), wait)
	if errors.Is(err, errSilent) {
		return Format{}, "", nil
	}
	if err != nil {
		return Format{}, "", err
	}
	if b == BusUnknown {
		if b, err = a.current(ctx); err != nil {
			return Format{}, "", err
		}
	}
	f := a.recognise(raw, b)
	if f.Bus == BusUnknown {
		return f, lastWords(raw), nil
	}
	if f.Headers != a.headers {
		a.quirk("accepts ATH1 but prints no headers")
	}
	a.format = f
	return f, "", a.probeCount(ctx, raw)
}

// protocol chooses a bus, or with BusUnknown the adapter's search, and reports whether the
// adapter knows it. ATTP does so for this time only. Where an adapter refuses it, ATSP is
// left, which it keeps when the power goes: what was there is read first, and Close puts it back.
func (a *Adapter) protocol(ctx context.Context, b Bus) (bool, error) {
	n := strconv.Itoa(int(b))
	if a.kept == "" {
		answer, err := a.command(ctx, "ATTP"+n, second)
		if err != nil || strings.Contains(answer, "OK") {
			return err == nil, err
		}
		if a.kept, err = a.command(ctx, "ATDPN", second); err != nil {
			return false, err
		}
		if !protocolNumber(a.kept) {
			a.kept = "0"
		}
	}
	answer, err := a.command(ctx, "ATSP"+n, second)
	return strings.Contains(answer, "OK"), err
}

// protocolNumber tells whether text is what ATDPN prints.
func protocolNumber(text string) bool {
	text = strings.TrimPrefix(text, "A")
	return len(text) == 1 && hexDigit(text[0]) >= 0
}

// ask sends text, checked by its echo, and returns the raw answer.
func (a *Adapter) ask(ctx context.Context, text string, wait time.Duration) ([]byte, error) {
	for range 4 {
		if err := a.resync(ctx); err != nil {
			return nil, err
		}
		if err := a.pause(ctx); err != nil {
			return nil, err
		}
		raw, _, _, err := a.send(ctx, text, wait, nil)
		if errors.Is(err, errEcho) || errors.Is(err, errUnheard) {
			continue
		}
		if err == nil {
			a.last = text
		}
		return raw, err
	}
	return nil, errSilent
}

// current asks which bus the adapter is on: its number, behind an A when it was found
// by search.
func (a *Adapter) current(ctx context.Context) (Bus, error) {
	answer, err := a.command(ctx, "ATDPN", second)
	if err != nil {
		return BusUnknown, err
	}
	if len(answer) == 2 && answer[0] == 'A' {
		answer = answer[1:]
	}
	n, err := strconv.Atoi(answer)
	if err != nil || n < 0 || n > int(CAN29at250) {
		return BusUnknown, nil
	}
	return Bus(n), nil
}

// recognise finds the format in which raw answers the request for supported PIDs.
func (a *Adapter) recognise(raw []byte, b Bus) Format {
	if b == BusUnknown {
		return Format{}
	}
	for _, f := range []Format{
		{Bus: b, Headers: true, Padded: true},
		{Bus: b, Headers: true},
		{Bus: b},
	} {
		if f.Headers && !a.headers || f.Padded && !b.CAN() {
			continue
		}
		if _, o := Parse(raw, f, supported); o == OK {
			return f
		}
	}
	return Format{}
}

// probeCount learns whether the adapter takes the number of replies to wait for
// behind a request: the answer must then be the same.
func (a *Adapter) probeCount(ctx context.Context, raw []byte) error {
	want, _ := Parse(raw, a.format, supported)
	text := supported.Hex() + strconv.Itoa(len(want))
	if len(want) > 9 || a.noEcho {
		return nil
	}
	again, err := a.ask(ctx, text, a.timeout())
	if errors.Is(err, errSilent) {
		return nil
	}
	if err != nil {
		return err
	}
	got, _ := Parse(again, a.format, supported)
	a.counts = len(got) == len(want)
	for i := range got {
		a.counts = a.counts && slices.ContainsFunc(want, func(r Reply) bool {
			return r.From == got[i].From && slices.Equal(r.Data, got[i].Data)
		})
	}
	if !a.counts {
		a.quirk("takes no number of replies to wait for")
		a.outOfSync = true
	}
	return nil
}

// lastWords returns the last line of raw for people.
func lastWords(raw []byte) string {
	lines := strings.FieldsFunc(string(raw), func(r rune) bool { return r == '\r' || r == '\n' })
	for _, line := range slices.Backward(lines) {
		if t := printable(clean([]byte(line))); t != "" {
			return t
		}
	}
	return ""
}

// Close resets the adapter, so that it is as after power-up, and closes the line.
func (a *Adapter) Close(ctx context.Context) error {
	var err error
	if a.kept != "" {
		_, err = a.command(ctx, "ATSP"+a.kept, second)
	}
	if err == nil {
		_, err = a.reset(ctx)
	}
	if errors.Is(err, errSilent) || errors.Is(err, ErrLinkLost) || ctx.Err() != nil {
		err = nil // nothing more can be done for it
	}
	return errors.Join(err, a.link.Close())
}
