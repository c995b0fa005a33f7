package translate

import (
	"cmp"
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// Row is everything about an item that varies: one for each version of a Task.
// Together with the protocol version it renders to exactly one Task, so Tasks
// themselves are not stored. What the store has columns for is not part of the
// stored text. Fields are only ever added, and an old row keeps its meaning.
type Row struct {
	Step     string              `json:"-"`
	Repeat   string              `json:"-"`
	Round    int                 `json:"-"`
	State    readiness.ItemState `json:"-"`
	Status   string              `json:"-"` // of the Task
	Patient  string              `json:"-"`
	Focus    string              `json:"-"`
	BasedOn  string              `json:"-"`
	Authored time.Time           `json:"-"` // when the first version was written

	Applies  readiness.Answer `json:"a,omitempty"`
	Opens    string           `json:"o,omitempty"`
	Due      string           `json:"d,omitempty"`
	Last     string           `json:"l,omitempty"`
	Waits    []string         `json:"w,omitempty"`
	Needs    []string         `json:"q,omitempty"`
	Marks    string           `json:"m,omitempty"` // c: compressed, t: too late
	Raised   string           `json:"ev,omitempty"`
	RaisedAt string           `json:"at,omitempty"`
	Role     string           `json:"ro,omitempty"`  // the one performer who is asked
	Replaces string           `json:"rp,omitempty"`  // id of the Task that this one replaces
	Because  string           `json:"bc,omitempty"`  // why it no longer counts, or is asked again
	By       string           `json:"by,omitempty"`  // the name of who asked for it, where a person did
	Day      string           `json:"day,omitempty"` // the day of surgery that is asked for
	// Of a question about a stopped medicine: the day of surgery that it was
	// stopped for, and its last dose as it was planned or recorded. Of one about a
	// signature: the day of surgery, the last dose that the rules give, and which
	// signature it is.
	StoppedFor string   `json:"sf,omitempty"`
	Dose       string   `json:"ds,omitempty"`
	Of         string   `json:"of,omitempty"`
	Medicine   string   `json:"nm,omitempty"`    // its name, as it was last known
	About      string   `json:"about,omitempty"` // the record that it was raised for, or a version of it
	Among      []string `json:"am,omitempty"`    // references to the records between which a person chooses
	Why        string   `json:"why,omitempty"`   // why it is no longer asked for
	Work       *Work    `json:"e,omitempty"`
	Record     string   `json:"pf,omitempty"`  // reference to what shows that it was done, where no person said so
	RecordOn   string   `json:"po,omitempty"`  // the day that it shows
	Advice     []string `json:"adv,omitempty"` // what the rules on medicines say
	LeaveBy    string   `json:"lb,omitempty"`  // the last day that leaves time for what must follow, where that is earlier
	LeaveFor   []string `json:"lf,omitempty"`  // codes of the steps that follow, each after the one before
}

// Work is what people recorded on a Task. It survives every change of plan.
type Work struct {
	Outcome readiness.Outcome `json:"x,omitempty"`
	Status  string            `json:"s,omitempty"` // as the person set it
	On      string            `json:"on,omitempty"`
	Until   string            `json:"til,omitempty"` // the evidence's own end date
	For     map[string]string `json:"for,omitempty"`
	Reason  string            `json:"why,omitempty"`
	Signed  string            `json:"sd,omitempty"` // the last dose that a prescriber signed
	// Nth numbers what people recorded as done, in the order in which it came.
	Nth int64 `json:"nth,omitempty"`
	// Look is what a second person says of a signature.
	Look string `json:"lk,omitempty"`
	// Decision is what a prescriber signed instead of a last dose.
	Decision string `json:"dec,omitempty"`
	// Words are the dose that was signed, in the prescriber's own words for the person.
	Words   string `json:"dw,omitempty"`
	Meant   string `json:"mt,omitempty"` // reference to the record that a person said is meant, or MeantNone
	Against string `json:"ag,omitempty"` // reference to a record that the person does not accept as evidence
	// As sent, for the Task elements of the same names.
	StatusReason    json.RawMessage `json:"sr,omitempty"`
	Owner           json.RawMessage `json:"o,omitempty"`
	Note            json.RawMessage `json:"n,omitempty"`
	Output          json.RawMessage `json:"out,omitempty"`
	ExecutionPeriod json.RawMessage `json:"ep,omitempty"`
}

// Encode writes the row; equal rows give equal bytes.
func (r *Row) Encode() ([]byte, error) { return json.Marshal(r) }

// DecodeRow reads a stored row.
func DecodeRow(b []byte) (*Row, error) {
	var r Row
	if err := json.Unmarshal(b, &r); err != nil {
		return nil, fmt.Errorf("read item row: %w", err)
	}
	return &r, nil
}

// Key is the item's key.
func (r *Row) Key() readiness.Key {
	return readiness.Key{Step: r.Step, Repeat: r.Repeat, Round: r.Round}
}

// Entry is the person's record as the rules read it.
func (r *Row) Entry() readiness.Entry {
	if r.Work == nil {
		return readiness.Entry{}
	}
	on, _ := calendar.ParseDate(r.Work.On)
	until, _ := calendar.ParseDate(r.Work.Until)
	by := NameOf(r.Work.Owner)
	if said := r.Work.saidBy(); said != "" {
		by = said
	}
	return readiness.Entry{
		Outcome: r.Work.Outcome, On: on, At: doneAt(r.Work.ExecutionPeriod), Until: until, For: r.Work.For, Reason: r.Work.Reason, Against: r.Work.Against,
		Signed: signedMoment(r.Work.Signed), Decided: readiness.Decision(r.Work.Decision), Words: r.Work.Words, By: by,
		Look: readiness.Look(r.Work.Look), Nth: r.Work.Nth,
	}
}

// saidBy names who said that it could not be done: the author of the note that gives
// the reason; empty: nobody did, or no note says who.
func (w *Work) saidBy() (name string) {
	var notes []struct {
		AuthorString    string
		AuthorReference struct{ Display string }
		Text            string
	}
	if w.Outcome != readiness.Failed || len(w.Note) == 0 || json.Unmarshal(w.Note, &notes) != nil {
		return ""
	}
	for _, n := range notes {
		if w.Reason != "" && strings.Contains(n.Text, strings.TrimSuffix(w.Reason, ".")) {
			name = cmp.Or(n.AuthorString, n.AuthorReference.Display)
		}
	}
	return name
}

// Item is the row as an item of the old plan. A step that the protocol no
// longer has becomes a bare one with its code.
func (r *Row) Item(p *Protocol, f Facility) readiness.Item {
	s := p.Step(r.Step)
	if s == nil {
		s = &readiness.Step{Code: r.Step, Title: r.Step}
	}
	i := readiness.Item{
		Key: r.Key(), Step: s, State: r.State, Applies: r.Applies, Needs: r.Needs, Waits: r.Waits,
		Opens: f.moment(r.Opens), Due: f.moment(r.Due), Last: f.moment(r.Last), Entry: r.Entry(), Because: r.Because,
		LeaveBy: f.moment(r.LeaveBy).Day, LeaveFor: r.LeaveFor,
	}
	for _, m := range r.Marks {
		i.Compressed = i.Compressed || m == 'c'
		i.TooLate = i.TooLate || m == 't'
	}
	if r.Raised != "" {
		i.Raised = &readiness.Raised{Key: r.Repeat, Why: r.Raised, At: f.instant(r.RaisedAt), Role: r.Role, By: r.By, Day: f.moment(r.Day).Day, For: f.moment(r.StoppedFor).Day, Dose: f.moment(r.Dose), Among: r.Among, About: r.Of, Name: r.Medicine}
	}
	return i
}

// RowOf is the stored form of an item; what only the caller knows (ids, the
// case's references, what people wrote) is set by it afterwards.
func (f Facility) RowOf(i *readiness.Item) Row {
	r := Row{
		Step: i.Key.Step, Repeat: i.Key.Repeat, Round: i.Key.Round,
		State: i.State, Applies: i.Applies, Waits: i.Waits, Needs: i.Needs,
		Opens: f.written(i.Opens), Due: f.written(i.Due), Last: f.written(i.Last), Because: i.Because, Advice: i.Advice,
		LeaveBy: i.LeaveBy.String(), LeaveFor: i.LeaveFor,
	}
	if i.Entry.Record != "" {
		r.Record, r.RecordOn = i.Entry.Record, i.Entry.On.String()
	}
	if i.Compressed {
		r.Marks += "c"
	}
	if i.TooLate {
		r.Marks += "t"
	}
	if i.Raised != nil {
		r.About = recordNamed.FindString(i.Raised.Key)
		r.Raised, r.RaisedAt, r.Role = i.Raised.Why, i.Raised.At.Format(time.RFC3339), i.Raised.Role
		r.By, r.Day = i.Raised.By, i.Raised.Day.String()
		r.StoppedFor, r.Dose, r.Of, r.Medicine = i.Raised.For.String(), f.written(i.Raised.Dose), i.Raised.About, i.Raised.Name
		r.Among = i.Raised.Among
	}
	return r
}

// KeepAnswered keeps the words of a question about a medicine, and what it was
// about, that was answered as was said: another round of it says what is true now.
func (r *Row) KeepAnswered(was *Row) {
	if r.Work == nil || r.Work.Outcome == readiness.NoOutcome || was.StoppedFor == "" {
		return
	}
	r.Raised, r.StoppedFor, r.Dose = was.Raised, was.StoppedFor, was.Dose
}

// written is a moment as FHIR writes it: a date, or an instant with the
// facility's offset.
func (f Facility) written(m readiness.Moment) string {
	switch {
	case m.IsZero():
		return ""
	case m.At.IsZero():
		return m.Day.String()
	}
	return m.At.In(f.Calendar.Zone()).Format(time.RFC3339)
}

func (f Facility) moment(s string) readiness.Moment {
	if s == "" {
		return readiness.Moment{}
	}
	if d, err := calendar.ParseDate(s); err == nil {
		return readiness.Moment{Day: d}
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return readiness.Moment{}
	}
	t = t.In(f.Calendar.Zone())
	return readiness.Moment{Day: f.Calendar.DateOf(t), At: t}
}

// Span is the half-open interval of a stored moment; zero for none.
func (f Facility) Span(s string) (from, to time.Time) {
	m := f.moment(s)
	if m.IsZero() {
		return from, to
	}
	if !m.At.IsZero() {
		return m.At, m.At.Add(time.Second)
	}
	return m.Begins(f.Calendar), m.Ends(f.Calendar)
}

// recordNamed finds the record, or one version of it, that what was raised is named
// after: a question about a record, a report; not a medicine or a risk.
var recordNamed = regexp.MustCompile(`^[A-Z][A-Za-z]+/[A-Za-z0-9.-]{1,64}(/_history/[A-Za-z0-9.-]{1,64})?`)
