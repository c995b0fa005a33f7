package translate

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// keptProtocol is a small protocol that never changes, so that what is rendered
// by it changes only with the code.
func keptProtocol(t testing.TB) *Protocol {
	t.Helper()
	defs, _ := embedded(t)
	b, err := os.ReadFile("testdata/PlanDefinition-kept.json")
	require.NoError(t, err)
	p, err := ReadProtocol(parse(t, b), defs)
	require.NoError(t, err)
	return p
}

// columns is what the store keeps beside a row's text.
type columns struct {
	Step     string
	Repeat   string `json:",omitempty"`
	Round    int
	State    readiness.ItemState
	Status   string
	Patient  string
	Focus    string `json:",omitempty"`
	BasedOn  string `json:",omitempty"`
	Authored time.Time
	TaskID   string
	CaseID   string
	Version  int64
	Updated  time.Time
}

func (c columns) meta() TaskMeta {
	return TaskMeta{ID: c.TaskID, CaseID: c.CaseID, Version: c.Version, Updated: c.Updated}
}

// into puts the columns on a row that was read from its text.
func (c columns) into(r *Row) *Row {
	r.Step, r.Repeat, r.Round, r.State, r.Status = c.Step, c.Repeat, c.Round, c.State, c.Status
	r.Patient, r.Focus, r.BasedOn, r.Authored = c.Patient, c.Focus, c.BasedOn, c.Authored
	return r
}

func columnsOf(r *Row) columns {
	return columns{
		Step: r.Step, Repeat: r.Repeat, Round: r.Round, State: r.State, Status: r.Status,
		Patient: r.Patient, Focus: r.Focus, BasedOn: r.BasedOn, Authored: r.Authored,
	}
}

// stored writes a row and reads it back as the store gives it.
func stored(t require.TestingT, r *Row) *Row {
	text, err := r.Encode()
	require.NoError(t, err)
	back, err := DecodeRow(text)
	require.NoError(t, err)
	return columnsOf(r).into(back)
}

// rendered is the Task of a row, parsed without an issue.
func rendered(t require.TestingT, f Facility, r *Row, m TaskMeta, p *Protocol) (*fhir.Resource, []byte) {
	task, err := f.Task(r, m, p)
	require.NoError(t, err)
	body, err := fhir.Marshal(task)
	require.NoError(t, err)
	return parse(t, body), body
}

// rowOf plans one step and makes its row as the service does.
func rowOf(t require.TestingT, f Facility, i *readiness.Item, w *Work) *Row {
	r := f.RowOf(i)
	r.Status, r.Work = StatusOf(i, w), w
	r.Patient, r.Focus, r.BasedOn = "Patient/p", "Procedure/o", "ServiceRequest/s"
	r.Authored = f.clock(t, "2026-10-01 15:00")
	if i.Replaces > 0 {
		r.Replaces = "task-before"
	}
	return &r
}

func (w world) task(r *Row) TaskMeta {
	return TaskMeta{ID: "task-1", CaseID: "case-1", Version: 3, Updated: w.now}
}

// world is a case at a moment, for the renderings.
type world struct {
	f   Facility
	p   *Protocol
	c   readiness.Case
	now time.Time
}

func newWorld(t require.TestingT, f Facility, p *Protocol, now string) world {
	w := world{f: f, p: p, c: f.hipOn(t, onS), now: f.clock(t, now)}
	w.c.Entries = map[readiness.Key]readiness.Entry{}
	return w
}

// item plans the case and finds the last round of a step.
func (w world) item(t require.TestingT, code string) *readiness.Item {
	pl := readiness.Make(&w.c, w.p.Protocol, w.f.Calendar, w.now)
	var out *readiness.Item
	for n := range pl.Items {
		if pl.Items[n].Key.Step == code {
			out = &pl.Items[n]
		}
	}
	require.NotNil(t, out, code)
	return out
}

func TestRowRoundTrip(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	rapid.Check(t, func(t *rapid.T) {
		item := drawItem(t, f, p)
		r := rowOf(t, f, &item, drawWork(t))
		one, err := r.Encode()
		require.NoError(t, err)
		back := stored(t, r)
		require.Equal(t, r, back)
		two, err := back.Encode()
		require.NoError(t, err)
		require.Equal(t, string(one), string(two), "equal rows give equal bytes")

		again := back.Item(p, f)
		again.Entry, again.Replaces = item.Entry, item.Replaces // from the people and the id column
		if item.Raised != nil {
			require.True(t, item.Raised.At.Equal(again.Raised.At))
			require.Equal(t, item.Raised.Why, again.Raised.Why)
			again.Raised = item.Raised
		}
		require.Equal(t, item, again)
		require.Empty(t, readiness.Replan([]readiness.Item{again}, &readiness.Plan{Items: []readiness.Item{item}}))
		require.Equal(t, f.RowOf(&item), f.RowOf(&again))
	})
}

func drawItem(t *rapid.T, f Facility, p *Protocol) readiness.Item {
	s := rapid.SampledFrom(p.Steps).Draw(t, "step")
	moment := func(name string) readiness.Moment {
		d := calendar.NewDate(2026, 10, 25).Add(rapid.IntRange(0, 200).Draw(t, name))
		switch rapid.IntRange(0, 2).Draw(t, name+" kind") {
		case 0:
			return readiness.Moment{}
		case 1:
			return readiness.Moment{Day: d}
		}
		at := f.Calendar.StartOf(d).Add(time.Duration(rapid.IntRange(0, 82799).Draw(t, name+" second")) * time.Second)
		return readiness.Moment{Day: d, At: at}
	}
	words := func(name string) []string {
		if out := rapid.SliceOfN(rapid.String(), 0, 2).Draw(t, name); len(out) > 0 {
			return out
		}
		return nil
	}
	out := readiness.Item{
		Key:  readiness.Key{Step: s.Code, Repeat: rapid.String().Draw(t, "repeat"), Round: rapid.IntRange(1, 9).Draw(t, "round")},
		Step: p.Step(s.Code), State: rapid.SampledFrom([]readiness.ItemState{readiness.Open, readiness.Missed, readiness.Paused}).Draw(t, "state"),
		Applies: readiness.Answer(rapid.IntRange(0, 2).Draw(t, "applies")),
		Opens:   moment("opens"), Due: moment("due"), Last: moment("last"),
		Waits: words("waits"), Needs: words("needs"),
		Compressed: rapid.Bool().Draw(t, "compressed"), TooLate: rapid.Bool().Draw(t, "too late"),
		LeaveBy: moment("leave by").Day, LeaveFor: words("leave for"),
	}
	if rapid.Bool().Draw(t, "raised") {
		out.Raised = &readiness.Raised{Why: "why " + rapid.String().Draw(t, "why"), At: f.Calendar.StartOf(calendar.NewDate(2026, 11, 12))}
	}
	return out
}

func drawWork(t *rapid.T) *Work {
	if rapid.Bool().Draw(t, "untouched") {
		return nil
	}
	return &Work{
		Outcome: readiness.Outcome(rapid.IntRange(0, 4).Draw(t, "outcome")),
		Status:  rapid.SampledFrom([]string{"", "accepted", "in-progress"}).Draw(t, "status"),
		On:      rapid.SampledFrom([]string{"", "2026-11-12"}).Draw(t, "on"),
		For:     rapid.SampledFrom([]map[string]string{nil, {"side": "left", "date": "2026-11-30"}}).Draw(t, "for"),
		Reason:  rapid.String().Draw(t, "reason"),
		Signed:  rapid.SampledFrom([]string{"", "2026-11-27", "2026-11-27T08:00:00-06:00"}).Draw(t, "signed"), Decision: rapid.SampledFrom([]string{"", "go-on", "not-taken"}).Draw(t, "decision"),
		Note: rapid.SampledFrom([]json.RawMessage{nil, json.RawMessage(`[{"text":"n"}]`)}).Draw(t, "note"),
	}
}

// A plan that was stored and read back is the same plan, to the instant.
func TestAStoredPlanDoesNotChange(t *testing.T) {
	f, p := chicago(t), defaultProtocol(t)
	c := f.hipOn(t, onS)
	fraction := 123456789 * time.Nanosecond // times of receipt have fractions
	c.Booked, c.Left = c.Booked.Add(fraction), f.clock(t, "2026-12-01 10:40").Add(fraction)
	for n := range p.Steps {
		if s := p.Steps[n]; s.Trigger != "" {
			c.Raised = append(c.Raised, readiness.Raised{Trigger: s.Trigger, Key: "k", At: c.Booked})
		}
	}
	pl := readiness.Make(&c, p.Protocol, f.Calendar, f.clock(t, "2026-12-02 09:00"))
	var items []readiness.Item
	for n := range pl.Items {
		items = append(items, stored(t, rowOf(t, f, &pl.Items[n], nil)).Item(p, f))
	}
	require.Empty(t, readiness.Replan(items, pl))
}

func TestRowOfAStepThatIsGone(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	r := &Row{Step: "gone", Round: 1, State: readiness.Needless, Status: "cancelled", Applies: readiness.Yes, Patient: "Patient/p", Authored: f.clock(t, onS), Why: "The plan no longer has this step."}
	task, _ := rendered(t, f, r, TaskMeta{ID: "x", CaseID: "c", Version: 2, Updated: f.clock(t, onS)}, p)
	require.Equal(t, "gone", task.String("code", "coding", "code"))
	require.Equal(t, "The plan no longer has this step.", task.String("statusReason", "text"))
	require.Nil(t, extension(task.Root(), "rule"), "an empty text is no rule")
}

func TestDecodeRowRefuses(t *testing.T) {
	_, err := DecodeRow([]byte(`{"a":"yes"}`))
	require.ErrorContains(t, err, "read item row")
}

func TestTaskRefusesAnUnknownStatus(t *testing.T) {
	_, err := chicago(t).Task(&Row{Status: "finished"}, TaskMeta{}, keptProtocol(t))
	require.Error(t, err)
}

func TestSpan(t *testing.T) {
	f := chicago(t)
	from, to := f.Span("")
	require.True(t, from.IsZero() && to.IsZero())
	from, to = f.Span("2026-11-01") // 25 hours
	require.Equal(t, 25*time.Hour, to.Sub(from))
	require.Equal(t, "2026-11-01T00:00:00-05:00", from.Format(time.RFC3339))
	from, to = f.Span("2026-11-30T05:30:00-06:00")
	require.Equal(t, time.Second, to.Sub(from))
	from, _ = f.Span("neither")
	require.True(t, from.IsZero())
}

// kept is one row as an earlier version of the service stored it, with the Task
// that was served for it.
type kept struct {
	About   string
	Columns columns
	Row     json.RawMessage
	Task    json.RawMessage
}

// Rows that were stored once must give the same Task for ever: a version that
// was served is never served differently. Files are added (with -update, which
// leaves those that exist alone), never changed.
func TestKeptRowsRenderAsTheyDid(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	for name, r := range exampleRows(t, f, p) {
		file := filepath.Join("testdata", "rows", name+".json")
		if _, err := os.Stat(file); *update && os.IsNotExist(err) {
			keep(t, file, f, p, name, r)
		}
	}
	files, err := filepath.Glob("testdata/rows/*.json")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 10)
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".json"), func(t *testing.T) {
			b, err := os.ReadFile(file)
			require.NoError(t, err)
			var k kept
			require.NoError(t, json.Unmarshal(b, &k))
			row, err := DecodeRow(k.Row)
			require.NoError(t, err)
			_, body := rendered(t, f, k.Columns.into(row), k.Columns.meta(), p)
			require.Equal(t, string(pretty(t, k.Task)), string(pretty(t, body)))
		})
	}
}

func keep(t *testing.T, file string, f Facility, p *Protocol, about string, r *Row) {
	t.Helper()
	c := columnsOf(r)
	c.TaskID, c.CaseID, c.Version, c.Updated = "task-1", "case-1", 3, f.clock(t, "2026-11-20 09:00")
	text, err := r.Encode()
	require.NoError(t, err)
	_, body := rendered(t, f, r, c.meta(), p)
	out, err := json.MarshalIndent(kept{About: about, Columns: c, Row: text, Task: body}, "", "  ")
	require.NoError(t, err)
	require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o755))
	require.NoError(t, os.WriteFile(file, append(out, '\n'), 0o644))
}

// rowAt is an open row that stands at a status, with what was written before.
func rowAt(t require.TestingT, f Facility, i *readiness.Item, status string, w *Work) *Row {
	r := rowOf(t, f, i, w)
	r.Status = status
	return r
}
