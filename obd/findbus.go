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

// NoVehicleError tells why no vehicle was found; it is an [ErrNoVehicle].
type NoVehicleError struct {
	Said    string  // the adapter's last words
	Voltage float64 // at the car's connector, V; 0 unknown
	Heard   []Heard // of the buses that were tried one by one and were there
}

// Heard is what came of asking on one bus where nobody answered.
type Heard struct {
	Bus       Bus
	Said      string   // the adapter's words to the first question
	Asked     []string // the questions, as sent
	HeavyDuty []string // identifiers of SAE J1939, the language of trucks, that passed by
}

func (e *NoVehicleError) Error() string {
	text := "find bus: " + ErrNoVehicle.Error()
	if e.Said != "" {
		text += fmt.Sprintf(" (it says %q)", e.Said)
	}
	if e.Voltage > 0 {
		text += fmt.Sprintf(", %.1f V at the connector", e.Voltage)
	}
	for _, h := range e.Heard {
		switch {
		case len(h.HeavyDuty) > 0:
			text += fmt.Sprintf("; on %v others talk as trucks do (SAE J1939: %s), which is another language", h.Bus, strings.Join(h.HeavyDuty, " "))
		case len(h.Asked) > 1:
			text += fmt.Sprintf("; on %v nobody answers %s (%q)", h.Bus, strings.Join(h.Asked, ", "), h.Said)
		}
	}
	return text
}

func (e *NoVehicleError) Unwrap() error { return ErrNoVehicle }

// Is tells [ErrHeavyDuty] and [ErrSilentBus] by what was heard.
func (e *NoVehicleError) Is(target error) bool {
	truck := slices.ContainsFunc(e.Heard, func(h Heard) bool { return len(h.HeavyDuty) > 0 })
	switch target {
	case ErrHeavyDuty:
		return truck
	case ErrSilentBus:
		return !truck && len(e.Heard) > 0
	}
	return false
}

// searchOrder is how buses are tried one by one: the common ones first, those
// with a slow start last.
var searchOrder = []Bus{CAN11at500, CAN29at500, CAN11at250, CAN29at250, ISO14230Fast, VPW, PWM, ISO14230Slow, ISO9141}

// supported is the request that every vehicle answers (SAE J1979): which PIDs
// are supported.
var supported = Request{Service: 0x01, Data: []byte{0x00}}

// introductions are the first questions in the words of J1979-2, in order: what the car speaks
// (F810), and because some vans do not know that, which PIDs are supported. They are the
// requests of J1979 that stand for them.
var introductions = []Request{{Service: 0x09, Data: []byte{0x10}}, supported}

// FindBus makes the adapter talk on the bus that is wanted, or with BusUnknown on
// the one that it finds: by its own search, and if that fails one by one. There a CAN bus
// on which nobody answers as J1979 has it is asked as J1979-2 has it. It also learns
// whether headers are printed and whether the adapter takes a number of replies to wait for.
//
// When no vehicle answers the error is a [*NoVehicleError]; others are
// [ErrNoAdapter], [ErrLinkLost], or the context's.
func (a *Adapter) FindBus(ctx context.Context, want Bus) (Format, error) {
	a.format, a.counts, a.heard = Format{}, false, nil
	f, said, err := a.search(ctx, want)
	if err == nil && f.Bus == BusUnknown {
		none := &NoVehicleError{Said: said, Heard: a.heard}
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
	fixed := b
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
	words := lastWords(raw)
	f := a.recognise(raw, b, supported, J1979)
	if f.Bus == BusUnknown && fixed.CAN() {
		if f, raw, err = a.introduce(ctx, fixed, raw); err != nil || f.Bus == BusUnknown {
			return Format{}, words, err
		}
	}
	if f.Bus == BusUnknown {
		return f, words, nil
	}
	if f.Headers != a.headers {
		a.quirk("accepts ATH1 but prints no headers")
	}
	a.format = f
	return f, "", a.probeCount(ctx, raw)
}

// introduce asks on a CAN bus in the words of J1979-2, after raw came of J1979's first question.
// It returns the format and the answer to the question for supported PIDs.
func (a *Adapter) introduce(ctx context.Context, b Bus, raw []byte) (Format, []byte, error) {
	if _, o := Parse(raw, Format{Bus: b, Headers: a.headers}, supported); o == BusError || o == AdapterReset {
		return Format{}, nil, nil // there is no such bus
	}
	heard := Heard{Bus: b, Said: lastWords(raw), Asked: []string{supported.Hex()}}
	for _, req := range introductions {
		text, _ := J1979v2.Words(req)
		if !a.sends(text) {
			a.quirk("no echo: a request that could turn into another on its way is not sent")
			break
		}
		heard.Asked = append(heard.Asked, text)
		raw, err := a.ask(ctx, text, 3*second)
		if errors.Is(err, errSilent) {
			return Format{}, nil, nil
		}
		if err != nil {
			return Format{}, nil, err
		}
		if f := a.recognise(raw, b, req, J1979v2); f.Bus != BusUnknown && req.Service == supported.Service {
			return f, raw, nil
		}
	}
	var err error
	if b.IDBits() == 29 {
		heard.HeavyDuty, err = a.overhear(ctx)
	}
	a.heard = slices.DeleteFunc(a.heard, func(h Heard) bool { return h.Bus == b })
	a.heard = append(a.heard, heard)
	return Format{}, nil, err
}

// overhear listens to what others say on the bus for a moment, and returns the identifiers
// that are of SAE J1939: all of 29 bits but those of ISO 15765-4, 18DAxxxx and 18DBxxxx.
func (a *Adapter) overhear(ctx context.Context) ([]string, error) {
	if err := a.resync(ctx); err != nil {
		return nil, err
	}
	if err := a.write("ATMA\r"); err != nil {
		return nil, err
	}
	a.outOfSync = true // any character ends it
	said, err := a.until(ctx, 3*slice, ">")
	if err != nil && !errors.Is(err, errSilent) {
		return nil, err
	}
	return heavyDuty(said), nil
}

// heavyDuty returns the first identifiers of SAE J1939 in what an adapter prints of others.
func heavyDuty(said string) (ids []string) {
	for _, line := range strings.FieldsFunc(said, func(r rune) bool { return r == '\r' || r == '\n' || r == '>' }) {
		b, ok := hexBytes(line)
		if !ok || len(b) < 5 || b[0] > 0x1F || b[1] == 0xDA || b[1] == 0xDB {
			continue
		}
		if id := fmt.Sprintf("%X", b[:4]); !slices.Contains(ids, id) && len(ids) < 4 {
			ids = append(ids, id)
		}
	}
	return ids
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

// recognise finds the format in which raw answers a request.
func (a *Adapter) recognise(raw []byte, b Bus, req Request, d Dialect) Format {
	if b == BusUnknown {
		return Format{}
	}
	for _, f := range []Format{
		{Bus: b, Headers: true, Padded: true, Dialect: d},
		{Bus: b, Headers: true, Dialect: d},
		{Bus: b, Dialect: d},
	} {
		if f.Headers && !a.headers || f.Padded && !b.CAN() {
			continue
		}
		if _, o := Parse(raw, f, req); o == OK {
			return f
		}
	}
	return Format{}
}

// probeCount learns whether the adapter takes the number of replies to wait for
// behind a request: the answer must then be the same.
func (a *Adapter) probeCount(ctx context.Context, raw []byte) error {
	want, _ := Parse(raw, a.format, supported)
	words, _ := a.format.Dialect.Words(supported)
	text := words + strconv.Itoa(len(want))
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
