package app

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestFeedSettings(t *testing.T) {
	for _, bad := range []string{"theatre", "=https://theatre.example", "theatre=", "Theatre=https://a.example", "other=https://a.example",
		"a=https://a.example,a=https://b.example", "a=https://a.example,b=https://a.example", "a=https://a.example/%zz"} {
		_, err := (&Config{Feeds: bad}).feedNames()
		require.ErrorContains(t, err, "-feeds", bad)
	}
	names, err := (&Config{Feeds: " theatre=https://theatre.example/v1, lab=urn:oid:1.2.3 ,"}).feedNames()
	require.NoError(t, err)
	require.Equal(t, map[string]string{"https://theatre.example/v1": "theatre", "urn:oid:1.2.3": "lab"}, names)
}

// What is scraped names a source only by the name that a setting gave it: what a
// sender calls itself could be anything.
func TestFeedFigures(t *testing.T) {
	cfg := settings(t)
	cfg.Feeds, cfg.FeedSilent = "theatre=https://theatre.meadowfold.example,lab=https://lab.meadowfold.example", 24*time.Hour
	a := started(t, cfg)
	from := func(source, lastUpdated string) []byte {
		meta := fmt.Sprintf(`"resourceType":"Practitioner","meta":{"source":%q,"lastUpdated":%q},"identifier":[{"system":"https://theatre.meadowfold.example/staff","value":"S-1"}]`, source, lastUpdated)
		return []byte(`{"resourceType":"Bundle","type":"transaction","entry":[{"resource":{` + meta + `},"request":{"method":"PUT","url":"Practitioner?identifier=https://theatre.meadowfold.example/staff|S-1"}}]}`)
	}
	for _, m := range [][]byte{
		from("https://theatre.meadowfold.example", "2026-10-06T11:00:00-05:00"), from("https://theatre.meadowfold.example", "2026-10-06T10:00:00-05:00"),
		from("https://canary-patient.example", "2026-10-06T10:00:00-05:00"),
	} {
		status, body := send(t, http.MethodPost, a.URL(), m)
		require.Equal(t, 200, status, string(body))
	}
	status, _ := send(t, http.MethodPost, a.URL(), bytes.Replace(from("https://theatre.meadowfold.example", "2026-10-06T11:00:00-05:00"), []byte("S-1\"}]"), []byte("S-2\"}]"), 1))
	require.Equal(t, 422, status)

	_, metrics := send(t, http.MethodGet, a.AdminURL()+"/metrics", nil)
	for _, line := range []string{
		`countback_feed_messages_total{feed="theatre"} 2`, `countback_feed_superseded_total{feed="theatre"} 1`, `countback_feed_refused_total{feed="theatre"} 1`,
		`countback_feed_silent{feed="theatre"} 0`, `countback_feed_age_seconds{feed="theatre"} 0`, `countback_feed_newest_seconds{feed="theatre"} 1791302400`,
		`countback_feed_messages_total{feed="other"} 1`, `countback_feed_messages_total{feed="lab"} 0`,
	} {
		require.Contains(t, string(metrics), line+"\n")
	}
	require.NotContains(t, string(metrics), "canary")
	_, ready := send(t, http.MethodGet, a.AdminURL()+"/readyz", nil)
	require.Equal(t, "ok\n", string(ready))

	var log bytes.Buffer
	a.log = slog.New(slog.NewTextHandler(&log, nil))
	a.Clock.Stand(a.Clock.Now().Add(25 * time.Hour))
	silent := map[string]bool{}
	a.alarm(context.Background(), silent)
	a.alarm(context.Background(), silent)
	require.Equal(t, 2, strings.Count(log.String(), "a feed is silent"), "each is named once: %s", log.String())
	require.NotContains(t, log.String(), "canary")
	status, ready = send(t, http.MethodGet, a.AdminURL()+"/readyz", nil)
	require.Equal(t, 200, status, "a silent feed takes no copy out of service")
	require.Equal(t, "ok\nfeed lab is silent\nfeed theatre is silent\n", string(ready))
	send(t, http.MethodPost, a.URL(), from("https://theatre.meadowfold.example", "2026-10-07T11:00:00-05:00"))
	a.alarm(context.Background(), silent)
	require.Contains(t, log.String(), `msg="a feed is heard from again" feed=theatre`)
}
