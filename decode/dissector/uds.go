package dissector

import (
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// UDS is what the analyser makes of one message of ISO 14229-1, in its own words.
type UDS struct {
	Hex     string `json:"message"`
	Reply   bool   `json:"reply,omitempty"`
	Text    string `json:"text"`             // its line: kind, service, and what follows
	Service string `json:"service"`          // 0x22
	ID      string `json:"id,omitempty"`     // data identifier
	Sub     string `json:"sub,omitempty"`    // of service 19
	Record  string `json:"record,omitempty"` // what follows identifier or sub-function, in hexadecimal
	Refused string `json:"refused,omitempty"`
	Code    string `json:"code,omitempty"` // why
}

// Request puts a message into frames as a tester sends it to all computers (7DF). It must fit one.
func Request(message []byte) Message {
	return Message{Data: message, Frames: []Frame{{0x7DF, append([]byte{byte(len(message))}, message...)}}}
}

// udsFields are the dissector's, in the order of the columns.
var udsFields = []string{"frame.number", "_ws.col.Protocol", "_ws.col.Info", "uds.sid", "uds.reply", "uds.rdbi.data_identifier", "uds.rdbi.data_record",
	"uds.rdtci.type", "uds.rdtci.record", "uds.err.sid", "uds.err.code"}

// DissectUDS is Dissect for messages of ISO 14229-1, requests among them.
func DissectUDS(messages []Message) ([]UDS, error) {
	dir, err := os.MkdirTemp("", "dissector")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "uds.pcap")
	capture, last := captureFile(messages)
	if err := os.WriteFile(file, capture, 0o600); err != nil {
		return nil, err
	}
	args := []string{"-n", "-Q", "-r", file, "-d", "can.subdissector,iso15765", "-d", "iso15765.subdissector,uds", "-T", "fields"}
	for _, f := range udsFields {
		args = append(args, "-e", f)
	}
	out, err := tshark(args...)
	if err != nil {
		return nil, err
	}
	all := make([]UDS, len(messages))
	for _, row := range strings.Split(strings.TrimRight(out, "\n"), "\n") {
		c := strings.Split(row, "\t")
		number, _ := strconv.Atoi(c[0])
		i, ends := last[number]
		if !ends || len(c) != len(udsFields) || c[1] != "UDS" {
			continue
		}
		all[i] = UDS{Hex: strings.ToUpper(hex.EncodeToString(messages[i].Data)), Reply: c[4] == "0x01", Text: strings.Join(strings.Fields(c[2]), " "),
			Service: c[3], ID: c[5], Record: strings.ToUpper(c[6] + c[8]), Sub: c[7], Refused: c[9], Code: c[10]}
	}
	for i, u := range all {
		if u.Hex == "" {
			return nil, fmt.Errorf("dissect %X: not taken for a message of ISO 14229", messages[i].Data)
		}
	}
	return all, nil
}
