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

// searchOrder is how buses are tried: those that one question can tell of together, the common ones
// first, those with a slow start last.
var searchOrder = [][]Bus{{CAN11at500, CAN29at500}, {CAN11at250, CAN29at250}, {PWM}, {VPW}, {ISO14230Fast}, {ISO9141}, {ISO14230Slow}}

// supported is the request that every vehicle answers (SAE J1979): which PIDs are supported. In
// the words of J1979-2 it is 22F400.
var supported = Request{Service: 0x01, Data: []byte{0x00}}

// version is, in the words of J1979-2, its first question: what the car speaks (22F810). Some vans
// do not know it, so it is asked only where nobody has answered the other.
var version = Request{Service: 0x09, Data: []byte{0x10}}

// Vain is a bus on which nobody has answered which PIDs are supported, as J1979 has it.
type Vain struct {
	Bus  Bus
	Said Outcome
}

// FindBus makes the adapter talk on the bus that is wanted, or with BusUnknown on
// the one that it finds: one by one, then by the adapter's own search. A CAN bus that is there, but
// where nobody answers as J1979 has it, is asked as J1979-2 has it. It also learns
// whether headers are printed and whether the adapter takes a number of replies to wait for.
// Buses that were asked in vain just now are not asked again so but by the adapter's search.
//
// When no vehicle answers the error is a [*NoVehicleError]; others are
// [ErrNoAdapter], [ErrLinkLost], or the context's.
func (a *Adapter) FindBus(ctx context.Context, want Bus, vain ...Vain) (Format, error) {
	a.format, a.counts, a.heard = Format{}, false, nil
	s := search{Adapter: a, said: map[Bus]string{}}
	for _, v := range vain {
		if v.Said == NoData || v.Said == BusError {
			s.said[v.Bus] = ""
			s.mark(v.Bus, v.Said)
		}
	}
	f, said, err := s.find(ctx, want)
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

// search is one search for a bus.
type search struct {
	*Adapter
	said  map[Bus]string // the adapter's words where nobody answered
	on    Bus            // on which the adapter is; BusUnknown: its own search
	there []Bus          // CAN buses on which somebody takes what is sent, though nobody answers
}

func (s *search) mark(b Bus, o Outcome) {
	if b.CAN() && o != BusError && o != AdapterReset && !slices.Contains(s.there, b) {
		s.there = append(s.there, b)
	}
}

// find returns Format{} and the adapter's last words when no vehicle answers.
func (s *search) find(ctx context.Context, want Bus) (f Format, said string, err error) {
	if want != BusUnknown {
		for range 2 { // a car that was just switched on may miss the first
			if f, err = s.group(ctx, []Bus{want}, true); err != nil || f.Bus != BusUnknown {
				return f, "", err
			}
		}
		return Format{}, s.said[want], s.listen(ctx, []Bus{want})
	}
	s.tell(BusUnknown)
	for _, buses := range searchOrder {
		if buses[0].CAN() && slices.ContainsFunc(s.there, func(b Bus) bool { return !slices.Contains(buses, b) }) {
			continue // of another speed than the one that is there
		}
		if f, err = s.group(ctx, buses, false); err != nil || f.Bus != BusUnknown {
			return f, "", err
		}
	}
	if f, err = s.try(ctx, BusUnknown); err != nil || f.Bus != BusUnknown {
		return f, "", err
	}
	for _, buses := range searchOrder {
		if !buses[0].CAN() {
			break
		}
		if f, err = s.group(ctx, slices.DeleteFunc(slices.Clone(buses), func(b Bus) bool { _, asked := s.said[b]; return asked }), true); err != nil || f.Bus != BusUnknown {
			return f, "", err
		}
	}
	for _, b := range s.there { // an adapter may make nothing good of whole frames
		if f, err = s.introduce(ctx, b, plain); err != nil || f.Bus != BusUnknown {
			return f, "", err
		}
	}
	for _, b := range append([]Bus{BusUnknown}, slices.Concat(searchOrder...)...) {
		if said == "" {
			said = s.said[b]
		}
	}
	return Format{}, said, s.listen(ctx, s.there)
}

// group asks on buses of one kind, in both dialects: on CAN of one speed, where the second is asked only
// if the first is there, or all is wanted.
func (s *search) group(ctx context.Context, buses []Bus, all bool) (f Format, err error) {
	for i, b := range buses {
		if i > 0 && !all && !slices.Contains(s.there, buses[0]) {
			break
		}
		if _, asked := s.said[b]; asked && !all {
			continue
		}
		if f, err = s.try(ctx, b); err != nil || f.Bus != BusUnknown {
			return f, err
		}
	}
	for _, by := range []framing{framed, plain} {
		if by == plain && s.framing == framed && !all {
			break // at the end of the search
		}
		for _, b := range buses {
			if !slices.Contains(s.there, b) {
				continue
			}
			if f, err = s.introduce(ctx, b, by); err != nil || f.Bus != BusUnknown {
				return f, err
			}
		}
	}
	return Format{}, nil
}

func (s *search) tell(b Bus) {
	if s.opts.Trying != nil {
		s.opts.Trying(b)
	}
}

// try asks on one bus, or with BusUnknown lets the adapter search, in the words of J1979.
func (s *search) try(ctx context.Context, b Bus) (Format, error) {
	if b != BusUnknown {
		s.tell(b)
	}
	s.on = b
	if ok, err := s.protocol(ctx, b); err != nil || !ok {
		return Format{}, err
	}
	if _, err := s.frames(ctx, plain); err != nil {
		return Format{}, err
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
	raw, err := s.ask(ctx, supported.Hex(), wait)
	for end := s.clock.Now().Add(deferredMost); err == nil && s.putOff(raw, b, J1979) && s.clock.Now().Before(end); {
		raw, err = s.ask(ctx, supported.Hex(), wait)
	}
	if errors.Is(err, errSilent) {
		return Format{}, nil
	}
	if err != nil {
		return Format{}, err
	}
	s.said[b] = lastWords(raw)
	if b == BusUnknown {
		if b, err = s.current(ctx); err != nil {
			return Format{}, err
		}
	}
	f := s.recognise(raw, b, supported, J1979)
	if f.Bus == BusUnknown {
		_, o := Parse(raw, Format{Bus: b, Headers: s.headers}, supported)
		s.mark(b, o)
		return f, nil
	}
	return f, s.use(ctx, f, raw)
}

// use takes the format that the answer raw to the question for supported PIDs has shown.
func (a *Adapter) use(ctx context.Context, f Format, raw []byte) error {
	if f.Headers != a.headers {
		a.quirk("accepts ATH1 but prints no headers")
	}
	a.format = f
	return a.probeCount(ctx, raw)
}

// introduce asks on a CAN bus in the words of J1979-2, which we make frames or the adapter does. Without headers
// it hides the lengths of replies only where it makes frames itself.
func (s *search) introduce(ctx context.Context, b Bus, by framing) (Format, error) {
	if by == framed && (!s.headers || s.noEcho) {
		return Format{}, nil
	}
	if ok, err := s.frames(ctx, by); err != nil || !ok && by == framed {
		return Format{}, err
	}
	raw, err := s.askSecond(ctx, b, supported)
	for end := s.clock.Now().Add(deferredMost); err == nil && s.putOff(raw, b, J1979v2) && s.clock.Now().Before(end); {
		raw, err = s.askSecond(ctx, b, supported)
	}
	if err != nil {
		return Format{}, err
	}
	f := s.recognise(raw, b, supported, J1979v2)
	if f.Bus == BusUnknown {
		return f, nil
	}
	return f, s.use(ctx, f, raw)
}

// askSecond asks a question in the words of J1979-2 on a CAN bus and returns what came, if anything.
func (s *search) askSecond(ctx context.Context, b Bus, req Request) ([]byte, error) {
	text, _ := J1979v2.Words(req)
	if !s.sends(text) {
		s.quirk("no echo: a request that could turn into another on its way is not sent")
		return nil, nil
	}
	if s.on != b {
		s.on = b
		if _, err := s.protocol(ctx, b); err != nil {
			return nil, err
		}
	}
	i := slices.IndexFunc(s.heard, func(h Heard) bool { return h.Bus == b })
	if i < 0 {
		i = len(s.heard)
		s.heard = append(s.heard, Heard{Bus: b, Said: s.said[b], Asked: []string{supported.Hex()}})
	}
	if !slices.Contains(s.heard[i].Asked, text) {
		s.heard[i].Asked = append(s.heard[i].Asked, text)
	}
	raw, err := s.ask(ctx, s.line(text), 3*second)
	if errors.Is(err, errSilent) {
		return nil, nil
	}
	return raw, err
}

// listen finds out what there is on CAN buses where nobody has answered.
func (s *search) listen(ctx context.Context, buses []Bus) error {
	for _, b := range buses {
		if !slices.Contains(s.there, b) {
			continue
		}
		if _, err := s.askSecond(ctx, b, version); err != nil {
			return err
		}
		if b.IDBits() != 29 {
			continue
		}
		ids, err := s.overhear(ctx)
		if err != nil {
			return err
		}
		for i := range s.heard {
			if s.heard[i].Bus == b {
				s.heard[i].HeavyDuty = ids
			}
		}
	}
	return nil
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
	kept := a.kept
	if kept == "" {
		answer, err := a.command(ctx, "ATTP"+n, second)
		if err != nil || strings.Contains(answer, "OK") {
			return err == nil, err
		}
		if kept, err = a.command(ctx, "ATDPN", second); err != nil {
			return false, err
		}
		if !protocolNumber(kept) {
			kept = "0"
		}
	}
	answer, err := a.command(ctx, "ATSP"+n, second)
	ok := strings.Contains(answer, "OK")
	if ok { // else it may know ATTP, but not this bus
		a.kept = kept
	}
	return ok, err
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

// probeCount learns whether the adapter takes the number of replies to wait for
// behind a request: the answer must then be the same.
func (a *Adapter) probeCount(ctx context.Context, raw []byte) error {
	want, _ := Parse(raw, a.format, supported)
	words, _ := a.format.Dialect.Words(supported)
	text := a.line(words) + strconv.Itoa(len(want))
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
