package translate

import (
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

// First comes the day from which on everything can be done in its usual time, then
// the earliest at all with what it rests on, each until when it is in time.
func TestDayIfDoneInTime(t *testing.T) {
	p := defaultProtocol(t)
	at := func(day int) readiness.Moment { return readiness.Moment{Day: calendar.NewDate(2026, 12, day)} }
	safe := readiness.Safe{Day: at(9).Day, Run: 3, Pressing: []readiness.Pressing{
		{Key: readiness.Key{Step: "screening-bloods"}, Due: at(1), Over: true, By: at(3)},
		{Key: readiness.Key{Step: "joint-class"}, Due: at(4), By: at(8)},
		{Key: readiness.Key{Step: "skin-check"}, Due: at(8), By: at(8)},
	}}
	done := ", if these are done: “Early blood tests” by Thu 3 Dec 2026 (its due day, Tue 1 Dec 2026, is over); " +
		p.titled(readiness.Key{Step: "joint-class"}) + " by Tue 8 Dec 2026 (due Fri 4 Dec 2026); " + p.titled(readiness.Key{Step: "skin-check"}) + " by Tue 8 Dec 2026."
	never := "On no operating day in the next 400 days can everything be done in its usual time."
	require.Equal(t, []string{never, "The earliest at all: Wed 9 Dec 2026" + done}, SafeWords(&safe, p))
	brief := "The earliest at all: Wed 9 Dec 2026, if what is late or soon due is done in time."
	require.Equal(t, []string{never, brief}, SafeBrief(&safe, p))
	require.Equal(t, "If “Teeth check, first” turns out to apply: on"+never[2:]+" "+brief, ifAskedWords(&readiness.IfAsked{Keys: []readiness.Key{{Step: "dental-check-1"}}, Safe: safe}, p))
	safe.InTime, safe.Fails = at(14).Day, at(28).Day
	require.Equal(t, []string{
		"Everything can be done in its usual time from Mon 14 Dec 2026.", "The earliest at all: Wed 9 Dec 2026" + done,
		"The next days fail again, the first of them Mon 28 Dec 2026.",
	}, SafeWords(&safe, p))
	safe.Anyway, safe.Fails = []readiness.Pressing{{Key: readiness.Key{Step: "first-call"}}}, 0
	usual := "Everything can be done in its usual time from Mon 14 Dec 2026, but for what is late or soon due whatever the day: “First call”."
	require.Equal(t, usual, SafeWords(&safe, p)[0])
	closed := &readiness.Plan{Day: at(8).Day.Add(-2)} // a Sunday
	safe.Day = at(7).Day
	require.Equal(t, []string{usual, "The next operating day, Mon 7 Dec 2026, can be met" + done}, chicago(t).safeWords(closed, &safe, p))
	safe.Unknown = []readiness.Doubt{{Needs: []string{"whether it is over"}, By: at(8)}, {Needs: []string{"whether it is needed"}, By: at(5), Do: true}}
	safe.InTimeDoubt, safe.Anyway = true, nil
	require.Equal(t, []string{
		"As far as is known, everything can be done in its usual time from Mon 14 Dec 2026.",
		"The earliest at all: Mon 7 Dec 2026, only if these are known: whether it is over (known by Tue 8 Dec 2026); " +
			"whether it is needed (known by Sat 5 Dec 2026, and then done by Sat 5 Dec 2026); and if these are done: " + done[len(", if these are done: "):],
	}, SafeWords(&safe, p))
	require.Equal(t, "The earliest at all: Mon 7 Dec 2026, only if what is not known yet is known in time and what is late or soon due is done in time.", SafeBrief(&safe, p)[1])
	var said []string
	for _, e := range notBefore(&safe, p).Extension {
		if e.Url == "if-done" {
			said = append(said, *e.ValueString)
		}
	}
	require.Len(t, said, 3)
	require.Contains(t, done, said[1])
	safe.Pressing, safe.Unknown, safe.InTimeDoubt, safe.InTime = nil, nil, false, safe.Day
	require.Equal(t, []string{"Everything can be done in its usual time from Mon 7 Dec 2026.", "That is the earliest at all."}, SafeWords(&safe, p))
}

// How many musts press for a day, and until when there is time for the first.
func TestPressesWords(t *testing.T) {
	at := func(day int) readiness.Moment { return readiness.Moment{Day: calendar.NewDate(2026, 12, day)} }
	for want, list := range map[string][]readiness.Pressing{
		"": nil,
		"1 must that is late or soon due is still to be done, by Thu 3 Dec 2026.":              {{By: at(3)}},
		"1 must that is late or soon due is still to be done.":                                 {{}},
		"3 musts that are late or soon due are still to be done, the first by Wed 2 Dec 2026.": {{By: at(3)}, {}, {By: at(2)}},
	} {
		require.Equal(t, want, PressesWords(list))
	}
}
