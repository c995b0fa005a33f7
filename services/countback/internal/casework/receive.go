package casework

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Received are the resource types that a hospital may send.
var Received = []string{
	"Appointment", "Procedure", "ServiceRequest", "Patient", "RelatedPerson",
	"Practitioner", "Location", "Encounter", "CareTeam",
	"Condition", "Observation", "DiagnosticReport", "QuestionnaireResponse",
	"MedicationStatement", "MedicationRequest", "AllergyIntolerance",
}

// booking are the types that bookings are made from; clinical are those that
// say more about the person. Plans follow from both.
var (
	booking  = []string{"Appointment", "Procedure", "ServiceRequest", "Encounter"}
	clinical = []string{
		"Condition", "Observation", "DiagnosticReport", "QuestionnaireResponse",
		"MedicationStatement", "MedicationRequest", "AllergyIntolerance",
	}
	planned = slices.Concat(booking, clinical)
)

// Delivery is one message as it came, and what it asks for. All of its
// requests succeed, or none of them changes anything.
type Delivery struct {
	Source, ContentType, Method, Target string
	Body                                []byte // as sent
	Requests                            []Request
}

// Request is one create, update, patch or deletion.
type Request struct {
	At          string // where it stands, "Bundle.entry[2]"; empty for a message of its own
	Method      string // POST, PUT, PATCH or DELETE
	Type, ID    string // of the target; ID empty for POST and what has a condition
	Query       string // of a conditional update, patch or deletion: search parameters
	IfNoneExist string // of a conditional create
	IfMatch     string // version that must be the current one; empty: none
	FullURL     string // what other entries call it
	Resource    *fhir.Resource
	Patch       fhir.Amendment // of a PATCH, which has no Resource
}

// Result is what became of one request.
type Result struct {
	Stored  store.Stored
	Created bool
	Changed bool // false: what was sent is what is held already
	Deleted bool // there is no such resource now, whether there was one or not
	// Note says why a booking was kept and opened no case, and what may go wrong
	// with a protocol that was adopted; empty for nothing.
	Note string
	// Superseded is set where a later message of the source is held already:
	// Stored is that, and nothing was changed.
	Superseded bool
	// Advice is what a person who reported a symptom must be told at once; empty
	// for anything else. It must stand in the response.
	Advice string
	// AdviceAt is the element that the advice is about; empty: the whole.
	AdviceAt string
}

// Receive stores what was sent and plans again whatever follows from it, in
// one transaction. It returns a *Refusal when the message cannot be accepted;
// then nothing of it is stored.
func (o *Office) Receive(ctx context.Context, d Delivery) ([]Result, error) {
	var out []Result
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		r := o.receipt(tx)
		var err error
		out, err = r.run(d)
		return err
	})
	if err != nil {
		o.refused(d, err)
		return nil, err
	}
	return out, nil
}

func (o *Office) receipt(tx *store.Tx) *receipt {
	return &receipt{
		office: o, tx: tx, refs: map[string]string{}, claimed: map[string]int{}, at: map[string]string{}, erased: map[int]erasure{},
	}
}

// receipt is one delivery within its transaction.
type receipt struct {
	office   *Office
	tx       *store.Tx
	protocol *translate.Protocol // in force
	feeds    []store.Feed        // counted of each source
	received int64
	refs     map[string]string // what entries call each other → Type/id
	claimed  map[string]int    // Type/id → request that stands for it
	requests []Request
	targets  []target          // of the requests
	sources  []string          // versioned references of what changed
	at       map[string]string // Type/id → where the sender finds it in the message
	erased   map[int]erasure   // what became of deletions, by request

	strangers []stranger // bookings of nobody who is known here, to be looked at again
}

// target is the resource that a request turned out to mean.
type target struct {
	current store.Stored // Version 0: none yet
	matched bool         // a conditional create that found one, or a deletion: nothing more to write
}

func (r *receipt) run(d Delivery) ([]Result, error) {
	var err error
	r.received, err = r.tx.Archive(store.Received{
		At: r.tx.Now, Source: d.Source, ContentType: d.ContentType,
		Method: d.Method, Target: d.Target, Body: d.Body,
	})
	if err != nil {
		return nil, err
	}
	if r.protocol, err = r.office.inForce(r.tx); err != nil {
		return nil, err
	}
	d.Requests = slices.Clone(d.Requests)
	r.requests, r.targets = d.Requests, make([]target, len(d.Requests))
	if err := r.identifyAll(); err != nil {
		return nil, err
	}
	if err := r.distinct(); err != nil {
		return nil, err
	}
	if err := r.wakeAll(); err != nil {
		return nil, err
	}
	out := make([]Result, len(d.Requests))
	var people []string
	for n := range d.Requests {
		if gone, ok := r.erased[n]; ok {
			out[n] = gone.result
			people = append(people, gone.people...)
			continue
		}
		res, patients, err := r.save(&d.Requests[n], r.targets[n])
		if err != nil {
			return nil, err
		}
		out[n] = res
		people = append(people, patients...)
	}
	slices.Sort(people) // one total order of locks
	why := cause{sources: r.sources, at: r.at, kept: map[string]string{}}
	for _, patient := range slices.Compact(people) {
		if err := r.office.replan(r.tx, patient, why); err != nil {
			return nil, err
		}
	}
	if err := r.keepStrangers(); err != nil {
		return nil, err
	}
	if err := r.counted(); err != nil {
		return nil, err
	}
	return out, r.notes(out, people, why.kept)
}

// identifyAll finds what each request means: deletions, creates and then
// updates and patches, as R4 orders a transaction; the outcome does not depend
// on the order of the entries.
func (r *receipt) identifyAll() error {
	for _, step := range []struct {
		methods []string
		do      func(int, *Request) error
	}{
		{[]string{"DELETE"}, r.erase}, {[]string{"DELETE"}, r.unneeded},
		{[]string{"POST"}, r.identify},
		{[]string{"PATCH"}, r.amend}, {[]string{"PUT", "PATCH"}, r.identify},
	} {
		for n := range r.requests {
			if q := &r.requests[n]; slices.Contains(step.methods, q.Method) {
				if err := step.do(n, q); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// notes tells each sender what came of what was sent: of an appointment that was
// kept without a case why, and of a record which case it holds, the tenth time as the first: what was sent again changed nothing, so that its
// reason is looked up here.
func (r *receipt) notes(out []Result, planned []string, kept map[string]string) error {
	known := holdings{}
	for n := range out {
		s := out[n].Stored
		if s.Type == "Appointment" && !out[n].Deleted && strings.HasPrefix(s.Patient, "Patient/") && !slices.Contains(planned, s.Patient) {
			planned = append(planned, s.Patient)
			if err := r.office.reasons(r.tx, s.Patient, kept); err != nil {
				return err
			}
		}
		if out[n].Deleted || s.Deleted {
			continue
		}
		told := out[n].Note
		out[n].Note = note(s, kept)
		if why := r.protocol.ShowsNothing(r.requests[n].Resource, r.office.facility); why != "" {
			out[n].Note = "kept, and no step is closed by it: " + why
		}
		advice, note, err := r.heard(s, r.requests[n].Resource)
		if err != nil {
			return err
		}
		if out[n].Advice = advice; note != "" {
			out[n].Note = note
		}
		held, err := r.heldBy(s, known)
		if err != nil {
			return err
		}
		out[n].Note = joined(out[n].Note, held)
		if told != "" { // of its order: nothing else follows from it
			out[n].Note = told
		}
	}
	return nil
}

// note tells the sender of an appointment that it was kept and opened no case,
// and why: what is dropped in silence is found out on the day of surgery.
func note(s store.Stored, kept map[string]string) string {
	switch reason := kept[s.Type+"/"+s.ID]; {
	case s.Type != "Appointment":
		return ""
	case !strings.HasPrefix(s.Patient, "Patient/"):
		return "kept, and no case is opened: " + noPerson
	case reason != "":
		return "kept, and no case is opened: " + reason
	}
	return ""
}

// save writes one resource and returns the people whose plans it may change.
func (r *receipt) save(q *Request, t target) (Result, []string, error) {
	if t.matched {
		return Result{Stored: t.current}, nil, nil
	}
	if err := r.unreadable(q); err != nil {
		return Result{}, nil, err
	}
	if err := r.plausible(q); err != nil {
		return Result{}, nil, err
	}
	at, f := r.tx.Now, r.office.facility
	rewritten, err := r.rewrite(q)
	if err != nil {
		return Result{}, nil, err
	}
	cur := t.current
	place, err := r.place(q, cur)
	if err != nil {
		return Result{}, nil, err
	}
	if place.behind {
		if cur.Deleted && place.note == "" {
			place.note = noteDeleted
		}
		people, err := r.ordered(place, cur)
		return Result{Stored: cur, Note: place.note, Superseded: place.note == noteSuperseded}, people, err
	}
	if cur.Version > 0 {
		same := q.Resource.Apply(fhir.Patch{
			ID: cur.ID, VersionID: strconv.FormatInt(cur.Version, 10), LastUpdated: cur.Updated.In(f.Calendar.Zone()), Reference: rewritten,
		})
		if string(same) == string(cur.Body) {
			people, err := r.ordered(place, cur)
			return Result{Stored: cur, Note: place.note}, people, err
		}
	}
	next := store.Stored{
		Type: q.Type, ID: cur.ID, Version: cur.Version + 1, Updated: at, ReceivedID: r.received,
	}
	next.Body = q.Resource.Apply(fhir.Patch{
		ID: next.ID, VersionID: strconv.FormatInt(next.Version, 10), LastUpdated: at.In(f.Calendar.Zone()), Reference: rewritten,
	})
	parsed, issues := fhir.Parse(next.Body, len(next.Body)+1)
	if len(issues) > 0 {
		return Result{}, nil, &Refusal{Err: ErrInvalid, Issues: issues}
	}
	if next.Patient, err = r.patient(parsed); err != nil {
		return Result{}, nil, err
	}
	if err := r.tx.Save(next, search.Index(parsed, f.Base, f.Calendar.Zone())); err != nil {
		return Result{}, nil, err
	}
	r.office.parsed.put(next, parsed)
	r.strange(cur)
	r.strange(next)
	r.sources = append(r.sources, versioned(next))
	r.at[next.Type+"/"+next.ID] = q.path("")
	res := Result{Stored: next, Created: cur.Version == 0 || cur.Deleted, Changed: true, Note: place.note}
	if moved(cur, next) {
		if err := r.tx.SaveMoved(r.sourceOf(q), next.Type, next.ID, cur.Patient, next.Patient); err != nil {
			return Result{}, nil, err
		}
		if next.Type == "Appointment" {
			res.Note = strings.TrimPrefix(place.note+"; "+noteMoved, "; ")
		}
	}
	people, err := r.ordered(place, next)
	if err != nil {
		return Result{}, nil, err
	}
	switch {
	case q.Type == "Patient":
		waiting, err := r.arrived(parsed, next.Type+"/"+next.ID)
		if err != nil {
			return Result{}, nil, err
		}
		people = append(people, waiting...)
		if cur.Version > 0 { // corrected: age and sex count for doses
			people = append(people, next.Type+"/"+next.ID)
		}
	case slices.Contains(planned, q.Type):
		for _, p := range []string{next.Patient, cur.Patient} {
			if strings.HasPrefix(p, "Patient/") {
				people = append(people, p)
			}
		}
	}
	return res, people, nil
}

// awaited is the name under which resources wait for a patient who is known
// only by a business identifier.
func awaited(id fhir.Identifier) string { return "identifier:" + id.System + "|" + id.Value }

// patient says whose a resource is. One that names its patient by an identifier
// that nobody here has waits under that identifier.
func (r *receipt) patient(res *fhir.Resource) (string, error) {
	ref, names := r.office.facility.PatientOf(res)
	if ref != "" {
		return ref, nil
	}
	waiting := ""
	for _, name := range names {
		ids, err := r.tx.ByIdentifier("Patient", name.System, name.Value)
		if err != nil {
			return "", err
		}
		if len(ids) == 1 {
			return "Patient/" + ids[0], nil
		}
		if name.Certain && waiting == "" {
			waiting = awaited(name.Identifier)
		}
	}
	return waiting, nil
}

// arrived gives a patient what has been waiting for their identifiers.
func (r *receipt) arrived(res *fhir.Resource, ref string) ([]string, error) {
	var people []string
	for _, id := range identifiers(res) {
		moved, err := r.tx.Reassign(awaited(id), ref)
		if err != nil {
			return nil, err
		}
		if moved > 0 {
			people = append(people, ref)
			r.strangers = append(r.strangers, stranger{name: awaited(id)})
		}
	}
	return people, nil
}

func versioned(s store.Stored) string {
	return s.Type + "/" + s.ID + "/_history/" + versionOf(s)
}

func versionOf(s store.Stored) string { return strconv.FormatInt(s.Version, 10) }
