package app

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

// planned is what the command prints for a booking with the given settings.
func planned(t *testing.T, start, today string, args ...string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "booking.json")
	require.NoError(t, os.WriteFile(file, booking(1, start), 0o600))
	cmd := command(t, append(append([]string{"plan", "-today", today}, args...), file)...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	require.NoError(t, err, said.String())
	return string(out)
}

func line(t *testing.T, out, step string) string {
	t.Helper()
	for _, l := range bytes.Split([]byte(out), []byte("\n")) {
		if bytes.HasPrefix(l, []byte(step)) {
			return string(l)
		}
	}
	require.Fail(t, "no such line", "%s in\n%s", step, out)
	return ""
}

// The facility's own closed days move the call before surgery, and the earliest
// day that can be met, from the command line as from the environment.
func TestClosures(t *testing.T) {
	file := filepath.Join(t.TempDir(), "closures.txt")
	// By hand: Friday 27 November and Monday 30 are closed on top of Thanksgiving
	// the 26th; the business day before Tuesday 1 December is Wednesday 25.
	require.NoError(t, os.WriteFile(file, []byte("2026-11-27..2026-11-30 Boiler\n2026-12-14..2026-12-18 Theatre rebuilt\n"), 0o600))
	const start, today = "2026-12-01T07:30:00-06:00", "2026-11-20"
	const title = "The call before surgery"
	require.Contains(t, line(t, planned(t, start, today), title), "Mon 30 Nov")
	closed := planned(t, start, today, "-closures", file)
	require.Contains(t, line(t, closed, title), "Wed 25 Nov")
	t.Setenv("COUNTBACK_CLOSURES", file)
	require.Equal(t, closed, planned(t, start, today))

	c := Config{Zone: "America/Chicago", Holidays: "us-federal", Closures: file, OperatingDays: "Mon-Sun"}
	f, err := c.FacilityOf("http://127.0.0.1/fhir")
	require.NoError(t, err)
	for text, open := range map[string]bool{"2026-11-26": false, "2026-11-28": false, "2026-12-13": true, "2026-12-16": false, "2026-12-25": false} {
		d, err := calendar.ParseDate(text)
		require.NoError(t, err)
		require.Equal(t, open, f.Calendar.IsOperatingDay(d), text)
	}
}

// A language that the sheet is not written in is refused, and not given in English.
func TestPlanInAnUnknownLanguage(t *testing.T) {
	file := filepath.Join(t.TempDir(), "booking.json")
	require.NoError(t, os.WriteFile(file, booking(1, "2026-12-01T07:30:00-06:00"), 0o600))
	err := PlanFiles(t.Context(), Config{}, PlanOptions{Files: []string{file}, Output: "sheet", Language: "fr"}, io.Discard)
	require.EqualError(t, err, "plan: -language fr: the sheet is written in en and es")
}
