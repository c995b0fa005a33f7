package app

import (
	"bytes"
	"encoding/json"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/sheet"
	"example.org/countback/testdata"
)

// feedRead is a calendar as ical.js reads it.
type feedRead struct {
	Version, Method, Refresh string
	Events                   []feedEvent
}

type feedEvent struct {
	UID, Title, Text, Status, Start, End string
	Sequence                             int
	AllDay                               bool
}

// byICAL reads a calendar with ical.js, which knows nothing of us.
func byICAL(t *testing.T, body string) (out feedRead, byUID map[string]feedEvent) {
	t.Helper()
	node := testdata.Need(t, "node", "apt-get install -y nodejs")
	folder := filepath.Dir(filepath.Dir(npmFile(t, "ical.js@2.2.1", "dist/ical.min.js")))
	cmd := exec.CommandContext(t.Context(), node, "testdata/ical.js", folder)
	cmd.Stdin = strings.NewReader(body)
	var failed bytes.Buffer
	cmd.Stderr = &failed
	b, err := cmd.Output()
	require.NoError(t, err, failed.String())
	require.NoError(t, json.Unmarshal(b, &out))
	byUID = map[string]feedEvent{}
	for _, e := range out.Events {
		byUID[e.UID] = e
	}
	return out, byUID
}

// holder is somebody with a calendar link.
type holder struct {
	t    *testing.T
	a    *App
	link string
}

// sendForm sends a form of the desk, as the person at it.
func sendForm(t *testing.T, a *App, path string, form url.Values) (int, string) {
	t.Helper()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, a.DeskURL()+path, strings.NewReader(form.Encode()))
	require.NoError(t, err)
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.AddCookie(&http.Cookie{Name: "desk-name", Value: "Idony+Quillfeather"})
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp.StatusCode, string(body)
}

var address = regexp.MustCompile(`<code class="address">(http://[^<]+/calendar/[A-Za-z0-9_-]{43}\.ics)</code>`)

func newHolder(t *testing.T, a *App, caseID, who string) *holder {
	t.Helper()
	status, body := sendForm(t, a, "/case/"+caseID+"/calendar", url.Values{"for": {who}})
	require.Equal(t, 200, status, body)
	found := address.FindStringSubmatch(body)
	require.NotNil(t, found)
	require.Contains(t, body, `<a href="webcal`+strings.TrimPrefix(found[1], "http")+`">`, "a press hands it to the calendar program")
	return &holder{t, a, found[1]}
}

// ask reads the feed with no sign-in, as a calendar program does.
func (h *holder) ask(held string) (*http.Response, string) {
	h.t.Helper()
	req, err := http.NewRequestWithContext(h.t.Context(), http.MethodGet, h.link, nil)
	require.NoError(h.t, err)
	if held != "" {
		req.Header.Set("If-None-Match", held)
	}
	resp, err := http.DefaultClient.Do(req)
	require.NoError(h.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(h.t, err)
	return resp, string(body)
}

func (h *holder) read() map[string]feedEvent {
	h.t.Helper()
	resp, body := h.ask("")
	require.Equal(h.t, 200, resp.StatusCode)
	_, events := byICAL(h.t, body)
	return events
}

// onlyCase is the id of the only case.
func onlyCase(t *testing.T, a *App) string {
	t.Helper()
	plans := found(t, a, "CarePlan")
	require.Len(t, plans, 1)
	var plan struct{ ID string }
	require.NoError(t, json.Unmarshal(plans[0], &plan))
	return plan.ID
}

// The feed says what the plan says, in the words of ical.js: the same items on
// the same days, all day or at the hour; nothing of what is wrong with whom.
func TestCalendarSaysThePlan(t *testing.T) {
	a := started(t, settings(t))
	status, body := send(t, "POST", a.URL(), booking(1, "2026-11-30T07:30:00-06:00"))
	require.Equal(t, 200, status, string(body))
	id := onlyCase(t, a)
	p := newHolder(t, a, id, "patient")
	resp, text := p.ask("")
	require.Equal(t, "text/calendar; charset=utf-8", resp.Header.Get("Content-Type"))
	require.Equal(t, "private, no-cache", resp.Header.Get("Cache-Control"))
	read, events := byICAL(t, text)
	require.Equal(t, []string{"2.0", "PUBLISH", "PT2H"}, []string{read.Version, read.Method, read.Refresh})

	h, err := a.Office.Handout(t.Context(), id)
	require.NoError(t, err)
	want, got := map[string]string{id + ".day@countback.example": "2026-11-30"}, map[string]string{}
	for n := range h.Lines {
		l := &h.Lines[n]
		if !l.Own() || l.Item.Applies != readiness.Yes || l.Item.Due.IsZero() || !sheet.Signed(l) {
			continue
		}
		want[l.TaskID+"@countback.example"] = l.Item.Due.Day.String()
		if at := l.Item.Due.At; !at.IsZero() {
			want[l.TaskID+"@countback.example"] = at.UTC().Format("2006-01-02T15:04:05.000Z")
		}
	}
	require.Greater(t, len(want), 12)
	for uid, e := range events {
		got[uid] = e.Start
		require.Equal(t, "CONFIRMED", e.Status)
		if e.AllDay {
			day, err := time.Parse(time.DateOnly, e.Start)
			require.NoError(t, err)
			require.Equal(t, day.AddDate(0, 0, 1).Format(time.DateOnly), e.End, "the end of a whole day is the day after")
		}
		for _, never := range []string{"knee", "hip", "replacement", "Testperson", "Number1"} {
			require.NotContains(t, strings.ToLower(e.Title), strings.ToLower(never))
			require.NotContains(t, e.Text, "Testperson")
		}
	}
	require.Equal(t, want, got)
	require.Contains(t, text, "DTSTART:20261130T113000Z", "clear drinks stop two hours before 07:30 CST (ASA 2017, secondary)")

	again, _ := p.ask(resp.Header.Get("ETag"))
	require.Equal(t, 304, again.StatusCode)
	require.NotEmpty(t, again.Header.Get("ETag"))
}

// When the date moves the entries move: same UID, higher sequence. A hold takes
// away what pauses, a cancelled booking takes away everything, and what was
// taken away carries no day of the plan.
func TestCalendarFollows(t *testing.T) {
	a := started(t, settings(t))
	book := func(start string, change func(string) string) {
		b := booking(1, start)
		if change != nil {
			b = []byte(change(string(b)))
		}
		status, body := send(t, "POST", a.URL(), b)
		require.Equal(t, 200, status, string(body))
	}
	book("2026-11-30T07:30:00-06:00", nil)
	id := onlyCase(t, a)
	p := newHolder(t, a, id, "coach")
	first := p.read()

	book("2026-12-14T07:30:00-06:00", nil)
	moved := p.read()
	require.Equal(t, uids(first), uids(moved))
	n := 0
	for uid, e := range first {
		require.GreaterOrEqual(t, moved[uid].Sequence, e.Sequence)
		if moved[uid].Start != e.Start {
			require.Greater(t, moved[uid].Sequence, e.Sequence, e.Title)
			n++
		}
	}
	require.Greater(t, n, 12)

	book("2026-12-14T07:30:00-06:00", func(s string) string { return strings.Replace(s, `"status":"booked"`, `"status":"cancelled"`, 1) })
	gone := p.read()
	require.Equal(t, uids(first), uids(gone))
	for uid, e := range gone {
		require.Equal(t, "CANCELLED", e.Status, e.Title)
		require.Greater(t, e.Sequence, moved[uid].Sequence)
		require.Equal(t, "2026-10-06", e.Start, "the day on which it was called off")
		if strings.HasSuffix(e.Title, ": Hospital day") {
			require.Contains(t, e.Text, "Your hospital day has been called off.")
			continue
		}
		require.Empty(t, e.Text)
	}
}

func uids(events map[string]feedEvent) map[string]bool {
	out := map[string]bool{}
	for uid := range events {
		out[uid] = true
	}
	return out
}

// A link that was revoked and one that never was answer alike; the secret is in
// no log and not in the database.
func TestCalendarLinkIsSecret(t *testing.T) {
	cfg := settings(t)
	var log writer
	a, err := Start(t.Context(), cfg, Logger(&log))
	require.NoError(t, err)
	closed := false
	defer func() {
		if !closed {
			require.NoError(t, a.Close())
		}
	}()
	status, body := send(t, "POST", a.URL(), booking(1, "2026-11-30T07:30:00-06:00"))
	require.Equal(t, 200, status, string(body))
	id := onlyCase(t, a)
	one, two := newHolder(t, a, id, "patient"), newHolder(t, a, id, "coach")
	require.NotEqual(t, one.link, two.link)
	require.NotEmpty(t, one.read())

	links, err := a.Office.CalendarLinks(t.Context(), id)
	require.NoError(t, err)
	require.Len(t, links, 2)
	require.Equal(t, []string{"patient", "Idony Quillfeather"}, []string{links[0].Holder, links[0].MadeBy})
	status, page := sendForm(t, a, "/case/"+id+"/calendar/revoke", url.Values{"link": {links[0].ID}})
	require.Equal(t, 200, status)
	require.Contains(t, page, "revoked")
	require.NotRegexp(t, address, page, "an address is shown once")
	status, _ = sendForm(t, a, "/case/"+id+"/calendar/revoke", url.Values{"link": {links[0].ID}})
	require.Equal(t, 404, status)

	revoked, says := one.ask("")
	require.Equal(t, 404, revoked.StatusCode)
	for _, link := range []string{strings.Replace(one.link, "/calendar/", "/calendar/x", 1), strings.TrimSuffix(two.link, ".ics"), one.link[:strings.LastIndex(one.link, "/")+1] + id + ".ics"} {
		unknown, same := (&holder{t, a, link}).ask("")
		require.Equal(t, 404, unknown.StatusCode)
		require.Equal(t, says, same)
		require.Equal(t, revoked.Header.Get("Cache-Control"), unknown.Header.Get("Cache-Control"))
	}
	require.NotEmpty(t, two.read(), "the coach's still works")

	secret := strings.TrimSuffix(two.link[strings.LastIndex(two.link, "/")+1:], ".ics")
	http.DefaultClient.CloseIdleConnections()
	require.NoError(t, a.Close())
	closed = true
	require.Contains(t, log.String(), `"route":"/calendar/:link"`)
	require.False(t, strings.Contains(log.String(), secret), "the secret is in the log")
	require.NoError(t, filepath.WalkDir(cfg.Data, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		require.False(t, bytes.Contains(b, []byte(secret)), "the secret is in %s", filepath.Base(path))
		return err
	}))
}

// The desk gives the sheet as a document of its own, in the language and for the
// paper that is asked for; an asked-for language that there is not is refused.
func TestSheetOnTheDesk(t *testing.T) {
	cfg := settings(t)
	cfg.Hospital, cfg.Phone = "Meadowfold Hospital", "555-0142, 555-0143"
	a := started(t, cfg)
	status, body := send(t, "POST", a.URL(), booking(1, "2026-11-30T07:30:00-06:00"))
	require.Equal(t, 200, status, string(body))
	id := onlyCase(t, a)
	for _, c := range []struct {
		query  string
		status int
		holds  []string
	}{
		{"", 200, []string{`<html lang="en">`, "Number1 Testperson", "Meadowfold Hospital", ">555-0142<", ">555-0143<", "size: auto"}},
		{"?language=es&paper=A4", 200, []string{`<html lang="es">`, "size: A4", "Impreso el martes 6 de octubre de 2026"}},
		{"?language=tlh", 422, nil},
		{"?paper=A3", 422, nil},
	} {
		resp, err := http.Get(a.DeskURL() + "/case/" + id + "/sheet" + c.query)
		require.NoError(t, err)
		text, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, c.status, resp.StatusCode)
		for _, part := range c.holds {
			require.True(t, strings.Contains(string(text), part), part)
		}
		require.Equal(t, "no-store", resp.Header.Get("Cache-Control"))
	}
	status, body = send(t, "GET", a.DeskURL()+"/case/"+id+"/calendar.ics", nil)
	require.Equal(t, 200, status)
	require.True(t, bytes.HasPrefix(body, []byte("BEGIN:VCALENDAR\r\n")))
	status, _ = send(t, "GET", a.DeskURL()+"/case/nobody/sheet", nil)
	require.Equal(t, 404, status)
}
