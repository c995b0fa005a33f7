package casework

import (
	"context"
	"slices"
	"strings"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
)

func (h *house) read(fn func(*store.Tx) error) {
	h.t.Helper()
	require.NoError(h.t, h.db.Read(context.Background(), fn))
}

// cases are all cases of a person, open or not.
func (h *house) cases(patient string) (out []store.Case) {
	h.t.Helper()
	h.read(func(tx *store.Tx) (err error) {
		out, err = tx.CasesOf(patient)
		return err
	})
	return out
}

func (h *house) onlyCase(patient string) store.Case {
	h.t.Helper()
	all := h.cases(patient)
	require.Len(h.t, all, 1)
	return all[0]
}

func (h *house) caseRow(plan string) (out store.Case) {
	h.t.Helper()
	h.read(func(tx *store.Tx) (err error) {
		out, err = tx.Case(plan)
		return err
	})
	return out
}

// get reads a resource by Type/id as it is served.
func (h *house) get(ref string) *fhir.Resource {
	h.t.Helper()
	typ, id, _ := strings.Cut(ref, "/")
	s, err := h.office.Get(context.Background(), typ, id)
	require.NoError(h.t, err)
	return parse(h.t, s.Body)
}

// version reads one version of a resource as it is served.
func (h *house) version(ref string, v int64) store.Stored {
	h.t.Helper()
	typ, id, _ := strings.Cut(ref, "/")
	s, err := h.office.Version(context.Background(), typ, id, v)
	require.NoError(h.t, err)
	return s
}

func parse(t tester, body []byte) *fhir.Resource {
	t.Helper()
	r, issues := fhir.Parse(body, 1<<20)
	require.Empty(t, issues)
	return r
}

// found are the resources of a type, all of them.
func (h *house) found(typ string) []store.Stored {
	h.t.Helper()
	q, issues := search.Parse(typ, map[string][]string{"_count": {"200"}}, search.Options{Zone: chicago().Calendar.Zone()})
	require.Empty(h.t, issues)
	page, err := h.office.Search(context.Background(), q)
	require.NoError(h.t, err)
	require.Empty(h.t, page.Next, "more %s than these tests make", typ)
	return page.Items
}

// item is one version of an item as tests look at it.
type item struct {
	ID, Step, State, Status  string
	Round                    int
	Version                  int64
	Opens, Due, Last, Marks  string
	Replaces, Focus, BasedOn string
	Record, RecordOn         string
}

// items are the current items of a case, in the order of their numbers.
func (h *house) items(plan string) []item {
	h.t.Helper()
	var out []item
	h.read(func(tx *store.Tx) error {
		list, err := tx.Items(plan)
		if err != nil {
			return err
		}
		for _, it := range list {
			row, err := rowOf(it)
			if err != nil {
				return err
			}
			out = append(out, item{
				ID: it.TaskID(), Step: it.Step, State: it.State, Status: it.Status, Round: it.Round, Version: it.Version,
				Opens: row.Opens, Due: row.Due, Last: row.Last, Marks: row.Marks, Replaces: row.Replaces,
				Focus: it.Focus, BasedOn: it.BasedOn, Record: row.Record, RecordOn: row.RecordOn,
			})
		}
		return nil
	})
	return out
}

// rounds are the items of one step, the first round first.
func (h *house) rounds(plan, step string) []item {
	h.t.Helper()
	var out []item
	for _, i := range h.items(plan) {
		if i.Step == step {
			out = append(out, i)
		}
	}
	require.NotEmpty(h.t, out, step)
	return out
}

// step is the last round of a step.
func (h *house) step(plan, step string) item {
	h.t.Helper()
	all := h.rounds(plan, step)
	return all[len(all)-1]
}

// rows are all events that were put into the outbox, in their order.
func (h *house) rows() []store.OutboxRow {
	h.t.Helper()
	rows, err := h.db.Unpublished(context.Background(), 1<<20)
	require.NoError(h.t, err)
	return rows
}

// mark remembers how many events there are, for after.
func (h *house) mark() int { h.t.Helper(); return len(h.rows()) }

// after are the events since a mark.
func (h *house) after(mark int) []event.Event {
	h.t.Helper()
	var out []event.Event
	for _, r := range h.rows()[mark:] {
		e, err := event.Decode(r.Body)
		require.NoError(h.t, err)
		out = append(out, e)
	}
	return out
}

// names of events, in their order.
func names(events []event.Event) []string {
	out := []string{}
	for _, e := range events {
		out = append(out, e.Name())
	}
	return out
}

// steps are the step codes that the events of a name speak of, sorted.
func (h *house) steps(events []event.Event, name string) []string {
	h.t.Helper()
	out := []string{}
	for _, e := range events {
		if e.Name() != name {
			continue
		}
		d, err := e.TasksData()
		require.NoError(h.t, err)
		for _, k := range d.Tasks {
			out = append(out, k.Step)
		}
	}
	slices.Sort(out)
	return out
}

// caseData is the data of the one event of a name.
func (h *house) caseData(events []event.Event, name string) event.CaseData {
	h.t.Helper()
	for _, e := range events {
		if e.Name() == name {
			d, err := e.CaseData()
			require.NoError(h.t, err)
			return d
		}
	}
	require.Fail(h.t, "no such event", name)
	return event.CaseData{}
}
