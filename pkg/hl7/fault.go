package hl7

import (
	"fmt"
	"strings"
)

// Codes of table 0357, message error condition codes.
const (
	CodeAccepted     = 0
	CodeSequence     = 100 // segment sequence error
	CodeRequired     = 101 // required field missing
	CodeDataType     = 102
	CodeTable        = 103 // table value not found
	CodeTooLong      = 104
	CodeOther        = 199
	CodeMessageType  = 200
	CodeEvent        = 201
	CodeProcessing   = 202
	CodeVersion      = 203
	CodeUnknownKey   = 204
	CodeDuplicateKey = 205
	CodeApplication  = 207
)

// displays are the meanings of table 0357.
var displays = map[int]string{
	CodeAccepted: "Message accepted", CodeSequence: "Segment sequence error", CodeRequired: "Required field missing",
	CodeDataType: "Data type error", CodeTable: "Table value not found", CodeTooLong: "Value too long", CodeOther: "Other HL7 Error",
	CodeMessageType: "Unsupported message type", CodeEvent: "Unsupported event code", CodeProcessing: "Unsupported processing id",
	CodeVersion: "Unsupported version id", CodeUnknownKey: "Unknown key identifier", CodeDuplicateKey: "Duplicate key identifier",
	CodeApplication: "Application error",
}

// Location is a place in a message, as ERR-2 (data type ERL) names it. What
// is 0 is not named.
type Location struct {
	Segment                                    string
	Number                                     int // among the segments of its name, from 1
	Field, Repetition, Component, Subcomponent int
}

// String is the place as people write it: PID[2]-3, or the empty string.
func (l Location) String() string {
	out := l.Segment
	if l.Number > 1 {
		out += fmt.Sprintf("[%d]", l.Number)
	}
	if l.Field > 0 {
		out += fmt.Sprintf("-%d", l.Field)
		if l.Component > 0 {
			out += fmt.Sprintf(".%d", l.Component)
		}
	}
	return out
}

// Fault is what is wrong at one place, or what the sender should know of it.
type Fault struct {
	At       Location
	Code     int    // of table 0357
	Severity string // of table 0516: E error, W warning, I information; empty: E
	Text     string // what is wrong; nothing of what was sent
	// Reject is set where the message is none that is taken at all, whatever it
	// says: AR in place of AE.
	Reject bool
}

func (f Fault) Error() string {
	if at := f.At.String(); at != "" {
		return at + " " + f.Text
	}
	return f.Text
}

// Faults are all that is wrong with a message.
type Faults []Fault

func (f Faults) Error() string {
	var out []string
	for _, one := range f {
		out = append(out, one.Error())
	}
	return strings.Join(out, "; ")
}
