package readiness

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

func on(t *testing.T, s string) calendar.Date {
	d, err := calendar.ParseDate(s)
	require.NoError(t, err)
	return d
}

// TestReport counts each indicator over one small list by hand.
func TestReport(t *testing.T) {
	day, before, after := on(t, "2026-09-15"), on(t, "2026-09-14"), on(t, "2026-09-16")
	class := &Step{Code: "lesson", Title: "Lesson", Need: Should, ReportedAs: ReportedClass}
	asked := &Step{Code: "asked-early", Title: "Asked", Need: Should, ReportedAs: ReportedBaseline}
	late := &Step{Code: "asked-late", Title: "Asked again", Need: Should, ReportedAs: ReportedOneYear}
	must := &Step{Code: "signed", Title: "Signed", Need: Must}
	atDoor := &Step{Code: "at-the-door", Title: "At the door", Need: Must}
	raised := &Step{Code: "look-at", Title: "Look at", Need: Must, Trigger: "something"}
	op := func(items ...Outturn) Operation { return Operation{Day: day, Done: items} }
	is := func(s *Step, state ItemState) Outturn { return Outturn{Step: s, Round: 1, State: state, Applies: Yes} }
	due := func(o Outturn, d calendar.Date) Outturn { o.Due = d; return o }
	done := func(s *Step, d, last calendar.Date) Outturn {
		return Outturn{Step: s, Round: 1, State: StateDone, Applies: Yes, On: d, Last: last}
	}
	undone := func(s *Step, state ItemState, last calendar.Date) Outturn {
		return Outturn{Step: s, Round: 1, State: state, Applies: Yes, Last: last}
	}
	off := func(o Operation, why string) Operation { o.Cancelled, o.Reason = true, why; return o }
	moved := func(whys ...string) Operation {
		o := op()
		for _, why := range whys {
			o.Moves = append(o.Moves, Move{From: before, To: day, Reason: why})
		}
		return o
	}
	today := after
	for _, c := range []struct {
		name  string
		count Indicator
		list  []Operation
		num   int
		den   int
		group []CountedGroup
	}{
		{"nothing", ReadyDayBefore, nil, 0, 0, nil},
		{"cancelled, with and without a reason", Cancellations, []Operation{op(), off(op(), "infection"), off(op(), ""), off(op(), "infection")}, 3, 4,
			[]CountedGroup{{ByReason, "infection", 2}, {ByReason, NoReason, 1}}},
		{"moved counts an operation once, by its last move", Postponements, []Operation{op(), moved("ill", "no bed"), moved(""), off(moved("ill"), "")}, 2, 3,
			[]CountedGroup{{ByReason, "no bed", 1}, {ByReason, NoReason, 1}}},
		{"class", ClassAttendance, []Operation{
			op(is(class, StateDone)), op(is(class, StateDone)), op(is(class, StateWaived)), op(is(class, Missed)),
			op(is(class, Needless)), op(is(class, Late)), op(), off(op(is(class, StateDone)), ""),
			op(is(class, Expired), is(class, StateDone)), // the second round is the one that counts
		}, 3, 5, []CountedGroup{{ByOutcome, "done", 3}, {ByOutcome, "missed", 1}, {ByOutcome, "waived", 1}}},
		{"baseline: what is due today may still be done", BaselineComplete, []Operation{
			op(due(is(asked, StateDone), today)), op(due(is(asked, Late), before)), op(due(is(asked, Due), today)), op(due(is(late, Missed), before)),
		}, 1, 2, []CountedGroup{{ByOutcome, "done", 1}, {ByOutcome, "late", 1}}},
		{"one year", OneYearComplete, []Operation{op(due(is(late, Missed), before)), op(due(is(late, Upcoming), after))}, 0, 1,
			[]CountedGroup{{ByOutcome, "missed", 1}}},
		{"ready: done the day before, waived, and what is only asked at the door", ReadyDayBefore, []Operation{
			op(done(must, before, before), undone(atDoor, Missed, day), is(class, Missed)),
			op(undone(must, StateWaived, before)), op(undone(must, Needless, before)), op(undone(raised, Late, before)),
		}, 4, 4, nil},
		{"not ready: done on the day, missed, in doubt, held", ReadyDayBefore, []Operation{
			op(done(must, day, before)), op(undone(must, Missed, before)),
			op(Outturn{Step: must, State: Upcoming, Applies: Unknown, Last: before}),
			{Day: day, Held: true}, off(op(), ""),
		}, 0, 4, []CountedGroup{{ByMissing, "Signed", 2}, {ByMissing, "Signed (in doubt whether it applies)", 1}, {ByMissing, "a hold", 1}}},
		{"ready: the day before is not over", ReadyDayBefore, []Operation{{Day: today.Add(1)}, {Day: today}}, 1, 1, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Report(c.count, c.list, today)
			if c.count == ReadyDayBefore {
				require.Len(t, got.Lacks, c.den-c.num, "each that was not ready, once")
			}
			got.Lacks = nil
			require.Equal(t, Counted{Indicator: c.count, Numerator: c.num, Denominator: c.den, Groups: c.group}, got)
		})
	}
}

// Who was not ready lacks something by name: undone and in doubt apart, by day.
func TestReportNamesWhatLacks(t *testing.T) {
	day := on(t, "2026-09-15")
	signed, asked := &Step{Code: "signed", Title: "Signed", Need: Must}, &Step{Code: "asked", Title: "Asked", Need: Must}
	doubt := Outturn{Step: asked, State: Upcoming, Applies: Unknown, Last: day.Add(-1)}
	undone := Outturn{Step: signed, State: Missed, Applies: Yes, Last: day.Add(-1)}
	got := Report(ReadyDayBefore, []Operation{
		{Case: "later", Day: day.Add(1), Held: true, Done: []Outturn{undone, doubt}}, {Case: "ready", Day: day}, {Case: "doubt", Day: day, Done: []Outturn{doubt}},
	}, day.Add(2))
	require.Equal(t, []Lack{
		{Case: "doubt", Day: day, InDoubt: []string{"Asked"}},
		{Case: "later", Day: day.Add(1), Held: true, Undone: []string{"Signed"}, InDoubt: []string{"Asked"}},
	}, got.Lacks)
}

func TestHeldAt(t *testing.T) {
	at := time.Date(2026, 9, 15, 0, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		hold Hold
		want bool
	}{
		"stands":        {Hold{Raised: at.Add(-time.Hour)}, true},
		"raised after":  {Hold{Raised: at}, false},
		"ended before":  {Hold{Raised: at.Add(-2 * time.Hour), Ended: at.Add(-time.Hour)}, false},
		"ended later":   {Hold{Raised: at.Add(-2 * time.Hour), Ended: at.Add(time.Hour)}, true},
		"ended just so": {Hold{Raised: at.Add(-2 * time.Hour), Ended: at}, true},
	} {
		require.Equal(t, c.want, HeldAt([]Hold{c.hold}, at), name)
	}
}
