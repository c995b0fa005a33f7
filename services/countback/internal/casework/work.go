package casework

import (
	"context"
	"errors"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// TaskWork is what a person wrote on a Task: the Task as it was read, with
// only the people's elements changed.
type TaskWork struct {
	ID, IfMatch         string
	Source, ContentType string
	Body                []byte // as sent
	Resource            *fhir.Resource
	Patch               fhir.Amendment // instead of a Resource
	Ask                 bool           // a last dose later than the rules give is not stored: the error is a *LateDose
}

// Work records what a person wrote and plans the case again.
func (o *Office) Work(ctx context.Context, t TaskWork) (Result, error) {
	var out Result
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		var err error
		out, err = o.work(tx, t)
		return err
	})
	return out, err
}

func (o *Office) work(tx *store.Tx, t TaskWork) (Result, error) {
	var out Result
	item, err := tx.Item(t.ID)
	if errors.Is(err, store.ErrNotFound) {
		return out, notFound("Task")
	}
	if err != nil {
		return out, err
	}
	if err := o.wake(tx, item.Patient); err != nil {
		return out, err
	}
	if item, err = tx.Item(t.ID); err != nil {
		return out, err
	}
	if t.IfMatch != "" && strings.TrimSpace(t.IfMatch) != etag(item.Version) {
		return out, Refuse(ErrVersion, "conflict", "Task", "the Task has changed since the version named in If-Match: read it again")
	}
	work, late, err := o.readWork(tx, t, item)
	if err != nil {
		return out, err
	}
	if late != "" && t.Ask {
		return out, &LateDose{Words: late}
	}
	method := "PUT"
	if t.Patch != nil {
		method = "PATCH"
	}
	nth, err := tx.Archive(store.Received{
		At: tx.Now, Source: t.Source, ContentType: t.ContentType, Method: method, Target: "Task/" + t.ID, Body: t.Body,
	})
	if err != nil {
		return out, err
	}
	row, err := rowOf(item)
	if err != nil {
		return out, err
	}
	if work != nil && work.Outcome == readiness.Done && (row.Work == nil || row.Work.Outcome != readiness.Done) {
		work.Nth = nth
	}
	if err := o.answer(tx, item, row, work); err != nil {
		return out, err
	}
	if err := o.replan(tx, item.Patient, cause{work: map[string]*translate.Work{t.ID: work}}); err != nil {
		return out, err
	}
	after, err := tx.Item(t.ID)
	if err != nil {
		return out, err
	}
	out.Stored, err = o.rendered(tx, after)
	out.Changed = after.Version != item.Version
	if late != "" {
		out.Advice, out.AdviceAt = late, "Task.output"
	}
	return out, err
}

// readWork judges the entry against the Task as it stands, and says what a
// person must be told of it at once; empty: nothing.
func (o *Office) readWork(tx *store.Tx, t TaskWork, item store.Item) (*translate.Work, string, error) {
	now, err := o.rendered(tx, item)
	if err != nil {
		return nil, "", err
	}
	current, issues := fhir.Parse(now.Body, len(now.Body)+1)
	if len(issues) > 0 {
		return nil, "", issues
	}
	row, err := rowOf(item)
	if err != nil {
		return nil, "", err
	}
	p, err := o.protocolOf(tx, item.Protocol)
	if err != nil {
		return nil, "", err
	}
	standing, err := o.stands(tx, item)
	if err != nil {
		return nil, "", err
	}
	if t.Patch != nil {
		if t.Resource, err = patchedOf(t.Patch, current, "Task"); err != nil {
			return nil, "", err
		}
	}
	ri := row.Item(p, o.facility)
	opt := translate.WorkOptions{
		Today: o.facility.Today(tx.Now), Now: tx.Now, Snapshot: standing.Snapshot(), Advised: o.advised(standing, row.Repeat), SetsDose: standing.SetsDose(row.Repeat), Known: o.whoIs(tx),
	}
	if opt.Signer, err = o.signer(tx, item.CaseID, ri.Raised); err != nil {
		return nil, "", err
	}
	if s := p.Step(item.Step); s != nil && s.Trigger == readiness.TriggerHold {
		if opt.Unseen, err = o.unseen(tx, item, p, row.Repeat); err != nil {
			return nil, "", err
		}
	}
	work, issues := o.facility.ReadWork(t.Resource, current, row, &ri, opt)
	if len(issues) > 0 {
		return nil, "", &Refusal{Err: ErrInvalid, Issues: issues}
	}
	late := o.lateDose(standing, row.Repeat, work)
	if late != "" && p.Raises(readiness.TriggerLateSigned) {
		late += secondLook
	}
	return work, late, nil
}

// stands is what the item's booking stands at now.
func (o *Office) stands(tx *store.Tx, item store.Item) (*readiness.Case, error) {
	b, err := o.bookingOf(tx, item)
	if err != nil {
		return nil, err
	}
	return &b.Case, nil
}

// bookingOf is the item's booking as it stands now; an empty one where there is
// none any more.
func (o *Office) bookingOf(tx *store.Tx, item store.Item) (*translate.Booking, error) {
	c, err := tx.Case(item.CaseID)
	if err != nil {
		return nil, err
	}
	records, err := o.records(tx, item.Patient)
	if err != nil {
		return nil, err
	}
	p, err := o.inForce(tx)
	if err != nil {
		return nil, err
	}
	for _, b := range translate.Bookings(records, p, o.facility) {
		if b.Primary == c.Key {
			return &b, nil
		}
	}
	return &translate.Booking{}, nil
}

// advised is the last dose that the rules give for a medicine; zero for none.
func (o *Office) advised(c *readiness.Case, medicine string) readiness.Moment {
	for n := range c.Medicines {
		if m := &c.Medicines[n]; medicine != "" && m.Key == medicine {
			a := readiness.Advise(m, c, o.facility.Calendar)
			return a.Last
		}
	}
	return readiness.Moment{}
}

// rendered is an item version as the Task that it is.
func (o *Office) rendered(tx *store.Tx, item store.Item) (store.Stored, error) {
	row, err := rowOf(item)
	if err != nil {
		return store.Stored{}, err
	}
	p, err := o.protocolOf(tx, item.Protocol)
	if err != nil {
		return store.Stored{}, err
	}
	t, err := o.facility.Task(row, translate.TaskMeta{
		ID: item.TaskID(), CaseID: item.CaseID, Version: item.Version, Updated: item.Updated,
	}, p)
	if err != nil {
		return store.Stored{}, err
	}
	body, err := fhir.Marshal(t)
	return store.Stored{
		Type: "Task", ID: item.TaskID(), Version: item.Version, Updated: item.Updated, Patient: item.Patient, Body: body,
	}, err
}

// Get reads the current version of a resource; a Task is rendered. The error
// is a *Refusal with ErrNotFound or ErrGone when there is none.
func (o *Office) Get(ctx context.Context, typ, id string) (store.Stored, error) {
	return o.readOne(ctx, typ, func(tx *store.Tx) (store.Stored, error) { return o.held(tx, typ, id) })
}

func (o *Office) held(tx *store.Tx, typ, id string) (store.Stored, error) {
	if typ != "Task" {
		return tx.Current(typ, id)
	}
	item, err := tx.Item(id)
	if err != nil {
		return store.Stored{}, err
	}
	return o.rendered(tx, item)
}

// Version reads one version of a resource.
func (o *Office) Version(ctx context.Context, typ, id string, v int64) (store.Stored, error) {
	return o.readOne(ctx, typ, func(tx *store.Tx) (store.Stored, error) {
		if typ != "Task" {
			return tx.Version(typ, id, v)
		}
		item, err := tx.ItemVersion(id, v)
		if err != nil {
			return store.Stored{}, err
		}
		return o.rendered(tx, item)
	})
}

func (o *Office) readOne(ctx context.Context, typ string, read func(*store.Tx) (store.Stored, error)) (store.Stored, error) {
	var out store.Stored
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		var err error
		out, err = read(tx)
		return err
	})
	switch {
	case errors.Is(err, store.ErrNotFound):
		return out, notFound(typ)
	case err == nil && out.Deleted:
		return out, Refuse(ErrGone, "deleted", typ, "this "+typ+" was deleted")
	}
	return out, err
}

func notFound(typ string) *Refusal {
	return Refuse(ErrNotFound, "not-found", typ, "there is no such "+typ)
}

// Search finds current resources, with what is to be included; Tasks are
// rendered.
func (o *Office) Search(ctx context.Context, q search.Query) (Found, error) {
	var out Found
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		var err error
		if out.Page, err = o.search(tx, q); err != nil {
			return err
		}
		return o.include(tx, q, &out)
	})
	return out, err
}

func (o *Office) search(tx *store.Tx, q search.Query) (store.Page, error) {
	if q.Type != "Task" {
		return tx.Search(q)
	}
	page, err := tx.SearchItems(q)
	if err != nil {
		return store.Page{}, err
	}
	out := store.Page{Next: page.Next, Total: page.Total}
	for _, item := range page.Items {
		s, err := o.rendered(tx, item)
		if err != nil {
			return out, err
		}
		out.Items = append(out.Items, s)
	}
	return out, nil
}

func etag(version int64) string { return `W/"` + strconv.FormatInt(version, 10) + `"` }
