// Package dissector has OBD-II replies decoded by Debian's general-purpose network analyser,
// an implementation of SAE J1979 by other people, for tests to compare with. The analyser
// (tshark) takes a capture file of CAN frames, puts ISO 15765-2 messages together by
// itself, and decodes one PID a message.
package dissector

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
)

// Frame is one frame on a CAN bus.
type Frame struct {
	ID   uint32 // above 7FF it is one of 29 bits
	Data []byte // at most 8 bytes
}

// Reply is one message and what the dissector makes of it.
type Reply struct {
	Hex       string             `json:"reply"`
	Fields    map[string]float64 `json:"fields"` // in its own names and units
	VIN       string             `json:"vin,omitempty"`
	Percent   []float64          `json:"percent,omitempty"`   // from its line of text, rounded to two decimals
	Supported []string           `json:"supported,omitempty"` // PIDs of a bitmap
	Sensors   []string           `json:"sensors,omitempty"`   // of PIDs 13 and 1D
}

// Message is the frames that carry one message of a computer.
type Message struct {
	Data   []byte // its service byte first
	Frames []Frame
}

// Available reports whether the analyser is on this machine.
func Available() bool {
	_, err := exec.LookPath("tshark")
	return err == nil
}

// Segment puts a message into frames as the engine's computer sends it (7E8), with the
// tester's flow control after the first of several.
func Segment(message []byte) Message {
	m := Message{Data: message}
	if len(message) <= 7 {
		m.Frames = []Frame{{0x7E8, append([]byte{byte(len(message))}, message...)}}
		return m
	}
	m.Frames = []Frame{{0x7E8, append([]byte{0x10 | byte(len(message)>>8), byte(len(message))}, message[:6]...)}, {0x7E0, []byte{0x30, 0, 0}}}
	for i, at := 1, 6; at < len(message); i, at = i+1, at+7 {
		m.Frames = append(m.Frames, Frame{0x7E8, append([]byte{0x20 | byte(i)&0x0F}, message[at:min(at+7, len(message))]...)})
	}
	return m
}

// Dissect returns what the analyser makes of each message. The error says which message
// it did not take for one of OBD-II.
func Dissect(messages []Message) ([]Reply, error) {
	fields, err := fieldNames()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "dissector")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "replies.pcap")
	capture, last := captureFile(messages)
	if err := os.WriteFile(file, capture, 0o600); err != nil {
		return nil, err
	}
	args := []string{"-n", "-Q", "-r", file, "-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector,obd-ii",
		"-T", "fields", "-e", "frame.number", "-e", "_ws.col.Protocol", "-e", "_ws.col.Info"}
	for _, f := range fields {
		args = append(args, "-e", f)
	}
	out, err := tshark(args...)
	if err != nil {
		return nil, err
	}
	replies := make([]Reply, len(messages))
	for _, row := range strings.Split(strings.TrimSpace(out), "\n") {
		cells := strings.Split(row, "\t")
		number, _ := strconv.Atoi(cells[0])
		if i, ends := last[number]; ends && len(cells) >= 3 && cells[1] == "OBD-II" {
			if replies[i], err = newReply(messages[i].Data, cells[2], fields, cells[3:]); err != nil {
				return nil, err
			}
		}
	}
	for i, r := range replies {
		if r.Hex == "" {
			return nil, fmt.Errorf("dissect %X: not taken for a message of OBD-II", messages[i].Data)
		}
	}
	return replies, nil
}

func tshark(args ...string) (string, error) {
	cmd := exec.Command("tshark", args...)
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8")
	out, err := cmd.Output()
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
		err = fmt.Errorf("run tshark: %w: %s", err, exit.Stderr)
	}
	return string(out), err
}

// fieldNames lists the dissector's fields of services 01 and 09.
func fieldNames() ([]string, error) {
	out, err := tshark("-G", "fields")
	if err != nil {
		return nil, err
	}
	var names []string
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^F\t[^\t]*\t(obd-ii\.(?:mode01_\w+|VIN))\t`).FindAllStringSubmatch(out, -1) {
		if !seen[m[1]] {
			seen[m[1]] = true
			names = append(names, m[1])
		}
	}
	return names, nil
}

// captureFile writes the frames in the format of the first packet capture programs, with
// link type 227 (CAN as Linux has it), and tells which frame, from 1 on, ends which message.
func captureFile(messages []Message) (file []byte, last map[int]int) {
	var b bytes.Buffer
	put := func(order binary.ByteOrder, v any) { _ = binary.Write(&b, order, v) } // a Buffer takes all
	put(binary.LittleEndian, []uint32{0xA1B2C3D4, 4<<16 | 2, 0, 0, 65535, 227})
	last = map[int]int{}
	number := 0
	for i, m := range messages {
		for _, f := range m.Frames {
			id := f.ID
			if id > 0x7FF {
				id |= 1 << 31
			}
			var data [8]byte
			copy(data[:], f.Data)
			put(binary.LittleEndian, []uint32{uint32(number), 0, 16, 16})
			put(binary.BigEndian, id)
			put(binary.BigEndian, []byte{8, 0, 0, 0})
			put(binary.BigEndian, data)
			number++
		}
		last[number] = i
	}
	return b.Bytes(), last
}

var (
	percents = regexp.MustCompile(`(-?[\d.]+) %`)
	hexPIDs  = regexp.MustCompile(`\b[0-9A-F]{2}\b`)
	banks    = regexp.MustCompile(`Bank(\d) sensors: ([\d ]+)`)
)

func newReply(data []byte, info string, names, values []string) (Reply, error) {
	r := Reply{Hex: strings.ToUpper(hex.EncodeToString(data)), Fields: map[string]float64{}}
	for i, v := range values {
		name := strings.TrimPrefix(strings.TrimPrefix(names[i], "obd-ii."), "mode01_")
		switch {
		case v == "" || name == "pid" || name == "unsupported_pid" || strings.HasPrefix(name, "supported_pid"):
			continue
		case name == "VIN":
			r.VIN = v
			continue
		}
		x, err := strconv.ParseFloat(v, 64)
		if err != nil {
			n, hexErr := strconv.ParseUint(v, 0, 64) // 0x…
			if hexErr != nil {
				return Reply{}, fmt.Errorf("read %s of %s: %w", name, r.Hex, err)
			}
			x = float64(n)
		}
		r.Fields[name] = x
	}
	for _, m := range percents.FindAllStringSubmatch(info, -1) {
		x, err := strconv.ParseFloat(m[1], 64)
		if err != nil {
			return Reply{}, fmt.Errorf("read the text of %s: %w", r.Hex, err)
		}
		r.Percent = append(r.Percent, x)
	}
	if strings.Contains(info, "supported [") {
		_, list, _ := strings.Cut(info, "]:")
		r.Supported = hexPIDs.FindAllString(list, -1)
	}
	if strings.Contains(info, "sensors present") {
		for _, m := range banks.FindAllStringSubmatch(info, -1) {
			for _, n := range strings.Fields(m[2]) {
				r.Sensors = append(r.Sensors, "B"+m[1]+"S"+n)
			}
		}
	}
	return r, nil
}
