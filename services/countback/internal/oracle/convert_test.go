package oracle

import (
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// What the oracle is given is handed to the code in its own words.

func dateOf(d Day) calendar.Date {
	if d == 0 {
		return 0
	}
	c := days[d]
	return calendar.NewDate(c.year, c.month, c.day)
}

func pointOf(p Point) readiness.Point {
	out := readiness.Point{Anchor: p.From, Offset: readiness.Offset{N: p.N}}
	switch p.Unit {
	case Minutes:
		out.Offset.Unit = readiness.Minutes
	case Hours:
		out.Offset = readiness.Offset{N: 60 * p.N, Unit: readiness.Minutes}
	case Weeks:
		out.Offset.N = 7 * p.N
	case BusinessDays:
		out.Offset.Unit = readiness.BusinessDays
	case Months:
		out.Offset.Unit = readiness.Months
	}
	if p.At != nil {
		out.Clock = &readiness.ClockTime{Hour: p.At.Hour, Minute: p.At.Minute}
	}
	return out
}

func pointsOf(list []Point) []readiness.Point {
	var out []readiness.Point
	for _, p := range list {
		out = append(out, pointOf(p))
	}
	return out
}

var (
	needsOf = map[Need]readiness.Need{
		Must: readiness.Must, MustBeforeLeaving: readiness.MustToLeave, Should: readiness.Should, Could: readiness.Could,
	}
	expiriesOf = map[string]readiness.ExpiryKind{
		"never": readiness.NeverExpires, "days": readiness.ExpiresAfter,
		"this date": readiness.ThisDate, "end date": readiness.OwnEndDate,
	}
	outcomesOf = map[string]readiness.Outcome{
		"done": readiness.Done, "waived": readiness.Waived, "not needed": readiness.NotNeeded,
		"failed": readiness.Failed, "applies": readiness.Applies,
	}
	answersOf = map[Answer]readiness.Answer{Yes: readiness.Yes, No: readiness.No, Unknown: readiness.Unknown}
)

func stepOf(s Step, condition *readiness.Condition) readiness.Step {
	out := readiness.Step{
		Code: s.Code, Title: s.Code, Fixed: s.Fixed, Need: needsOf[s.Need], PausesOnHold: s.Pauses, Outlives: s.Outlives,
		Window:    readiness.Window{Opens: pointsOf(s.Opens), Due: pointsOf(s.Due), OpensEarliest: s.OpensEarliest},
		Expiry:    readiness.Expiry{Kind: expiriesOf[s.Expiry.Kind], Days: s.Expiry.Days, VoidedBy: s.Expiry.VoidedBy},
		Condition: condition, RepeatFor: s.Repeat, Trigger: s.Trigger,
	}
	out.Performers = []readiness.Performer{{Role: "nurse"}}
	if !s.Staff {
		out.Performers = append(out.Performers, readiness.Performer{Role: "coach", Kind: readiness.Related})
	}
	if s.Last != nil {
		last := pointOf(*s.Last)
		out.Last = &last
	}
	return out
}

// protocolOf gives the rules to the code, with the condition of each step.
func protocolOf(rules Rules, conditions []*readiness.Condition) (*readiness.Protocol, error) {
	out := readiness.Protocol{
		URL: "http://hospital.example/protocol", Version: "1", Horizon: rules.Horizon,
		DueWarning: time.Duration(rules.WarningDays) * 24 * time.Hour,
	}
	for _, s := range rules.Stays {
		out.Stays = append(out.Stays, readiness.Stay{
			Code: s.Code, Days: s.Days, At: readiness.ClockTime{Hour: s.At.Hour, Minute: s.At.Minute}, Default: s.Default,
		})
	}
	for n, s := range rules.Steps {
		out.Steps = append(out.Steps, stepOf(s, conditions[n]))
	}
	return readiness.NewProtocol(out)
}

func caseOf(c Case) readiness.Case {
	out := readiness.Case{
		Booked: c.Booked, Day: dateOf(c.Surgery), Start: c.Start, Stay: c.Stay, Arrived: c.Arrived, Left: c.Left,
		Held: c.Held, Facts: c.Facts, Repeats: c.Repeats, Details: c.Under,
		Entries: map[readiness.Key]readiness.Entry{},
	}
	if c.Cancelled {
		out.Ending = readiness.Cancelled
	}
	for _, e := range c.Events {
		out.Raised = append(out.Raised, readiness.Raised{Trigger: e.Name, Key: e.Key, At: e.At})
		if e.Name == readiness.TriggerHold { // of the hold only what it first pauses matters here
			out.Holds = append(out.Holds, readiness.Hold{Key: e.Key, Raised: e.At, Ended: e.At, Records: []string{"Condition/c"}})
		}
	}
	for n, s := range c.Spans {
		out.Holds = append(out.Holds, readiness.Hold{Key: fmt.Sprint("span-", n), Raised: s.From, Ended: s.Until})
	}
	for _, e := range c.Entries {
		was := readiness.Case{Day: dateOf(e.For), Start: e.ForStart, Details: e.Under}
		out.Entries[readiness.Key{Step: e.Code, Repeat: e.Key, Round: e.Round}] = readiness.Entry{
			Outcome: outcomesOf[e.Kind], On: dateOf(e.Done), Until: dateOf(e.Until), For: was.Snapshot(), Against: e.Against,
		}
	}
	out.Proofs = map[readiness.Key][]readiness.Proof{}
	for _, r := range c.Records {
		key := readiness.Key{Step: r.Code, Repeat: r.Key}
		out.Proofs[key] = append(out.Proofs[key], readiness.Proof{Record: r.Name, On: dateOf(r.Done), Until: dateOf(r.Until), InTime: r.InTime})
	}
	return out
}

// Both plans are written down line by line in the same words.

func said(state string, discharge string) string {
	return "the case is " + state + ", discharge " + discharge
}

func marks(compressed, tooLate bool) string {
	text := ""
	if compressed {
		text += " compressed"
	}
	if tooLate {
		text += " too-late"
	}
	return text
}

func wordsOf(m readiness.Moment, zone *time.Location) string {
	switch {
	case m.IsZero():
		return "-"
	case m.At.IsZero():
		return m.Day.String()
	}
	return m.At.In(zone).Format(time.RFC3339)
}

func orDash(d calendar.Date) string {
	if d.IsZero() {
		return "-"
	}
	return d.String()
}

func (plan Plan) lines(zone *time.Location) []string {
	lines := []string{said(plan.State, plan.Discharge.words(zone))}
	for _, it := range plan.Items {
		lines = append(lines, fmt.Sprintf("%s/%s/%d %s: opens %s due %s last %s applies %d waits %v leave %s for %v%s, record %q",
			it.Code, it.Key, it.Round, it.State, it.Opens.words(zone), it.Due.words(zone), it.Last.words(zone),
			answersOf[it.Applies], it.Waits, it.LeaveBy, it.LeaveFor, marks(it.Compressed, it.TooLate), it.Record))
	}
	for _, m := range plan.Infeasible {
		lines = append(lines, fmt.Sprintf("infeasible: %s/%s/%d by %d days, latest %s for %v which takes %d",
			m.Code, m.Key, m.Round, m.Days, m.Latest, m.Then, m.Takes))
	}
	return append(lines, fmt.Sprintf("too late if they apply: %v, unreported %t", plan.Doubtful, plan.Unreported))
}

func linesOf(plan *readiness.Plan, zone *time.Location) []string {
	lines := []string{said(string(plan.State), wordsOf(plan.Discharge, zone))}
	for _, i := range plan.Items {
		lines = append(lines, fmt.Sprintf("%s/%s/%d %s: opens %s due %s last %s applies %d waits %v leave %s for %v%s, record %q",
			i.Key.Step, i.Key.Repeat, i.Key.Round, i.State, wordsOf(i.Opens, zone), wordsOf(i.Due, zone), wordsOf(i.Last, zone),
			i.Applies, i.Waits, orDash(i.LeaveBy), i.LeaveFor, marks(i.Compressed, i.TooLate), i.Entry.Record))
	}
	for _, r := range plan.Infeasible {
		lines = append(lines, fmt.Sprintf("infeasible: %s/%s/%d by %d days, latest %s for %v which takes %d",
			r.Key.Step, r.Key.Repeat, r.Key.Round, r.DaysMissing, orDash(r.Latest), r.Then, r.Takes))
	}
	var doubtful []string
	for _, key := range plan.TooLateIfAsked {
		doubtful = append(doubtful, fmt.Sprintf("%s/%s/%d", key.Step, key.Repeat, key.Round))
	}
	return append(lines, fmt.Sprintf("too late if they apply: %v, unreported %t", doubtful, plan.Unreported))
}

// difference is "" for equal plans, else where they differ and what they were
// made from.
func (s situation) difference(plan Plan, code *readiness.Plan) string {
	zone := s.place.zone
	ours, theirs := plan.lines(zone), linesOf(code, zone)
	var out strings.Builder
	for n := range max(len(ours), len(theirs)) {
		var a, b string
		if n < len(ours) {
			a = ours[n]
		}
		if n < len(theirs) {
			b = theirs[n]
		}
		if a != b {
			fmt.Fprintf(&out, "oracle  %s\ncode    %s\n", a, b)
		}
	}
	if out.Len() == 0 {
		return ""
	}
	return out.String() + s.describe(out.String())
}
