package casework

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// writing is one case being planned within its transaction.
type writing struct {
	office     *Office
	tx         *store.Tx
	protocol   *translate.Protocol // that the case is planned by
	c          *store.Case
	b          *translate.Booking
	why        cause
	fresh      bool // the case is new
	created    time.Time
	dataBefore []byte    // the case row's data as it stood
	dated      time.Time // since when the day of surgery is known
	handed     bool      // a calendar of the day that stood was handed out
	before     caseData  // the case as it stood

	old      map[readiness.Key]store.Item
	rows     map[readiness.Key]*translate.Row
	oldItems []readiness.Item
	number   map[readiness.Key]int // of each item within the case
	last     int                   // the highest number given

	records    []*translate.Record  // what is held of the person
	heldBefore []translate.HoldRow  // holds as they stood
	held       []translate.HoldView // and stand now
	asks       []translate.AskRow   // for another day, as they stand now
	grounds    []readiness.Ground   // what may hold the case
	flagged    []store.Stored       // Flags that were written
	holdRefs   []event.HoldRef      // of those

	forebears []*store.Case // of bookings of the same operation that were called off
	carried   []string      // cases whose evidence was carried over now

	plan    *readiness.Plan
	safe    string // the earliest safe date, where the booked day cannot be met
	changes []readiness.Change
	saved   []store.Item // item versions that were written
	// reworded are the items whose Task reads differently under the protocol.
	reworded []readiness.Key
	written  map[readiness.Key]*translate.Row
}

// load reads the items that stand, with the people's new entries laid over.
func (w *writing) load() error {
	w.old = map[readiness.Key]store.Item{}
	w.rows = map[readiness.Key]*translate.Row{}
	w.number = map[readiness.Key]int{}
	w.written = map[readiness.Key]*translate.Row{}
	w.created, w.dataBefore, w.oldItems, w.before = w.tx.Now, w.c.Data, nil, caseData{}
	if w.fresh {
		return nil
	}
	var d caseData
	if err := json.Unmarshal(w.c.Data, &d); err != nil {
		return err
	}
	w.heldBefore, w.before = d.Holds, d
	var err error
	if w.created, err = time.Parse(time.RFC3339Nano, d.Created); err != nil {
		return err
	}
	items, err := w.tx.Items(w.c.ID)
	if err != nil {
		return err
	}
	for _, it := range items {
		row, err := rowOf(it)
		if err != nil {
			return err
		}
		w.last = max(w.last, it.N)
		p, err := w.office.protocolOf(w.tx, it.Protocol)
		if err != nil {
			return err
		}
		w.oldItems = append(w.oldItems, row.Item(p, w.office.facility))
		if work, ok := w.why.work[it.TaskID()]; ok {
			row.Work = work
		}
		key := row.Key()
		w.old[key], w.rows[key], w.number[key] = it, row, it.N
	}
	return nil
}

func (w *writing) entries() map[readiness.Key]readiness.Entry {
	out := make(map[readiness.Key]readiness.Entry, len(w.rows))
	for key, row := range w.rows {
		if row.Work != nil {
			out[key] = row.Entry()
		}
	}
	return out
}

// items writes every item whose row differs from the one that stands.
func (w *writing) items() error {
	focus, basedOn := focusOf(w.b)
	for n := range w.plan.Items {
		i := &w.plan.Items[n]
		if w.number[i.Key] == 0 {
			w.last++
			w.number[i.Key] = w.last
		}
		row := w.office.facility.RowOf(i)
		row.Patient, row.Focus, row.BasedOn = w.b.Patient, focus, basedOn
		if i.Step.Trigger == readiness.TriggerMove {
			row.Focus, row.BasedOn = w.b.Primary, ""
		}
		if was := w.rows[i.Key]; was != nil {
			row.Work = was.Work
			row.KeepAnswered(was)
		}
		if i.Replaces > 0 {
			row.Replaces = w.taskID(readiness.Key{Step: i.Key.Step, Repeat: i.Key.Repeat, Round: i.Replaces})
		}
		row.Why = w.whyClosed(i)
		row.Status = translate.StatusOf(i, row.Work)
		if err := w.item(i.Key, &row, w.protocol); err != nil {
			return err
		}
	}
	for _, ch := range w.changes {
		if ch.Kind != readiness.Dropped {
			continue
		}
		row := *w.rows[ch.Old.Key]
		row.State, row.Status = readiness.Needless, "cancelled"
		row.Why = "The plan no longer has this step."
		switch ch.Old.Step.Trigger {
		case readiness.TriggerMove:
			row.Why = "The operation began before the booking moved."
		case readiness.TriggerTold:
			row.Why = "The operation began: the person knows the day."
		}
		if ch.Old.Step.Trigger == readiness.TriggerUnreported {
			row.Why = "Nothing is asked about that day any more."
		}
		if ch.Old.Step.Trigger == readiness.TriggerLateSigned {
			row.Why = "What it asks about does not stand any more, or the operation has begun."
		}
		by, err := w.office.protocolOf(w.tx, w.old[ch.Old.Key].Protocol)
		if err != nil {
			return err
		}
		if w.protocol.Step(row.Step) != nil { // gone for another reason
			by = w.protocol
		}
		if err := w.item(ch.Old.Key, &row, by); err != nil {
			return err
		}
	}
	return nil
}

func (w *writing) taskID(key readiness.Key) string { return store.TaskID(w.c.ID, w.number[key]) }

// rowOf reads an item version back.
func rowOf(it store.Item) (*translate.Row, error) {
	r, err := translate.DecodeRow(it.Data)
	if err != nil {
		return nil, err
	}
	r.Step, r.Repeat, r.Round = it.Step, it.Repeat, it.Round
	r.State, r.Status = readiness.ItemState(it.State), it.Status
	r.Patient, r.Focus, r.BasedOn, r.Authored = it.Patient, it.Focus, it.BasedOn, it.Created
	return r, nil
}

// whyClosed says why an item that nobody closed is not asked for.
func (w *writing) whyClosed(i *readiness.Item) string {
	if i.State == readiness.Needless && i.Decided != "" {
		return i.Decided
	}
	if i.State != readiness.Needless || i.Entry.Outcome != readiness.NoOutcome {
		return ""
	}
	if w.b.Case.Ending != readiness.Running {
		return translate.EndingWords(w.b)
	}
	if i.Step.Condition != nil {
		return "Does not apply to this person: " + i.Step.Condition.Words + "."
	}
	return ""
}

// item queues a version of an item if its row differs, or the Task that the
// protocol renders it to. An item that neither touches goes on standing by the
// protocol that it was written by.
func (w *writing) item(key readiness.Key, row *translate.Row, by *translate.Protocol) error {
	data, err := row.Encode()
	if err != nil {
		return err
	}
	w.written[key] = row
	was := w.old[key]
	it := store.Item{
		CaseID: w.c.ID, N: w.number[key], Step: row.Step, Repeat: row.Repeat, Round: row.Round,
		Version: was.Version + 1, Updated: w.tx.Now,
		State: string(row.State), Status: row.Status, Owner: ownerOf(row.Work), Focus: row.Focus, BasedOn: row.BasedOn,
		Protocol: by.Canonical(), Data: data,
	}
	if was.Version > 0 && was.Protocol != it.Protocol {
		old, err := w.office.protocolOf(w.tx, was.Protocol)
		if err != nil {
			return err
		}
		if !w.office.steadySteps(old, by)[row.Step] {
			w.reworded = append(w.reworded, key)
		}
	}
	if was.Version > 0 && !slices.Contains(w.reworded, key) && bytes.Equal(was.Data, data) && was.State == it.State &&
		was.Status == it.Status && was.Focus == it.Focus && was.BasedOn == it.BasedOn {
		return nil
	}
	it.OpensFrom, it.OpensTo = w.office.facility.Span(row.Opens)
	it.DueFrom, it.DueTo = w.office.facility.Span(row.Due)
	w.saved = append(w.saved, it)
	return nil
}

// focusOf gives what the Tasks work towards and the order they rest on.
func focusOf(b *translate.Booking) (focus, basedOn string) {
	for _, m := range b.Members {
		switch {
		case focus == "" && strings.HasPrefix(m, "Procedure/"):
			focus = m
		case basedOn == "" && strings.HasPrefix(m, "ServiceRequest/"):
			basedOn = m
		}
	}
	if focus == "" {
		focus, basedOn = basedOn, ""
	}
	return focus, basedOn
}

func ownerOf(work *translate.Work) string {
	if work == nil || work.Owner == nil {
		return ""
	}
	var ref struct {
		Reference string `json:"reference"`
	}
	if json.Unmarshal(work.Owner, &ref) != nil {
		return ""
	}
	return ref.Reference
}
