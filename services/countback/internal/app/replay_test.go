package app

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
)

// A consumer that asks for a replay is given every event of the stream again, in
// the order of the first time; without it, it goes on where it was.
func TestReplay(t *testing.T) {
	a := started(t, settings(t))
	feed := func(n int) {
		status, body := send(t, "POST", a.URL(), booking(n, "2026-11-30T07:30:00-06:00"))
		require.Equal(t, 200, status, string(body))
		require.NoError(t, a.Published(t.Context()))
	}
	follow := func(most int, replay bool) string {
		var out, warned bytes.Buffer
		require.NoError(t, Events(t.Context(), EventsOptions{NATS: a.NATSURL(), Durable: "replayed", Most: most, Replay: replay}, &out, &warned))
		require.Empty(t, warned.String())
		return out.String()
	}
	feed(1)
	feed(2)
	rows, err := a.db.Published(t.Context(), 0, 100)
	require.NoError(t, err)
	first := follow(len(rows), true) // under a name that has no position yet
	require.Equal(t, first, follow(len(rows), true))
	feed(3)
	next := follow(1, false)
	require.NotContains(t, first, next, "goes on where it was")
	all, err := a.db.Published(t.Context(), 0, 100)
	require.NoError(t, err)
	require.Contains(t, follow(len(all), true), first+next)
}
