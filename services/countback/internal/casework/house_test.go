package casework

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	_ "github.com/ncruces/go-sqlite3/driver"
	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

const token = "larkspindle"

// tester is a *testing.T, or a *rapid.T.
type tester interface {
	require.TestingT
	Helper()
}

// house is a real office over a real database, with a clock that tests set.
type house struct {
	t      tester
	path   string
	db     *store.DB
	office *Office

	corrected bool // the next opening is told that the clock was ahead

	mu  sync.Mutex
	now time.Time
}

var chicago = sync.OnceValue(func() translate.Facility {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		panic(err)
	}
	holidays, err := calendar.Holidays("us-federal")
	if err != nil {
		panic(err)
	}
	cal, err := calendar.New(calendar.Options{Zone: zone, Holidays: holidays})
	if err != nil {
		panic(err)
	}
	return translate.Facility{Calendar: cal, Base: "https://plans.larkspindle.example/fhir"}
})

// at reads "2026-09-08 10:22" (and seconds) in the facility's zone.
func at(s string) time.Time {
	layout := "2006-01-02 15:04:05"
	t, err := time.ParseInLocation(layout[:len(s)], s, chicago().Calendar.Zone())
	if err != nil {
		panic(err)
	}
	return t
}

// localTime writes the same as an instant of FHIR.
func localTime(s string) string { return at(s).Format(time.RFC3339) }

// When most tests begin, and the day of surgery that they book.
const (
	bookedAt = "2026-09-08 10:22"
	surgery  = "2027-01-11" // a Monday
)

// newHouse opens an office in a folder of the test.
func newHouse(t *testing.T) *house {
	t.Helper()
	path := t.TempDir()
	require.NoError(t, os.CopyFS(path, begun()))
	h := openHouse(t, path, nil)
	t.Cleanup(h.close)
	return h
}

// begun holds the files of an office that was opened once and closed, on the day
// on which newHouse opens its own: a second opening finds its definitions
// published, which takes a third of the time.
var begun = sync.OnceValue(func() fs.FS {
	path, err := os.MkdirTemp("", "office")
	must(err)
	defer func() { must(os.RemoveAll(path)) }()
	h := &house{path: path, now: at(bookedAt)}
	must(h.tryOpen(nil))
	must(h.db.Close())
	names, err := filepath.Glob(filepath.Join(path, "*"))
	must(err)
	files := fstest.MapFS{}
	for _, name := range names {
		data, err := os.ReadFile(name)
		must(err)
		files[filepath.Base(name)] = &fstest.MapFile{Data: data, Mode: 0o600}
	}
	return files
})

func must(err error) {
	if err != nil {
		panic(err)
	}
}

// openHouse opens an office over a folder; the caller closes it. A nil protocol
// is the embedded one.
func openHouse(t tester, path string, protocol []byte) *house {
	t.Helper()
	h := &house{t: t, path: path, now: at(bookedAt)}
	h.open(protocol)
	return h
}

func (h *house) open(protocol []byte) {
	h.t.Helper()
	require.NoError(h.t, h.tryOpen(protocol))
}

func (h *house) tryOpen(protocol []byte) error {
	db, err := store.Open(context.Background(), store.Options{Path: h.path, Now: h.clock, Fatal: func(err error) { panic(err) }, ClockCorrected: h.corrected})
	if err != nil {
		return err
	}
	office, err := Open(context.Background(), Options{DB: db, Facility: chicago(), Token: token, PlanDefinition: protocol})
	if err != nil {
		return errors.Join(err, db.Close())
	}
	h.db, h.office = db, office
	return nil
}

func (h *house) close() { require.NoError(h.t, h.db.Close()) }

// restart closes everything and opens it again at another time.
func (h *house) restart(when string) {
	h.t.Helper()
	h.close()
	h.set(when)
	h.open(nil)
}

func (h *house) clock() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now.UTC()
}

// set moves the clock and nothing else.
func (h *house) set(when string) { h.setTo(at(when)) }

func (h *house) setTo(when time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = when
}

// tick moves the clock and lets time have its effect; it says how many cases
// had something due.
func (h *house) tick(when string) int {
	h.t.Helper()
	return h.tickTo(at(when))
}

func (h *house) tickTo(when time.Time) int {
	h.t.Helper()
	h.setTo(when)
	n, err := h.office.Tick(context.Background(), when, 100)
	require.NoError(h.t, err)
	return n
}

// delivery is a message as the edge hands it on.
func delivery(t tester, target, body string, change ...func(*Request)) Delivery {
	t.Helper()
	parsed, issues := fhir.Parse([]byte(body), 1<<20)
	require.Empty(t, issues)
	d := Delivery{Source: "https://theatre.larkspindle.example", ContentType: "application/fhir+json", Method: "POST", Target: target, Body: []byte(body)}
	if parsed.Type == "Bundle" {
		b, issues := parsed.Bundle(100)
		require.Empty(t, issues)
		for n, e := range b.Entries {
			d.Requests = append(d.Requests, Request{
				At: fmt.Sprintf("Bundle.entry[%d]", n), Method: e.Method, Type: e.TargetType, ID: e.TargetID, Query: e.Query,
				IfNoneExist: e.IfNoneExist, IfMatch: e.IfMatch, FullURL: e.FullURL, Resource: e.Resource,
			})
		}
		return d
	}
	d.Method = methodOf(target)
	q := Request{Method: d.Method, Type: parsed.Type, Resource: parsed}
	path, query, _ := strings.Cut(target, "?")
	_, q.ID, _ = strings.Cut(path, "/")
	q.Query = query
	for _, c := range change {
		c(&q)
	}
	d.Requests = []Request{q}
	return d
}

// Changes of a single request.
func ifMatch(version string) func(*Request)   { return func(q *Request) { q.IfMatch = version } }
func ifNoneExist(query string) func(*Request) { return func(q *Request) { q.IfNoneExist = query } }
func (h *house) receive(d Delivery) ([]Result, error) {
	return h.office.Receive(context.Background(), d)
}

// put sends one resource and gives what became of it. A target that is a type
// alone is posted.
func (h *house) put(target string, r res, change ...func(*Request)) Result {
	h.t.Helper()
	out, err := h.receive(delivery(h.t, target, r.json(), change...))
	require.NoError(h.t, err)
	require.Len(h.t, out, 1)
	return out[0]
}

// send sends a transaction and gives Type/id of its entries.
func (h *house) send(body string) []string {
	h.t.Helper()
	results, err := h.receive(delivery(h.t, "", body))
	require.NoError(h.t, err)
	var out []string
	for _, r := range results {
		out = append(out, name(r.Stored))
	}
	return out
}

func name(s store.Stored) string { return s.Type + "/" + s.ID }

// booked is what a booking led to.
type booked struct{ patient, appointment, plan string }

// book sends the booking of a new person, which opens one case.
func (h *house) book(n, day string) booked {
	h.t.Helper()
	refs := h.send(bookingMessage(n, day))
	return booked{patient: refs[0], appointment: refs[1], plan: h.onlyCase(refs[0]).ID}
}

// everything is a digest of each table, so that a test can say that nothing at
// all was stored.
func (h *house) everything() map[string]string {
	h.t.Helper()
	pool, err := sql.Open("sqlite3", "file:"+filepath.ToSlash(filepath.Join(h.path, store.File)))
	require.NoError(h.t, err)
	defer pool.Close()
	tables := texts(h.t, pool, `SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name`)
	require.Contains(h.t, tables, "received")
	out := map[string]string{}
	for _, table := range tables {
		columns := texts(h.t, pool, `SELECT 'quote("' || name || '")' FROM pragma_table_info('`+table+`')`)
		sum := sha256.New()
		rows := texts(h.t, pool, `SELECT `+strings.Join(columns, ` || ',' || `)+` FROM "`+table+`" ORDER BY 1`)
		for _, row := range rows {
			fmt.Fprintln(sum, row)
		}
		out[table] = fmt.Sprintf("%d rows, %s", len(rows), hex.EncodeToString(sum.Sum(nil)[:8]))
	}
	return out
}

func texts(t tester, pool *sql.DB, query string) []string {
	t.Helper()
	rows, err := pool.Query(query)
	require.NoError(t, err)
	defer rows.Close()
	var out []string
	for rows.Next() {
		var s string
		require.NoError(t, rows.Scan(&s))
		out = append(out, s)
	}
	require.NoError(t, rows.Err())
	return out
}
