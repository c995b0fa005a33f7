package casework

import (
	"fmt"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// aDay is what theatre, wards and orders send of one person: eight messages.
func aDay(n string) []res {
	p := person(n).with("id", "p-"+n)
	who := "Patient/p-" + n
	stamped := func(r res, id, when string) res { return dated(r.with("id", id+"-"+n), when) }
	return []res{
		p,
		stamped(appointment(n, who, surgery), "a", "2026-09-08 10:01"),
		stamped(order(n, who), "o", "2026-09-08 10:01"),
		stamped(procedure(n, who, rightHip, surgery), "x", "2026-09-08 10:02"),
		stamped(appointment(n, who, "2027-02-01"), "a", "2026-09-08 10:05"),
		stamped(appointment(n, who, "2027-01-18"), "a", "2026-09-08 10:03"), // late
		stamped(infection(n, who, "active", ""), "c", "2026-09-08 10:04"),
		stamped(appointment(n, who, "2027-02-08"), "a", "2026-09-08 10:05"), // at one instant with another
	}
}

// The feed of a whole day, sent again, changes nothing and publishes nothing.
// COUNTBACK_DAY asks for a number of messages.
func TestAWholeDayIsSentAgain(t *testing.T) {
	want := 64
	if s := os.Getenv("COUNTBACK_DAY"); s != "" {
		var err error
		want, err = strconv.Atoi(s)
		require.NoError(t, err)
	}
	h := newHouse(t)
	var day []res
	for n := 0; len(day) < want; n++ {
		day = append(day, aDay(fmt.Sprint(n))...)
	}
	send := func() (changed int) {
		for _, r := range day {
			if h.put(r["resourceType"].(string)+"/"+r["id"].(string), r).Changed {
				changed++
			}
		}
		return changed
	}
	require.Greater(t, send(), len(day)/2)
	before, mark := h.everything(), h.mark()
	h.set("2026-09-09 10:22")
	require.Zero(t, send())
	require.Equal(t, mark, h.mark(), "nothing is published")
	after := h.everything()
	for _, table := range []string{"received", "feed"} { // kept, and counted
		require.NotEqual(t, before[table], after[table])
		delete(before, table)
		delete(after, table)
	}
	require.Equal(t, before, after)
	t.Logf("%d messages sent again changed nothing", len(day))
}
