package siu

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// The number of an identifier is a text without parts (ST, HL7 v2.5.1 chapter 2A,
// EI.1 and CX.1; from memory): two that differ only behind a separator that was sent
// without an escape must not become one person or one booking.
func TestNumbersAreNotCut(t *testing.T) {
	for sent, want := range map[string]string{
		"P-1":      "P-1",
		"P&1":      "P&1",
		"P&2":      "P&2",
		`P\T\1`:    "P&1", // the same with its escape
		" P-1&":    "P-1&",
		`A\F\1`:    "A|1",
		`A\E\1&\T`: `A\1&\T`,
	} {
		t.Run(sent, func(t *testing.T) {
			p := parts{
				sch: "SCH||" + sent + "|||||||||^^^20261130073000^20261130093000||||||||||||||Booked|" + sent + "^ORDERS",
				pid: "PID|||" + sent + "^^^REG||Fern^Ada", more: "AIP|||" + sent + "^Palewater^Ingrith^^^^^^STAFF",
			}
			for _, typ := range []string{"Patient", "Appointment", "Practitioner"} {
				require.Equal(t, want, get(p.mapped(t, typ), "identifier", "value"), typ)
			}
			require.Equal(t, want, get(p.mapped(t, "Appointment"), "basedOn", "identifier", "value"))
		})
	}
}
