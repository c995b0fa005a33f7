package app

import (
	"flag"
	"log/slog"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// The README lists every setting of the server, and there are few enough to read.
func TestReadmeListsEverySetting(t *testing.T) {
	readme, err := os.ReadFile("../../../../README.md")
	require.NoError(t, err)
	table := map[string]bool{}
	for line := range strings.SplitSeq(string(readme), "\n") {
		if cells := strings.Split(line, "|"); len(cells) == 5 {
			for name := range strings.SplitSeq(cells[1], ",") {
				table[strings.Trim(name, " `")] = true
			}
		}
	}
	var c Config
	fs := flag.NewFlagSet("serve", flag.ContinueOnError)
	c.FacilityFlags(fs)
	c.ServerFlags(fs)
	n := 1 // -data is each command's own
	require.True(t, table["-data"])
	fs.VisitAll(func(f *flag.Flag) {
		n++
		require.True(t, table["-"+f.Name], "-%s is not in the README's table of settings", f.Name)
	})
	require.LessOrEqual(t, n, 22)
}

// After a time with the clock ahead the service starts only when somebody says
// that it is right now; then the next start needs no word.
func TestClockCorrected(t *testing.T) {
	cfg := settings(t)
	quiet := slog.New(slog.DiscardHandler)
	at := func(today string, corrected bool) error {
		cfg.Today, cfg.ClockCorrected = today, corrected
		a, err := Start(t.Context(), cfg, quiet)
		if err != nil {
			return err
		}
		status, body := send(t, "POST", a.URL(), booking(1, "2026-11-30T07:30:00-06:00"))
		require.Equal(t, 200, status, string(body))
		require.NoError(t, a.Tick(t.Context()))
		return a.Close()
	}
	require.NoError(t, at("2026-10-06", false))
	require.NoError(t, at("2029-10-06", false))
	err := at("2026-10-07", false)
	require.ErrorIs(t, err, store.ErrClockBack)
	require.ErrorContains(t, err, "start once with -clock-corrected")
	require.NoError(t, at("2026-10-07", true))
	require.NoError(t, at("2026-10-08", false))

	cfg.Today = "2026-10-08"
	a := started(t, cfg)
	want, is := unbrokenStates(t, a.Clock.Now(), 0), statesOf(t, a, 1)
	for step, state := range is { // what was asked in 2029 only
		if _, there := want[step]; !there {
			require.True(t, strings.HasPrefix(state, "cancelled not-needed"), "%s: %s", step, state)
			delete(is, step)
		}
	}
	require.Equal(t, want, is)
}
