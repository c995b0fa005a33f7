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
	require.True(t, strings.HasPrefix(nine, "Booked on Wed 25 Nov 2026, 9 days before surgery: 10 steps are later than usual and are asked for as soon as possible. Surgery needs by Wed 2 Dec 2026 “Blood tests before surgery”; by Thu 3 Dec 2026 “Teeth check, first”, “List of all medicines” and “Where to after hospital”. Wanted, though surgery may go ahead without: by Fri 27 Nov 2026 “Nose swab”; by Thu 3 Dec 2026 “Choose your coach”, "), nine)
	require.Contains(t, nine, "If the person takes any supplement, vitamin or herbal product (not known yet), “Last day for supplements” can no longer be done: its last day was Thu 19 Nov 2026 (15 days before surgery), 6 days before it was booked; ask the surgeon or the prescriber.")
	require.Contains(t, nine, "If the payer asks to agree to the operation beforehand (not known yet), “Payer's approval” must be done by Wed 2 Dec 2026 (2 days before surgery); after that the booked day cannot be met.")
	require.Equal(t, nine, told("2026-12-04", "2026-11-26 12:00"), "it stays the same from day to day")
	require.True(t, strings.HasSuffix(nine, "The booked day can still be met if all that surgery needs is done in time."))

	// The day before surgery is a holiday: what staff must do by then they can do
	// today only, the patient on the day itself.
	two := told("2026-11-27", "2026-11-25 12:00")
	require.Regexp(t, "Surgery needs by Wed 25 Nov 2026 [^;]*“Anaesthesia check-up”", two)
	require.Regexp(t, "by Thu 26 Nov 2026 [^;]*“Choose your coach”", two)
	require.Contains(t, two, "“Nose swab” can no longer be done: its last day was Fri 20 Nov 2026 (7 days before surgery). By the protocol surgery may go ahead without it.")

	require.Equal(t, "The booked day can be met.", told("2027-03-01", "2026-11-25 12:00"))
	one := told("2026-11-26", "2026-11-25 12:00")
	require.NotContains(t, one, "can still be met")
	require.Contains(t, one, "(not known yet), the booked day cannot be met: the last day for “Payer's approval” was Tue 24 Nov 2026 (2 days before surgery), 1 day before it was booked.")
	require.Contains(t, one, "“Antiseptic wash, first” can no longer be done: its last day was Tue 24 Nov 2026 (2 days before surgery), 1 day before it was booked; ask the surgeon or the prescriber.")
	require.NotContains(t, told("2026-11-24", "2026-11-23 12:00"), "Booked on", "recorded afterwards")
}

// A must in doubt that nobody found out about in time: the booked day holds only
// if it does not apply, and if it does there is another.
func TestDoubtThatCameTooLate(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	told := func(now string) string {
		b := only(t, p, f, appointment(t, "a", "2026-12-02", hipService))
		b.Case.Booked = f.clock(t, "2026-10-05 10:00")
		b.Case.Entries = map[readiness.Key]readiness.Entry{}
		for _, s := range p.Steps {
			if s.Condition == nil && s.Need == readiness.Must {
				b.Case.Entries[readiness.Key{Step: s.Code, Round: 1}] = readiness.Entry{Outcome: readiness.Waived, Reason: "for the test"}
			}
		}
		at := f.clock(t, now)
		pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, at)
		v := PlanView{Booking: &b, Plan: pl, Other: f.AskOtherDays(&b.Case, pl, p, at)}
		return strings.Join(append(f.summary(v, p), f.reasons(v, p)...), "\n")
	}
	require.NotContains(t, told("2026-11-30 23:59"), "Payer's approval", "its last day, two days before, is not over")
	late := told("2026-12-01 00:00")
	require.Contains(t, late, "If the payer asks to agree to the operation beforehand (not known yet), the booked day can no longer be met: the last day for “Payer's approval” was Mon 30 Nov 2026 (2 days before surgery).")
	require.Contains(t, late, "The booked day can still be met only if “Payer's approval” turns out not to apply.")
	require.Contains(t, late, "If “Payer's approval” turns out to apply: as far as is known, everything can be done in its usual time from Mon 21 Dec 2026. The earliest at all: Thu 3 Dec 2026, only if what is not known yet is known in time")
}

// A day on which no surgery is done here cannot be met, and the next one is told.
func TestBookedOnAClosedDay(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct{ day, now, want string }{
		{"2026-12-06", "2026-11-03 09:00", "The day of surgery is not an operating day here: a Sunday.\n" +
			"As far as is known, everything can be done in its usual time from Mon 30 Nov 2026, but for what is late or soon due whatever the day: “First call” and “Medicines that need weeks”.\n" +
			"The next operating day, Mon 7 Dec 2026, can be met, as far as is known; the earliest that can is Thu 5 Nov 2026, and each only if what is late or soon due for it is done in time."},
		{"2026-12-25", "2026-12-23 09:00", "The day of surgery is not an operating day here: Christmas Day.\n" +
			"As far as is known, everything can be done in its usual time from Tue 19 Jan 2027, but for what is late or soon due whatever the day: “First call” and “Medicines that need weeks”.\n" +
			"The next operating day, Mon 28 Dec 2026, can be met, only if these are known: "},
	} {
		b := only(t, p, f, appointment(t, "a", r.day, hipService))
		b.Case.Booked = f.clock(t, "2026-10-05 10:00")
		at := f.clock(t, r.now)
		pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, at)
		v := PlanView{Booking: &b, Plan: pl, Other: f.AskOtherDays(&b.Case, pl, p, at)}
		text := strings.Join(append(f.summary(v, p), f.reasons(v, p)...), "\n")
		require.Contains(t, text, r.want)
		require.NotContains(t, text, "The booked day can")
		require.False(t, v.Other.Safe.Day.IsZero())
	}
}
