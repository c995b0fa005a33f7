package casework

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"

	"example.org/countback/pkg/fhir"
)

// cause says why plans are made again, for Provenance.
type cause struct {
	sources []string                   // versioned references to what changed
	work    map[string]*translate.Work // people's new entries, by Task id
	at      map[string]string          // Type/id → where the sender finds it in the message
	kept    map[string]string          // filled: appointment that opens no case → why not
	ask     *asked                     // another day that somebody asks for
}

// caseData is what the case row remembers of the plan, beside what is indexed:
// also the facts, for a booking that is not this person's any more.
type caseData struct {
	Day     string            `json:"day,omitempty"`
	Members []string          `json:"members,omitempty"`
	Created string            `json:"created"`
	Booked  time.Time         `json:"booked,omitzero"`
	Start   time.Time         `json:"start,omitzero"`
	Stay    string            `json:"stay,omitempty"`
	Facts   map[string]any    `json:"facts,omitempty"`
	Details map[string]string `json:"details,omitempty"`

	Holds []translate.HoldRow `json:"holds,omitempty"`
	Dated time.Time           `json:"dated,omitzero"` // since when the day of surgery is known
	Asks  []translate.AskRow  `json:"asks,omitempty"` // for another day, the oldest first

	Unreported bool `json:"unreported,omitempty"` // see readiness.Plan
}

// replan makes the plans of one person again and writes what differs.
func (o *Office) replan(tx *store.Tx, patient string, why cause) error {
	records, err := o.records(tx, patient)
	if err != nil {
		return err
	}
	cases, err := tx.CasesOf(patient)
	if err != nil {
		return err
	}
	p, err := o.inForce(tx)
	if err != nil {
		return err
	}
	bookings := translate.Bookings(records, p, o.facility)
	kept := keeping{records: records, now: tx.Now}
	taken := map[string]bool{}
	for n := range bookings {
		b := &bookings[n]
		b.Patient = patient
		c := caseOf(cases, b, taken)
		if c == nil {
			if !b.Opens {
				if why.kept != nil {
					why.kept[b.Primary] = b.Reason
				}
				kept.add(b, nil, b.Reason)
				continue
			}
			if nameless(records, b) {
				if path := sentAs(b, why.at); path != "" {
					return refuseNameless(path)
				}
				kept.add(b, nil, noNumber) // not of this message
				continue
			}
			c = &store.Case{ID: tx.NewID(), Patient: patient}
		}
		was := *c
		taken[c.ID] = true
		w := &writing{office: o, tx: tx, protocol: p, c: c, b: b, records: records, why: why, fresh: c.Sequence == 0}
		w.forebears = forebears(bookings, cases, b, c)
		if err := w.byOwnRules(records); err != nil {
			return err
		}
		if err := w.make(); err != nil {
			return err
		}
		if !c.Open && !b.Opens {
			kept.add(b, &was, b.Reason)
		}
	}
	if err := o.keep(tx, patient, kept.list); err != nil {
		return err
	}
	for n := range cases {
		if c := &cases[n]; !taken[c.ID] && (c.Open || why.worked(c.ID)) {
			if err := (&writing{office: o, tx: tx, protocol: p, c: c, why: why}).abandon(); err != nil {
				return err
			}
		}
	}
	return nil
}

// reasons notes for each booking of a person that opens no case why, as replan
// does, and changes nothing.
func (o *Office) reasons(tx *store.Tx, patient string, kept map[string]string) error {
	records, err := o.records(tx, patient)
	if err != nil {
		return err
	}
	p, err := o.inForce(tx)
	if err != nil {
		return err
	}
	list, err := o.standings(tx, p, patient, records)
	if err != nil {
		return err
	}
	for n := range list {
		if b := &list[n].booking; list[n].c == nil && !b.Opens {
			kept[b.Primary] = b.Reason
		}
	}
	return nil
}

// worked reports whether somebody worked on a Task of the case.
func (c *cause) worked(caseID string) bool {
	for id := range c.work {
		if strings.HasPrefix(id, caseID+".") {
			return true
		}
	}
	return false
}

// records reads what is held of the person that plans are made from.
func (o *Office) records(tx *store.Tx, patient string) ([]*translate.Record, error) {
	held, err := tx.OfPatient(patient, planned...)
	if err != nil {
		return nil, err
	}
	disputes, err := tx.Disputes(patient)
	if err != nil {
		return nil, err
	}
	out := make([]*translate.Record, 0, len(held))
	for _, s := range held {
		r, err := o.parsed.get(s)
		if err != nil {
			return nil, err
		}
		rec := &translate.Record{Resource: r, Type: s.Type, ID: s.ID, Updated: s.Updated, First: s.Updated}
		rec.Disputed = disputes[rec.Ref()]
		if s.Version > 1 {
			first, err := tx.Version(s.Type, s.ID, 1)
			if err != nil {
				return nil, err
			}
			rec.First = first.Updated
		}
		if rec.Since, err = o.since(tx, rec, s.Version); err != nil {
			return nil, err
		}
		out = append(out, rec)
	}
	gone, err := o.withdrawn(tx, patient)
	if err != nil {
		return nil, err
	}
	out = append(out, gone...)
	if err := o.said(tx, patient, out); err != nil {
		return nil, err
	}
	return o.person(tx, patient, disputes[patient], out)
}

// person adds the Patient: age and sex count for doses.
func (o *Office) person(tx *store.Tx, patient string, disputed time.Time, out []*translate.Record) ([]*translate.Record, error) {
	_, id, _ := strings.Cut(patient, "/")
	s, err := tx.Current("Patient", id)
	if errors.Is(err, store.ErrNotFound) || err == nil && s.Deleted {
		return out, nil
	}
	if err != nil {
		return nil, err
	}
	r, err := o.parsed.get(s)
	if err != nil {
		return nil, err
	}
	return append(out, &translate.Record{Resource: r, Type: s.Type, ID: s.ID, Updated: s.Updated, First: s.Updated, Disputed: disputed}), nil
}

// since is when a visit that is over was first said to be so: saying it again,
// with anything else changed, does not send the person home a second time.
func (o *Office) since(tx *store.Tx, rec *translate.Record, version int64) (time.Time, error) {
	since := rec.Updated
	if version == 1 || !rec.EndsUnsaid() {
		return since, nil
	}
	versions, err := tx.Versions(rec.Type, rec.ID)
	if err != nil {
		return since, err
	}
	for _, s := range versions {
		if s.Deleted {
			break
		}
		r, issues := fhir.Parse(s.Body, len(s.Body)+1)
		if len(issues) > 0 {
			return since, issues
		}
		if r.String("status") != rec.String("status") {
			break
		}
		since = s.Updated
	}
	return since, nil
}

// caseOf finds the case of a booking: the one opened for the resource that
// stands for it, else one opened for another of its resources (or of those that
// may be), before the appointment came.
func caseOf(cases []store.Case, b *translate.Booking, taken map[string]bool) *store.Case {
	for _, ref := range append(append([]string{}, b.Members...), b.Candidates...) {
		for n := range cases {
			if c := &cases[n]; c.Key == ref && !taken[c.ID] {
				return c
			}
		}
	}
	return nil
}

// nameless reports whether the resource that stands for a booking carries no
// business identifier: then nobody could tell later which booking moved.
func nameless(records []*translate.Record, b *translate.Booking) bool {
	for _, r := range records {
		if r.Ref() == b.Primary {
			return len(identifiers(r.Resource)) == 0
		}
	}
	return false
}

// sentAs is where the sender finds the resource that stands for a booking, when
// the message brought any resource of it; else empty.
func sentAs(b *translate.Booking, at map[string]string) string {
	if path := at[b.Primary]; path != "" {
		return path
	}
	for _, ref := range slices.Concat(b.Members, b.Candidates) {
		if at[ref] != "" {
			typ, _, _ := strings.Cut(b.Primary, "/")
			return typ
		}
	}
	return ""
}

func refuseNameless(path string) *Refusal {
	return Refuse(ErrInvalid, "required", path+".identifier",
		path+".identifier is missing: a booking for a joint replacement needs an identifier with a system, so that a later change can be told apart from a new booking")
}

// abandon ends a case whose booking is no longer this person's, as it stood.
func (w *writing) abandon() error {
	var d caseData
	if err := json.Unmarshal(w.c.Data, &d); err != nil {
		return err
	}
	if !w.c.Open { // it ended before, by the rules of its time
		own, err := w.office.protocolOf(w.tx, w.c.Protocol)
		if err != nil {
			return err
		}
		w.protocol = own
	}
	b := &translate.Booking{Primary: w.c.Key, Members: d.Members, Patient: w.c.Patient}
	b.Case = w.office.remembered(d)
	b.Case.Ending = readiness.NoLongerMeets
	w.b = b
	return w.make()
}

// remembered is the booking as the case row has it.
func (o *Office) remembered(d caseData) readiness.Case {
	zone := o.facility.Calendar.Zone()
	c := readiness.Case{Booked: d.Booked.In(zone), Stay: d.Stay, Facts: d.Facts, Details: d.Details}
	if day, err := calendar.ParseDate(d.Day); err == nil {
		c.Day = day
	}
	if !d.Start.IsZero() {
		c.Start = d.Start.In(zone)
	}
	return c
}

// caseBefore is the booking as it stood when the case was last planned.
func (o *Office) caseBefore(c store.Case) (readiness.Case, error) {
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return readiness.Case{}, err
	}
	return o.remembered(d), nil
}

// over reports whether nothing is planned any more in a case of this state.
func over(s readiness.CaseState) bool {
	return s == readiness.CaseCancelled || s == readiness.CaseClosed
}

// byOwnRules keeps a case that is over to the protocol that it was last planned
// by, and to its booking as that reads it: a new protocol does not rewrite what
// is finished. A case that goes on after all is planned by the one in force.
func (w *writing) byOwnRules(records []*translate.Record) error {
	endUnlessMet(w.b)
	if w.fresh || w.c.Open || w.c.Protocol == w.protocol.Canonical() {
		return nil
	}
	own, err := w.office.protocolOf(w.tx, w.c.Protocol)
	if err != nil {
		return err
	}
	if err := w.load(); err != nil {
		return err
	}
	for _, b := range translate.Bookings(records, own, w.office.facility) {
		if b.Primary != w.b.Primary {
			continue
		}
		b.Patient, b.Case.Entries = w.b.Patient, w.entries()
		endUnlessMet(&b)
		if over(readiness.Make(&b.Case, own.Protocol, w.office.facility.Calendar, w.tx.Now).State) {
			w.protocol, w.b = own, &b
		}
		return nil
	}
	return nil
}

// endUnlessMet ends a case whose booking is no longer one that is planned for.
func endUnlessMet(b *translate.Booking) {
	if !b.Meets && b.Case.Ending == readiness.Running {
		b.Case.Ending = readiness.NoLongerMeets
	}
}

// reckon makes the plan of a case that was loaded, with what people recorded and
// with its holds.
func (w *writing) reckon() *readiness.Plan {
	c, f := &w.b.Case, w.office.facility
	c.Entries = w.entries()
	p, now := w.protocol.Protocol, w.tx.Now
	known := w.happened()
	if w.dated = w.before.Dated; w.fresh || w.before.Day != c.Day.String() {
		w.dated = now
	}
	c.Holds, c.Dated = w.priorHolds(), w.dated
	c.Reopen(p, now)
	found := func(at time.Time) []readiness.Ground { return w.protocol.Grounds(w.records, w.b, f, f.Today(at)) }
	turns := func(at time.Time) time.Time { return w.protocol.NextOfRecords(w.records, w.b, f, at) }
	w.answered()
	c.Raised = append(c.Raised, w.protocol.Questions(w.records, w.b, f, now)...)
	c.Raised = append(c.Raised, w.protocol.Risks(w.records, w.b, f)...)
	looks := c.SecondLooks(w.stood(), p, f.Calendar, now)
	free := *c // what its items show does not depend on what holds it
	free.Held = false
	pl := w.awake(&free, found, turns)
	of, next := readiness.ItemGrounds(pl, &free, p, f.Calendar, now)
	next = sooner(sooner(next, looks), turns(now))
	raised := len(c.Raised)
	w.holds(append(found(now), of...))
	dropped := c.DropLooks(f.Calendar, now)
	stranded, stops := readiness.Stranded(w.stood(), c, pl, p, f.Calendar, now)
	c.Raised, next = append(c.Raised, stranded...), sooner(next, stops)
	begun := pl.State.Begun() && !c.Held
	w.ask(begun)
	if !w.fresh {
		c.Raised = append(c.Raised, readiness.Told(w.stood(), c, p, begun && c.Ending == readiness.Running, f.Calendar, now)...)
	}
	c.AskWhatHappened(w.oldItems, known, pl, p, f.Calendar, now)
	if dropped || len(c.Holds) > 0 || len(c.Raised) > raised {
		pl = readiness.Make(c, p, f.Calendar, now)
	}
	pl.NextChange = sooner(pl.NextChange, next)
	return pl
}

// stood is how the case stood before.
func (w *writing) stood() readiness.Before {
	b := readiness.Before{Items: w.oldItems, Ended: w.c.State == string(readiness.CaseCancelled), Holds: w.priorHolds()}
	b.Day, b.Dated, b.Handed = translate.DayOf(w.before.Day), w.before.Dated, w.handed
	if b.Dated.IsZero() {
		b.Dated = w.before.Booked
	}
	return b
}

// sooner is the earlier of two moments of which either may be none.
func sooner(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}
