package widecsv

import (
	"bytes"
	"encoding/binary"
	"io"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"pushback/decode"
)

// utf16Order finds out whether a text is UTF-16: by its mark, or since the first two letters,
// which are of ASCII in any table, have a zero byte each. nil: it is not.
func utf16Order(head []byte) binary.ByteOrder {
	switch {
	case len(head) < 4:
	case bytes.HasPrefix(head, []byte("\xff\xfe")), head[0] != 0 && head[1] == 0 && head[2] != 0 && head[3] == 0:
		return binary.LittleEndian
	case bytes.HasPrefix(head, []byte("\xfe\xff")), head[0] == 0 && head[1] != 0 && head[2] == 0 && head[3] != 0:
		return binary.BigEndian
	}
	return nil
}

// fromUTF16 reads UTF-16 as UTF-8.
type fromUTF16 struct {
	in    io.Reader
	order binary.ByteOrder
	high  rune   // of a pair, whose second half comes next; 0: none
	out   []byte // not yet given
	err   error
}

func (r *fromUTF16) Read(p []byte) (int, error) {
	var unit [4096]byte
	for len(r.out) == 0 && r.err == nil {
		var n int
		if n, r.err = io.ReadFull(r.in, unit[:]); r.err == io.ErrUnexpectedEOF {
			r.err = io.EOF
		}
		for i := 0; i+1 < n; i += 2 {
			u := rune(r.order.Uint16(unit[i:]))
			if r.high != 0 {
				r.out = utf8.AppendRune(r.out, utf16.DecodeRune(r.high, u))
				r.high = 0
			} else if u >= 0xd800 && u < 0xdc00 {
				r.high = u
			} else {
				r.out = utf8.AppendRune(r.out, u) // half a pair becomes the sign of replacement
			}
		}
	}
	if len(r.out) == 0 {
		return 0, r.err
	}
	n := copy(p, r.out)
	r.out = r.out[n:]
	return n, nil
}

// windows1252 are the letters 0x80 to 0x9F of that code page; the others are Latin 1's. Zero: there
// is none (WHATWG Encoding Standard, index windows-1252, where those are control characters).
var windows1252 = [32]rune{'€', 0, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', 0, 'Ž', 0,
	0, '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', 0, 'ž', 'Ÿ'}

// fromWindows1252 reads a line that is not UTF-8 as what older programs write; false where that
// cannot be either.
func fromWindows1252(line []byte) (string, bool) {
	var out []byte
	for _, b := range line {
		r := rune(b)
		if b >= 0x80 && b < 0xa0 {
			if r = windows1252[b-0x80]; r == 0 {
				return "", false
			}
		}
		if r < ' ' && r != '\t' {
			return "", false
		}
		out = utf8.AppendRune(out, r)
	}
	return string(out), true
}

// nearest returns the known column that differs least from name, if that is little.
func nearest(name string) string {
	if len(name) > 64 {
		return ""
	}
	best, least := "", 1+max(1, len(name)/3)
	try := func(known string) {
		if d := distance(strings.ToUpper(name), strings.ToUpper(known)); d < least {
			best, least = known, d
		}
	}
	try(timeColumn)
	try(markColumn)
	for _, s := range decode.Signals() {
		try(s.Name)
	}
	return best
}

// distance is Levenshtein's: the insertions, deletions and replacements between two words.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diag := row[0]
		row[0] = i + 1
		for j := range len(b) {
			d := diag
			if a[i] != b[j] {
				d++
			}
			diag = row[j+1]
			row[j+1] = min(d, row[j]+1, diag+1)
		}
	}
	return row[len(b)]
}
