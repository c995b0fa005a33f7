package oracle

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// planted are faults of the kinds that dating rules are known for. Each changes
// one line of the code; the comparison has to see it.
var planted = []struct{ name, file, line, instead string }{
	{"off by one day", "readiness/due.go", "day = day.Add(p.Offset.N)", "day = day.Add(p.Offset.N - 1)"},
	{"clock-change hour", "calendar/clock.go", "return c.At(d, 24, 0)", "return c.StartOf(d).Add(24 * time.Hour)"},
	{"holiday skipped", "calendar/holidays.go", "set(observed, rule.Name+moved)", "set(actual, rule.Name+moved)"},
	{"inclusive end", "readiness/state.go", "!now.Before(i.Due.Ends(cal)):", "!now.Before(i.Due.Begins(cal)):"},
	{"month overflow", "calendar/date.go", "return NewDate(year, month, min(day, daysInMonth(year, month)))", "return NewDate(year, month, 1).Add(day - 1)"},
	{"business day forgets closures", "calendar/calendar.go", "&& !c.holidays.Closed(d)", ""},
	{"last day ignored", "readiness/due.go", "if s.Last != nil {", "if s.Last != nil && s.Fixed {"},
	{"staff move for patients", "readiness/due.go", "|| !s.StaffStep() ||", "||"},
	{"expiry 31 days", "readiness/state.go", "c.Day.Sub(e.On) <= s.Expiry.Days", "c.Day.Sub(e.On) <= s.Expiry.Days+1"},
	{"ready ignores a must", "readiness/state.go", "if undone && !i.Last.IsZero() && i.Last.Day < c.Day {", "if undone && !i.Last.IsZero() && i.Last.Day < c.Day-1 {"},
	{"a day to spare that is not there", "readiness/infeasible.go", "i.opensBy(today) > m.latest[n]", "i.opensBy(today) > m.latest[n].Add(1)"},
	{"what only waits is a reason too", "readiness/infeasible.go", "(!behind[n] || m.items[n].Opens.Day > m.latest[n])", "(true || behind[n])"},
	{"business days back are not those there", "readiness/flow.go", "for shift(to, f.gap, 1, cal) > d {", "for false {"},
	{"no timer for what must follow", "readiness/plan.go", "range m.turns() {", "range m.turns()[:0] {"},
	{"the run goes on past a gap", "readiness/earliest.go", "case s.out.Fails.IsZero():\n", "case false:\n"},
	{"a moved last day is no change", "readiness/replan.go", "&& i.Last.same(o.Last)", ""},
	{"a span without the time between", "readiness/network.go", "l.later(earliest[l.from], cal))", "earliest[l.from])"},
	{"no timer for a must in doubt", "readiness/plan.go", "|| pl.tooLateIfAsked(i, cal, t) != pl.tooLateIfAsked(i, cal, now)", ""},
	{"what is held is unreported a day later", "readiness/itemhold.go", "!hour.IsZero() && !now.Before(hour)", "!hour.IsZero() && !now.Before(hour.AddDate(0, 0, 1))"},
	{"a release after the hour lets the clock stand", "readiness/athour.go", "c.reported() || !c.heldAtHour(cal)", "true"},
	{"who comes before the hour is held no more", "readiness/athour.go", "c.Held && !c.hourPassed(cal, now)", "false"},
	{"a must in doubt has a day more", "readiness/doubt.go", "i.TooLate || !at.Before(i.Last.Ends(cal))", "i.TooLate || !at.Before(i.Last.Ends(cal).AddDate(0, 0, 1))"},
	{"a record of the future counts", "readiness/proof.go", "p.On > today || ", ""},
	{"the oldest record counts", "readiness/proof.go", "cmp.Compare(e.On, o.On)", "cmp.Compare(o.On, e.On)"},
	{"a record from before the booking is shown", "readiness/proof.go", "return p.On >= from", "return true"},
	{"what is late now does not press", "readiness/press.go", "late := stands.overdue(m.cal, now)", "_, late := stands, map[Key]bool{}"},
	{"in its usual time whatever the last day", "readiness/press.go", "by = i.Last\n", "by = Moment{}\n"},
	{"what is done on the day of surgery presses", "readiness/press.go", "&& i.Opens.Day < m.c.Day", ""},
	{"in its usual time without a warning", "readiness/press.go", "!now.Before(m.p.warns(by, m.cal))", "!now.Before(by.Ends(m.cal))"},
	{"what presses has until its own last day", "readiness/press.go", "if m.then[n].codes != nil {", "if false {"},
	{"an obstacle is cleared once for all", "readiness/earliest.go", "		o[key] = &Obstacle{Key: r.Key}\n", "		if o[key] == nil {\n			o[key] = &Obstacle{Key: r.Key}\n		}\n"},
}

// A comparison that cannot fail proves nothing: each planted fault must come to
// light within a small part of the usual number of cases.
func TestPlantedFaultsAreFound(t *testing.T) {
	outputs := make([]chan string, len(planted))
	places := make(chan struct{}, 4) // so many at a time
	for n, fault := range planted {
		outputs[n] = make(chan string, 1)
		overlay := plant(t, fault.file, fault.line, fault.instead)
		go func() {
			places <- struct{}{}
			outputs[n] <- compareWith(t.Context(), overlay)
			<-places
		}()
	}
	for n, fault := range planted {
		output := <-outputs[n]
		t.Run(fault.name, func(t *testing.T) {
			require.Regexp(t, "the (plans|answers) differ", output, "the comparison did not see it:\n%s", output)
		})
	}
}

// compareWith runs the comparison on a changed source and gives what it says.
func compareWith(ctx context.Context, overlay string) string {
	command := exec.CommandContext(ctx, "go", "test", "-overlay", overlay, "-vet=off", "-count=1", "-run=^TestSmallProtocols$", ".", "-rapid.shrinktime=1ns")
	command.Env = append(os.Environ(), "COUNTBACK_ORACLE=4000", "COUNTBACK_ORACLE_SEED=1", "COUNTBACK_ORACLE_ASK=20")
	output, err := command.CombinedOutput()
	if err == nil {
		return "it passed: " + string(output)
	}
	return err.Error() + "\n" + string(output)
}

// plant writes a copy of a file under pkg with one line changed, and the
// overlay by which the go command takes it for the file itself.
func plant(t *testing.T, file, line, instead string) string {
	t.Helper()
	source, err := filepath.Abs(filepath.Join("..", "..", "..", "..", "pkg", file))
	require.NoError(t, err)
	text, err := os.ReadFile(source)
	require.NoError(t, err)
	require.Equal(t, 1, strings.Count(string(text), line), "%s is to hold %q once", file, line)
	dir := t.TempDir()
	changed, overlay := filepath.Join(dir, filepath.Base(file)), filepath.Join(dir, "overlay.json")
	require.NoError(t, os.WriteFile(changed, []byte(strings.Replace(string(text), line, instead, 1)), 0o600))
	// Without the default protocol the service itself need not be built each time.
	full, err := filepath.Abs("full_test.go")
	require.NoError(t, err)
	list, err := json.Marshal(map[string]map[string]string{"Replace": {source: changed, full: ""}})
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(overlay, list, 0o600))
	return overlay
}
