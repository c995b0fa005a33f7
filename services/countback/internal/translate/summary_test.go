package translate

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// A booking nine days out on the day before Thanksgiving 2026, and others nearer
// still: what the coordinator is told of it before the table.
func TestSummary(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	told := func(day, now string) string {
		a := appointment(t, "a", day, hipService)
		b := only(t, p, f, a)
		b.Case.Booked = f.clock(t, "2026-11-25 10:00")
		pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, f.clock(t, now))
		return strings.Join(f.summary(PlanView{Booking: &b, Plan: pl}, p), "\n")
	}
	nine := told("2026-12-04", "2026-11-25 12:00")
	require.True(t, strings.HasPrefix(nine, "Booked on Wed 25 Nov 2026, 9 days before surgery: 10 steps are later than usual and are asked for as soon as possible. By Fri 27 Nov 2026: “Nose swab”; by Wed 2 Dec 2026: "), nine)
	require.Contains(t, nine, "Not known: whether the person takes any supplement, vitamin or herbal product. If so, “Last day for supplements” can no longer be done: its last day was Thu 19 Nov 2026 (15 days before surgery), 6 days before it was booked; ask the surgeon or the prescriber.")
	require.Contains(t, nine, "Not known: whether the payer asks to agree to the operation beforehand. If so, “Payer's approval” must be done by Wed 2 Dec 2026 (2 days before surgery); after that the booked day cannot be met.")
	require.Equal(t, nine, told("2026-12-04", "2026-11-26 12:00"), "it stays the same from day to day")
	require.True(t, strings.HasSuffix(nine, "The booked day can still be met if all of this is done in time."))

	// The day before surgery is a holiday: what staff must do by then they can do
	// today only, the patient on the day itself.
	two := told("2026-11-27", "2026-11-25 12:00")
	require.Regexp(t, "By Wed 25 Nov 2026: [^;]*“Anaesthesia check-up”", two)
	require.Regexp(t, "by Thu 26 Nov 2026: [^;]*“Choose your coach”", two)
	require.Contains(t, two, "“Nose swab” can no longer be done: its last day was Fri 20 Nov 2026 (7 days before surgery). By the protocol surgery may go ahead without it.")

	require.Equal(t, "The booked day can be met.", told("2027-03-01", "2026-11-25 12:00"))
	one := told("2026-11-26", "2026-11-25 12:00")
	require.NotContains(t, one, "can still be met")
	require.Contains(t, one, "If so, the booked day cannot be met: the last day for “Payer's approval” was Tue 24 Nov 2026 (2 days before surgery), 1 day before it was booked.")
	require.Contains(t, one, "“Antiseptic wash, first” can no longer be done: its last day was Tue 24 Nov 2026 (2 days before surgery), 1 day before it was booked; ask the surgeon or the prescriber.")
	require.NotContains(t, told("2026-11-24", "2026-11-23 12:00"), "Booked on", "recorded afterwards")
}
