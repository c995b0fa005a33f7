package translate

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// A booking without a date has no next operating day, and the plan of one is
// still written: the search for a day must end.
func TestNoNextOperatingDayWithoutADate(t *testing.T) {
	f := chicago(t)
	require.True(t, f.nextOperating(0).IsZero())
	words := f.safeWords(&readiness.Plan{State: readiness.CaseHeld}, &readiness.Safe{}, defaultProtocol(t))
	require.NotContains(t, words, "The next operating day")
}

// A day that rests on what is late or soon due says so in its first sentence, and
// then what it is and until when it is in time.
func TestDayIfDoneInTime(t *testing.T) {
	p := defaultProtocol(t)
	at := func(day int) readiness.Moment { return readiness.Moment{Day: calendar.NewDate(2026, 12, day)} }
	safe := readiness.Safe{Day: at(9).Day, Run: 3, Pressing: []readiness.Pressing{
		{Key: readiness.Key{Step: "screening-bloods"}, Due: at(1), Over: true, By: at(3)},
		{Key: readiness.Key{Step: "joint-class"}, Due: at(4), By: at(8)},
		{Key: readiness.Key{Step: "skin-check"}, Due: at(8), By: at(8)},
	}}
	done := "It holds only if these are done in time: “Early blood tests” by Thu 3 Dec 2026 (its due day, Tue 1 Dec 2026, is over); " +
		p.titled(readiness.Key{Step: "joint-class"}) + " by Tue 8 Dec 2026 (due Fri 4 Dec 2026); " + p.titled(readiness.Key{Step: "skin-check"}) + " by Tue 8 Dec 2026."
	require.Equal(t, []string{
		"The earliest day that can be met is Wed 9 Dec 2026, and so can the 2 operating days after it, if what is late or soon due is done in time.", done,
	}, SafeWords(&safe, p))
	require.Contains(t, ifAskedWords(&readiness.IfAsked{Keys: []readiness.Key{{Step: "dental-check"}}, Safe: safe}, p), ", if what is late or soon due is done in time.")
	closed := &readiness.Plan{Day: at(8).Day.Add(-2)} // a Sunday
	safe.Day = at(7).Day
	require.Equal(t, []string{"The next operating day, Mon 7 Dec 2026, can be met, if what is late or soon due is done in time.", done}, chicago(t).safeWords(closed, &safe, p))
	safe.Unknown = []readiness.Doubt{{Needs: []string{"whether"}, By: at(8)}}
	var said []string
	for _, e := range notBefore(&safe, p).Extension {
		if e.Url == "if-done" {
			said = append(said, *e.ValueString)
		}
	}
	require.Len(t, said, 3)
	require.Contains(t, done, said[1])
	safe.Pressing = nil
	require.NotContains(t, strings.Join(SafeWords(&safe, p), " "), "done")
}
