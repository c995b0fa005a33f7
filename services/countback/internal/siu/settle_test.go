package siu

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/hl7"
)

func TestSettle(t *testing.T) {
	both := parts{sch: "SCH|W-1^^2.999.4^ISO|A-1|||||||||^^^20261130073000^20261130093000", pid: "PID|||M-1^^^2.999.1~P-1^^^REG~N^^^NOBODY||Fern"}
	theatre := systems["THEATRE"]
	for _, c := range []struct {
		name          string
		held          map[string][]Held // by Type system|value
		person, books string            // what the requests ask for
	}{
		{"nothing is held", nil, "urn:oid:2.999.1|M-1", theatre + "|A-1"},
		{"the person under the first", map[string][]Held{"Patient urn:oid:2.999.1|M-1": {{ID: "a"}}}, "urn:oid:2.999.1|M-1", theatre + "|A-1"},
		{"the person under the second", map[string][]Held{"Patient " + systems["REG"] + "|P-1": {{ID: "a"}}}, systems["REG"] + "|P-1", theatre + "|A-1"},
		{"the person under both", map[string][]Held{"Patient urn:oid:2.999.1|M-1": {{ID: "a"}}, "Patient " + systems["REG"] + "|P-1": {{ID: "a"}}}, "urn:oid:2.999.1|M-1", theatre + "|A-1"},
		{"two people", map[string][]Held{"Patient urn:oid:2.999.1|M-1": {{ID: "a"}}, "Patient " + systems["REG"] + "|P-1": {{ID: "b"}}}, "", ""},
		{"the booking under SCH-2", map[string][]Held{"Appointment " + theatre + "|A-1": {{ID: "a"}}, "Appointment urn:oid:2.999.4|W-1": {{ID: "b"}}}, "urn:oid:2.999.1|M-1", theatre + "|A-1"},
		{"the booking under SCH-1 only", map[string][]Held{"Appointment urn:oid:2.999.4|W-1": {{ID: "b", Systems: []string{"urn:oid:2.999.4"}}}}, "urn:oid:2.999.1|M-1", "urn:oid:2.999.4|W-1"},
		{"another booking of the request", map[string][]Held{"Appointment urn:oid:2.999.4|W-1": {{ID: "b", Systems: []string{theatre, "urn:oid:2.999.4"}}}}, "urn:oid:2.999.1|M-1", theatre + "|A-1"},
		{"two bookings of the request", map[string][]Held{"Appointment urn:oid:2.999.4|W-1": {{ID: "b"}, {ID: "c"}}}, "urn:oid:2.999.1|M-1", theatre + "|A-1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, err := Map(both.message(t), options(t))
			require.NoError(t, err)
			err = b.Settle(func(typ, system, value string) ([]Held, error) { return c.held[typ+" "+system+"|"+value], nil })
			if c.person == "" {
				var faults hl7.Faults
				require.ErrorAs(t, err, &faults)
				require.Equal(t, "PID-3", faults[0].At.String())
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.person, b.entries[0].key.system+"|"+b.entries[0].key.value)
			require.Equal(t, c.books, b.entries[1].key.system+"|"+b.entries[1].key.value)
		})
	}
	b, err := Map(both.message(t), options(t))
	require.NoError(t, err)
	broken := errors.New("the database does not answer")
	require.ErrorIs(t, b.Settle(func(string, string, string) ([]Held, error) { return nil, broken }), broken)
}
