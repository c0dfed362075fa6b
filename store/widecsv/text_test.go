package widecsv

import (
	"bytes"
	"context"
	"encoding/binary"
	"testing"
	"unicode/utf16"
)

// A table reads the same in each of the encodings that spreadsheets write. The bytes of
// Windows-1252 are of its code page: ° is B0, € is 80.
func TestEncodings(t *testing.T) {
	const table = "Zeit (s);Wasser (°C);Preis €\n0;85,5;1\n0,5;86;2\n"
	old := []byte("Zeit (s);Wasser (\xb0C);Preis \x80\n0;85,5;1\n0,5;86;2\n")
	wide := func(order binary.ByteOrder, mark bool) []byte {
		var b bytes.Buffer
		units := utf16.Encode([]rune(table))
		if mark {
			units = append([]uint16{0xfeff}, units...)
		}
		binary.Write(&b, order, units)
		return b.Bytes()
	}
	for name, text := range map[string][]byte{
		"UTF-8": []byte(table), "UTF-8 with a mark": append([]byte("\xef\xbb\xbf"), table...), "Windows-1252": old,
		"UTF-16 little": wide(binary.LittleEndian, true), "UTF-16 big": wide(binary.BigEndian, true),
		"UTF-16 little without a mark": wide(binary.LittleEndian, false), "UTF-16 big without a mark": wide(binary.BigEndian, false),
	} {
		var m Mapping
		for _, s := range []string{"Zeit (s)=t_s", "Wasser (°C)=ECT", "Preis €=RPM"} {
			c, err := ParseColumn(s)
			if err != nil {
				t.Fatal(err)
			}
			m.Columns = append(m.Columns, c)
		}
		if !Format.Is(text) {
			t.Errorf("%s: no table", name)
		}
		r, err := NewMapped(bytes.NewReader(text), m)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		rec, err := r.Next(context.Background())
		if err != nil || len(rec.Row.Values) != 2 || rec.Row.Values[0] != 85.5 || rec.Row.Values[1] != 1 {
			t.Errorf("%s: %+v, %v", name, rec.Row, err)
		}
	}
	if _, err := NewReader(bytes.NewReader([]byte("t_s,RPM\n0,8\x00\x810\n"))); err != nil {
		t.Error(err)
	}
}
