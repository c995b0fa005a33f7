package casework

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Person is who a case is about, as the hospital's record names them.
type Person struct {
	Ref, Name, Born, Phone string
	Identifiers            []string
	Prefers                []string // languages that they are said to prefer: "en", "es"
}

// CaseView is one case as staff look at it: what is stored, and what the rules
// say of it now.
type CaseView struct {
	ID, State    string
	Open         bool
	Now          time.Time // of the snapshot
	Person       Person
	Operation    string
	Surgeon      string           // as the record names them; empty: not known
	Place        string           // ditto
	Surgery      readiness.Moment // zero: no date
	Booked       time.Time
	Stay         string
	Protocol     string // title and version
	Notice       string
	Why          []string // why the case stands as it does
	Items        []ItemView
	Holds        []HoldLine
	Safe         *readiness.Safe   // nil: no other day can be asked for
	SafeWords    []string          // which days can be met; the tables of Safe say what each rests on
	StepTitles   map[string]string // of the steps that Safe names
	TheirHistory []Event           // newest first
	Coaches      []Person
}

// ItemView is one item with what is shown beside it.
type ItemView struct {
	readiness.Item
	TaskID  string
	Version int64
	Status  string // of the Task
	Rule    string
	Owner   string
	Reason  string // why it is waived, not needed, failed, or no longer asked for
	Record  string // reference to what shows that it was done
	Report  string // id of the QuestionnaireResponse that it was raised for; empty: none
	Notes   []Note
	Form    translate.StepForm // the questionnaire that is filled in for it, if any
	Choices []Choice           // the records between which a person is asked to choose, while they are
	Span    readiness.Span     // what the network of steps allows; zero when settled
	Again   time.Time          // when it was asked for again, after what was done no longer counted; zero: it was not
	// Advised is the last dose that stands advised for the medicine that it signs.
	Advised readiness.Moment
	// SetsDose: the dose around surgery of the medicine that it signs is the
	// prescriber's to say.
	SetsDose bool
}

// UsefulUntil is the moment after which it is of no use to do the item: its own
// last one, and for a signature the last dose that it signs, where that is sooner.
// Zero: there is none.
func (i *ItemView) UsefulUntil() readiness.Moment {
	if !i.Last.IsZero() && !i.Advised.IsZero() && i.Advised.Day < i.Last.Day {
		return i.Advised
	}
	return i.Last
}

// advisedDose is the last dose that stands advised for the medicine that an item
// signs, among the items of its case; zero: none.
func advisedDose(i *readiness.Item, items []ItemView) readiness.Moment {
	for n := range items {
		o := &items[n]
		if i.Step.SignsLastDose() && o.Key.Repeat == i.Key.Repeat && o.Step.TakesLastDose() && o.State.Waiting() && o.Applies == readiness.Yes && !o.Due.IsZero() {
			return o.Due
		}
	}
	return readiness.Moment{}
}

// Note is what somebody wrote on an item.
type Note struct{ At, By, Text string }

// HoldLine is a hold in words.
type HoldLine struct {
	Sentence, Since, Until, Earliest, Ended string
	Open                                    bool
	ClearTask                               string // id of the Task that releases it; empty: none
}

// View reads one case. It stores nothing. The error is a *Refusal with
// ErrNotFound when there is no such case.
func (o *Office) View(ctx context.Context, caseID string) (*CaseView, error) {
	var v *CaseView
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		var err error
		v, err = o.view(tx, caseID)
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return nil, notFound("CarePlan")
	}
	return v, err
}

func (o *Office) view(tx *store.Tx, caseID string) (*CaseView, error) {
	c, err := tx.Case(caseID)
	if err != nil {
		return nil, err
	}
	v := &CaseView{ID: c.ID, State: c.State, Open: c.Open, Now: tx.Now}
	if err := v.booked(o, c); err != nil {
		return nil, err
	}
	if err := v.people(o, tx, c); err != nil {
		return nil, err
	}
	if err := v.told(tx); err != nil {
		return nil, err
	}
	if err := v.items(o, tx); err != nil {
		return nil, err
	}
	v.Why = append(pressingWords(v.Items), v.Why...)
	if err := v.holds(o, tx, c.Patient); err != nil {
		return nil, err
	}
	if err := v.elsewhen(o, tx); err != nil {
		return nil, err
	}
	return v, v.history(o, tx, c.Patient)
}

// booked takes what the case row remembers of its booking.
func (v *CaseView) booked(o *Office, c store.Case) error {
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return err
	}
	zone := o.facility.Calendar.Zone()
	v.Operation, v.Stay, v.Booked = translate.Operation(d.Facts), d.Stay, d.Booked.In(zone)
	v.Surgeon = d.Details["surgeon"]
	if noon, err := time.ParseInLocation(time.DateOnly+" 15", d.Day+" 12", zone); err == nil {
		v.Surgery.Day = o.facility.Today(noon)
	}
	if !d.Start.IsZero() && !v.Surgery.Day.IsZero() {
		v.Surgery.At = d.Start.In(zone)
	}
	return nil
}

// people names the person, the surgeon, the place and the coaches.
func (v *CaseView) people(o *Office, tx *store.Tx, c store.Case) error {
	var err error
	if v.Person, err = o.who(tx, c.Patient); err != nil {
		return err
	}
	if v.Surgeon != "" {
		if v.Surgeon, err = o.nameAt(tx, v.Surgeon); err != nil {
			return err
		}
	}
	if c.Place != "" {
		if v.Place, err = o.nameAt(tx, c.Place); err != nil {
			return err
		}
	}
	held, err := tx.OfPatient(c.Patient, "RelatedPerson")
	if err != nil {
		return err
	}
	for _, s := range held {
		coach, err := o.who(tx, "RelatedPerson/"+s.ID)
		if err != nil {
			return err
		}
		v.Coaches = append(v.Coaches, coach)
	}
	return nil
}

// who reads a person; one who is not known here stands by their reference.
func (o *Office) who(tx *store.Tx, ref string) (Person, error) {
	p := Person{Ref: ref, Name: ref}
	typ, id, _ := strings.Cut(ref, "/")
	s, err := tx.Current(typ, id)
	if errors.Is(err, store.ErrNotFound) || err == nil && s.Deleted {
		return p, nil
	}
	if err != nil {
		return p, err
	}
	r, err := o.parsed.get(s)
	if err != nil {
		return p, err
	}
	if name := nameIn(r.Get("name")); name != "" {
		p.Name = name
	}
	p.Born, p.Prefers = r.String("birthDate"), translate.Prefers(r)
	for _, t := range r.Get("telecom").Items() {
		if t.String("system") == "phone" && p.Phone == "" {
			p.Phone = t.String("value")
		}
	}
	for _, i := range r.Get("identifier").Items() {
		p.Identifiers = append(p.Identifiers, i.String("value"))
	}
	return p, nil
}

// nameAt is the name of a person or place, else the reference.
func (o *Office) nameAt(tx *store.Tx, ref string) (string, error) {
	p, err := o.who(tx, ref)
	return p.Name, err
}

// nameIn reads HumanNames (the first one) or the name of a place.
func nameIn(n *fhir.Node) string {
	if n.Kind() == fhir.String {
		return n.Text()
	}
	first := n.Item(0)
	if text := first.String("text"); text != "" {
		return text
	}
	var parts []string
	for _, given := range first.Get("given").Items() {
		parts = append(parts, given.Text())
	}
	return strings.TrimSpace(strings.Join(append(parts, first.String("family")), " "))
}

// told takes from the CarePlan why the case stands as it does.
func (v *CaseView) told(tx *store.Tx) error {
	s, err := tx.Current("CarePlan", v.ID)
	if err != nil {
		return err
	}
	r, issues := fhir.Parse(s.Body, len(s.Body)+1)
	if len(issues) > 0 {
		return issues
	}
	v.Notice = r.String("description")
	for _, e := range r.Get("extension").Items() {
		if e.String("url") == translate.ExtensionBase+"why" {
			v.Why = append(v.Why, e.String("valueString"))
		}
	}
	return nil
}

func (v *CaseView) items(o *Office, tx *store.Tx) error {
	stored, err := tx.Items(v.ID)
	if err != nil {
		return err
	}
	order := map[string]int{}
	for n, s := range o.Protocol().Steps {
		order[s.Code] = n
	}
	for _, it := range stored {
		one, err := o.itemView(tx, it)
		if err != nil {
			return err
		}
		v.Items = append(v.Items, one)
		late, err := o.lateSigned(tx, it)
		if err != nil {
			return err
		}
		if late != "" {
			v.Why = append(v.Why, late)
		}
	}
	slices.SortStableFunc(v.Items, func(a, b ItemView) int { return order[a.Key.Step] - order[b.Key.Step] })
	for n := range v.Items {
		v.Items[n].Advised = advisedDose(&v.Items[n].Item, v.Items)
	}
	return v.setsDoses(o, tx, stored)
}

func (o *Office) itemView(tx *store.Tx, it store.Item) (ItemView, error) {
	row, err := rowOf(it)
	if err != nil {
		return ItemView{}, err
	}
	p, err := o.protocolOf(tx, it.Protocol)
	if err != nil {
		return ItemView{}, err
	}
	v := ItemView{Item: row.Item(p, o.facility), TaskID: it.TaskID(), Version: it.Version, Status: it.Status, Record: row.Record, Reason: row.Why}
	v.Advice, v.Report = row.Advice, reportOf(row)
	if v.Key.Round > 1 {
		v.Again = row.Authored
	}
	v.Rule = p.Why(&v.Item)
	v.Form = p.FormOf(it.Step)
	if v.State.Waiting() {
		if v.Choices, err = o.choices(tx, p, row.Among); err != nil {
			return v, err
		}
	}
	if row.RecordOn != "" {
		v.Entry.On = o.facility.Today(o.noon(row.RecordOn))
	}
	if w := row.Work; w != nil {
		v.Owner, v.Notes = translate.NameOf(w.Owner), notesIn(w.Note)
		if text := translate.TextOf(w.StatusReason); text != "" {
			v.Reason = text
		}
	}
	return v, nil
}

// noon is the middle of a written day, which lies in that day everywhere.
func (o *Office) noon(day string) time.Time {
	t, err := time.ParseInLocation(time.DateOnly+" 15", day+" 12", o.facility.Calendar.Zone())
	if err != nil {
		return time.Time{}
	}
	return t
}

func notesIn(raw json.RawMessage) []Note {
	var list []struct {
		AuthorString    string
		AuthorReference struct{ Display, Reference string }
		Time, Text      string
	}
	if len(raw) == 0 || json.Unmarshal(raw, &list) != nil {
		return nil
	}
	out := make([]Note, 0, len(list))
	for _, n := range list {
		by := n.AuthorString
		for _, other := range []string{n.AuthorReference.Display, n.AuthorReference.Reference} {
			if by == "" {
				by = other
			}
		}
		out = append(out, Note{At: n.Time, By: by, Text: n.Text})
	}
	return out
}

// holds reads the Flags of the case, with the Task that releases each.
func (v *CaseView) holds(o *Office, tx *store.Tx, patient string) error {
	flags, err := tx.OfPatient(patient, "Flag")
	if err != nil {
		return err
	}
	c, err := tx.Case(v.ID)
	if err != nil {
		return err
	}
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return err
	}
	for _, h := range d.Holds {
		n := slices.IndexFunc(flags, func(s store.Stored) bool { return s.ID == h.ID })
		if n < 0 {
			continue
		}
		r, issues := fhir.Parse(flags[n].Body, len(flags[n].Body)+1)
		if len(issues) > 0 {
			return issues
		}
		line := HoldLine{
			Sentence: r.String("code", "text"), Since: r.String("period", "start"), Until: r.String("period", "end"), Open: h.Ended.IsZero(),
		}
		for _, e := range r.Get("extension").Items() {
			switch e.String("url") {
			case translate.ExtensionBase + "earliest-release":
				line.Earliest = e.String("valueDate")
			case translate.ExtensionBase + "why":
				line.Ended = e.String("valueString")
			}
		}
		for _, i := range v.Items {
			if i.Step.Trigger == readiness.TriggerHold && i.Key.Repeat == h.Key && i.State.Waiting() {
				line.ClearTask = i.TaskID
			}
		}
		v.Holds = append(v.Holds, line)
	}
	return nil
}

// elsewhen adds what the rules say of other days, where another day can still be
// asked for, and how much room each waiting item has.
func (v *CaseView) elsewhen(o *Office, tx *store.Tx) error {
	p, err := o.inForce(tx)
	if err != nil {
		return err
	}
	v.Protocol = p.Title + ", version " + p.Version
	if !v.Open {
		return nil
	}
	s, err := o.standingOf(tx, p, "CarePlan", v.ID)
	var refused *Refusal
	if errors.As(err, &refused) {
		return nil // its booking is no longer there to be asked about
	}
	if err != nil {
		return err
	}
	pl, err := s.plan(o, tx, p)
	if err != nil {
		return err
	}
	spans := pl.Network(p.Protocol, o.facility.Calendar, tx.Now)
	for n, span := range spans {
		for k := range v.Items {
			if v.Items[k].Key == pl.Items[n].Key {
				v.Items[k].Span = span
			}
		}
	}
	if !movable(s, pl) {
		return nil
	}
	safe := readiness.Earliest(&s.booking.Case, p.Protocol, o.facility.Calendar, tx.Now)
	v.Safe, v.SafeWords = &safe, translate.SafeBrief(&safe, p)
	v.Why = slices.DeleteFunc(v.Why, translate.OfOtherDays) // they are of when it was planned
	v.StepTitles = titles(p, &safe)
	return nil
}

// movable reports whether another day can still be asked for.
func movable(s *standing, pl *readiness.Plan) bool {
	return s.booking.Meets && s.booking.Awaits && s.booking.Case.Ending == readiness.Running && !pl.State.Begun()
}

func titles(p *translate.Protocol, safe *readiness.Safe) map[string]string {
	out := map[string]string{}
	name := func(k readiness.Key) {
		if s := p.Step(k.Step); s != nil {
			out[k.Step] = s.Title
		}
	}
	for _, o := range safe.Obstacles {
		name(o.Key)
	}
	for _, d := range safe.Unknown {
		name(d.Key)
	}
	for _, o := range safe.Pressing {
		name(o.Key)
	}
	return out
}
