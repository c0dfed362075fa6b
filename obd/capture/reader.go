package capture

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"pushback/obd"
)

// ErrNotCapture says that a file does not begin like a capture.
var ErrNotCapture = errors.New("not a capture of this program")

// ErrNoSession says that a capture tells no bus: the car was never found.
var ErrNoSession = errors.New("the capture holds no session: no car was found")

// Bounds of what is read, so that no file takes all the memory.
const (
	maxLine  = 1 << 20
	maxStart = 100_000 // lines before the session's format is told
	maxReply = 64 << 10
)

// Reader reads a capture as records.
type Reader struct {
	lines  *bufio.Scanner
	number int
	early  []event // read before the format was known
	about  string
	format obd.Format
	origin time.Duration

	entered  []byte // by the client, up to a return
	last     string // the request that a lone return repeats
	asked    *obd.Record
	echo     string // of the request, to be taken off
	raw      []byte
	deferred obd.Deferred
	printed  time.Duration // when the last visible character came
	ready    []obd.Record
	seq      int64
	at       time.Duration
	ended    bool
}

// event is one line of a capture.
type event struct {
	at    time.Duration
	sign  byte
	bytes []byte
	mark  obd.Mark
}

// NewReader begins to read, up to the line that tells the format. Errors are [ErrNotCapture],
// [ErrNoSession], those of r, and those that name a line.
func NewReader(r io.Reader) (*Reader, error) {
	c := &Reader{lines: bufio.NewScanner(r)}
	c.lines.Buffer(nil, maxLine)
	if !c.lines.Scan() || c.lines.Text() != header {
		if err := c.lines.Err(); err != nil && !errors.Is(err, bufio.ErrTooLong) {
			return nil, err
		}
		return nil, ErrNotCapture
	}
	c.number = 1
	for {
		e, err := c.line()
		if err == io.EOF || len(c.early) > maxStart {
			return nil, ErrNoSession
		}
		if err != nil {
			return nil, err
		}
		if e.sign != '=' {
			c.early = append(c.early, e)
			continue
		}
		if c.format, err = parseFormat(string(e.bytes)); err != nil {
			return nil, c.wrong(err.Error())
		}
		c.origin = e.at
		return c, nil
	}
}

// Format is how the replies are printed.
func (c *Reader) Format() obd.Format { return c.format }

// Description is what the comment before the format says of the session, "" if there is none.
func (c *Reader) Description() string { return c.about }

// Next returns the next record, and io.EOF after the last. Errors name the line.
func (c *Reader) Next(ctx context.Context) (obd.Record, error) {
	for {
		if err := ctx.Err(); err != nil {
			return obd.Record{}, err
		}
		if len(c.ready) > 0 {
			r := c.ready[0]
			c.ready = c.ready[1:]
			return r, nil
		}
		if c.ended {
			return obd.Record{}, io.EOF
		}
		var e event
		var err error
		if len(c.early) > 0 {
			e, c.early = c.early[0], c.early[1:]
		} else if e, err = c.line(); err == io.EOF {
			c.ended = true
			c.give(obd.TimedOut, c.at)
			continue
		} else if err != nil {
			return obd.Record{}, err
		}
		c.step(e)
	}
}

func (c *Reader) wrong(what string) error { return fmt.Errorf("capture, line %d: %s", c.number, what) }

// line reads the next line that is not a comment.
func (c *Reader) line() (event, error) {
	for {
		if !c.lines.Scan() {
			if err := c.lines.Err(); err != nil {
				return event{}, c.wrong(err.Error())
			}
			return event{}, io.EOF
		}
		c.number++
		text := c.lines.Text()
		if text == "" || text[0] == '#' {
			if about, ok := strings.CutPrefix(text, SessionComment); ok && c.about == "" {
				c.about = about
			}
			continue
		}
		at, rest, _ := strings.Cut(text, " ")
		sign, rest, ok := strings.Cut(rest, " ")
		seconds, err := strconv.ParseFloat(at, 64)
		if !ok || len(sign) != 1 || err != nil || !(seconds >= 0) || seconds > 1e8 {
			return event{}, c.wrong("is not a time, a sign and a text")
		}
		e := event{at: time.Duration(math.Round(seconds * 1e9)), sign: sign[0]}
		switch e.sign {
		case '>', '<', 'x':
			s, err := strconv.Unquote(rest)
			if err != nil {
				return event{}, c.wrong("its text is not quoted")
			}
			e.bytes = []byte(s)
		case '=':
			e.bytes = []byte(rest)
		case '!':
			kind, words, more := strings.Cut(rest, " ")
			e.mark.Kind = obd.MarkKind(kind)
			switch e.mark.Kind {
			case obd.MarkLean, obd.MarkRich, obd.MarkRelease, obd.MarkOpen, obd.MarkStep, obd.MarkNote, obd.MarkStop:
			default:
				return event{}, c.wrong("has an unknown mark")
			}
			if more {
				if e.mark.Text, err = strconv.Unquote(words); err != nil {
					return event{}, c.wrong("its text is not quoted")
				}
			}
		default:
			return event{}, c.wrong("has an unknown sign")
		}
		return e, nil
	}
}

func parseFormat(text string) (obd.Format, error) {
	words := strings.Fields(text)
	if len(words) == 0 {
		return obd.Format{}, errors.New("names no bus")
	}
	bus, err := obd.ParseBus(words[0])
	f := obd.Format{Bus: bus}
	for _, w := range words[1:] {
		switch w {
		case "headers":
			f.Headers = true
		case "padded":
			f.Padded = true
		case obd.J1979v2.String():
			f.Dialect = obd.J1979v2
		default:
			return f, fmt.Errorf("has an unknown word %q", w)
		}
	}
	return f, err
}

func (c *Reader) step(e event) {
	at := (e.at - c.origin).Truncate(time.Microsecond)
	switch e.sign {
	case '>':
		for i, b := range e.bytes {
			if b != '\r' {
				if len(c.entered) < maxLine {
					c.entered = append(c.entered, b)
				}
				continue
			}
			c.give(obd.TimedOut, at)
			c.ask(string(c.entered), string(e.bytes[:i]), at)
			c.entered = c.entered[:0]
		}
	case '<':
		if c.asked == nil {
			return
		}
		before, _, done := bytes.Cut(e.bytes, []byte(">"))
		if len(bytes.Trim(before, "\x00\r\n ")) > 0 || len(c.raw) == 0 {
			c.printed = at
		}
		if len(c.raw)+len(before) <= maxReply {
			c.raw = append(c.raw, before...)
		}
		if done {
			c.give(obd.OK, c.printed)
		}
	case 'x':
		c.give(obd.LinkLost, at)
	case '!':
		if at >= 0 {
			m := e.mark
			c.record(obd.Record{At: at, Mark: &m})
		}
	}
}

// ask begins an exchange if text is a request; what was sent of it together with the return
// comes back as echo.
func (c *Reader) ask(text, echo string, at time.Duration) {
	text = strings.ReplaceAll(text, " ", "") // an adapter takes no notice of blanks either
	if text == "" {
		text, echo = c.last, ""
	}
	c.last = text
	digits, expect := text, 0
	if len(digits)%2 == 1 {
		n, err := strconv.ParseUint(digits[len(digits)-1:], 16, 4)
		if err != nil {
			return
		}
		digits, expect = digits[:len(digits)-1], int(n)
	}
	req, err := obd.ReadWords(digits)
	if err != nil || at < 0 {
		return
	}
	req.Expect = expect
	c.asked, c.echo, c.raw, c.printed = &obd.Record{Exchange: &obd.Exchange{Request: req}, Sent: at}, echo, nil, at
}

// give ends an exchange that has begun. With OK the reply is whole and tells the outcome.
func (c *Reader) give(o obd.Outcome, at time.Duration) {
	x := c.asked
	if x == nil {
		return
	}
	c.asked = nil
	x.Outcome, x.At, x.Raw = o, max(at, x.Sent), c.withoutEcho()
	if o == obd.OK {
		x.Replies, x.Outcome = obd.Parse(x.Raw, c.format, x.Request)
	}
	c.deferred.Again(x)
	c.record(*x)
}

func (c *Reader) withoutEcho() []byte {
	left := c.echo
	for i, b := range c.raw {
		if left == "" {
			return c.raw[i:]
		}
		if b == left[0] {
			left = left[1:]
		} else if b > ' ' {
			break
		}
	}
	return c.raw
}

func (c *Reader) record(r obd.Record) {
	r.At = max(r.At, c.at)
	r.Seq, c.at = c.seq, r.At
	c.seq++
	c.ready = append(c.ready, r)
}
