package obd

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Identity is what an adapter says of itself.
type Identity struct {
	Text    string   // its name and version as it prints them
	Voltage float64  // at the car's connector, V; 0 unknown
	Quirks  []string // what it refused or does differently, for people
}

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
	a.framing = plain
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
		a.framing = unsure
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
	Framed  bool // requests go out as whole CAN frames
}

// Known returns what was found out.
func (a *Adapter) Known() Known {
	return Known{Format: a.format, Counts: a.counts, Repeats: a.repeats == does, Framed: a.framing == framed}
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
	if err := a.take(ctx, k); err != nil {
		return fmt.Errorf("use bus: %w", err)
	}
	return nil
}

func (a *Adapter) take(ctx context.Context, k Known) error {
	want := plain
	if k.Framed {
		want = framed
	}
	ok, err := a.frames(ctx, want)
	if errors.Is(err, errSilent) {
		err = ErrNoAdapter
	}
	if err == nil && !ok && want == framed {
		_, err = a.frames(ctx, plain)
	}
	if err != nil {
		return err
	}
	a.format, a.counts, a.repeats = k.Format, k.Counts, untried
	if k.Repeats {
		a.repeats = does
	}
	return nil
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
	if err := a.take(ctx, k); err != nil {
		return false, fmt.Errorf("ask for bus: %w", err)
	}
	return true, nil
}

// Again sends the settings again after trouble, without a reset: that is quicker
// than Start, and enough unless the adapter is confused. Use or FindBus must follow.
// The errors are those of Start.
func (a *Adapter) Again(ctx context.Context) error {
	a.outOfSync = true
	if a.framing == framed {
		a.framing = unsure
	}
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
