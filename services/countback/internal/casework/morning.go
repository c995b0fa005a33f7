package casework

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// stepKindCall is the kind of a step on which somebody of the staff speaks with
// the patient or the coach.
const stepKindCall = "call"

// Lists of the morning.
const (
	ListDecisions = "decisions" // what an event raised: holds, symptom reports, medicines
	ListNow       = "now"       // reports of what cannot wait: these people are called before all
	ListCalls     = "calls"     // begins with those of ListNow
	ListChase     = "chase"     // musts that staff do: clearances, results, signatures
	ListFindOut   = "find-out"  // musts past their due day of which nobody knows whether they apply
	ListRest      = "rest"      // what the patient, the coach and others do
)

// Morning is what the day begins with.
type Morning struct {
	Now    time.Time
	Since  time.Time // bookings from then on are new
	Danger CaseList  // cases that are held, cannot be met, or are behind: the nearest day first
	Passed CaseList  // of these, whose day has passed: was it done, or what is the new day?
	Lists  []PressList
	New    CaseList
	Moved  []MovedRecords // in the last week, the last first
	// Without are joint replacements of today or to come that have no case, those
	// since Since first.
	Without CaselessPage
	Unsaid  int64 // bookings that do not say which operation they are
	Undated int64 // joint replacements without a day
}

// CaseList is the head of a list of cases.
type CaseList struct {
	Cases []CaseLine
	Total int64
}

// PressList is the head of a list of items that are due or late, or release a hold.
type PressList struct {
	Name      string
	Items     []PressLine
	Late, Due int64 // in all
	Open      int64 // in all: what releases a hold, and is not due yet
}

// PressLine is an item with whom it is about.
type PressLine struct {
	ItemView
	CaseID   string
	Person   Person
	Surgery  readiness.Moment
	CaseWord string // state of the case
	FindsOut int    // see [CaseView.FindsOut]
}

// MorningOptions say how much of the morning is wanted.
type MorningOptions struct {
	Rows int    // of each list
	Long string // the list that is wanted longer; empty: none
	More int    // rows of that one
}

// Morning reads what presses now: the head of each list, in the order of harm.
// A must before what may be left out, of two alike the one whose surgery is
// nearer, and then late before due; one person's items stand together, where the
// first of them stands. What comes after an operation follows.
func (o *Office) Morning(ctx context.Context, opt MorningOptions) (*Morning, error) {
	var m *Morning
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		m = &Morning{Now: tx.Now}
		r := newMorningReader(o, tx)
		return r.read(m, opt)
	})
	return m, err
}

// morningReader reads lists in one snapshot, each case and person once.
type morningReader struct {
	o      *Office
	tx     *store.Tx
	p      *translate.Protocol
	cases  map[string]*store.Case
	items  map[string][]ItemView // of a case, bare: see views
	people map[string]Person
	passed passedCases
	finds  map[calendar.Date]map[string]int // what must be found out, by day of surgery and case
}

func newMorningReader(o *Office, tx *store.Tx) morningReader {
	return morningReader{o: o, tx: tx, cases: map[string]*store.Case{}, items: map[string][]ItemView{}, people: map[string]Person{}}
}

func (r *morningReader) read(m *Morning, opt MorningOptions) error {
	var err error
	if r.p, err = r.o.inForce(r.tx); err != nil {
		return err
	}
	rows := func(name string) int {
		if name == opt.Long {
			return opt.More
		}
		return opt.Rows
	}
	counts, err := r.tx.CountPressing()
	if err != nil {
		return err
	}
	if err := r.setAside(); err != nil {
		return err
	}
	for _, l := range r.lists() {
		list, err := r.list(l, counts, rows(l.name))
		if err != nil {
			return err
		}
		if l.name == ListCalls { // begins with who is called before all
			now := m.Lists[0]
			list.Items = append(slices.Clone(now.Items), list.Items...)
			list.Late, list.Due = list.Late+now.Late, list.Due+now.Due
		}
		m.Lists = append(m.Lists, list)
		if l.name == ListChase {
			doubts, err := r.findOut(rows(ListFindOut))
			if err != nil {
				return err
			}
			m.Lists = append(m.Lists, doubts)
		}
	}
	if err := r.danger(m, rows); err != nil {
		return err
	}
	cal := r.o.facility.Calendar
	m.Since = cal.StartOf(cal.AddBusinessDays(cal.DateOf(r.tx.Now), -1))
	fresh, err := r.tx.CasesSince(m.Since, rows("new"))
	if err != nil {
		return err
	}
	if m.New.Total, err = r.tx.CountCasesSince(m.Since); err != nil {
		return err
	}
	if m.New.Cases, err = r.lines(fresh); err != nil {
		return err
	}
	if err = r.moved(m); err != nil {
		return err
	}
	return r.withoutPlan(m, rows("without"))
}

func (r *morningReader) line(it store.Item) (PressLine, error) {
	v, err := r.o.itemView(r.tx, it)
	if err != nil {
		return PressLine{}, err
	}
	c, err := r.caseRow(it.CaseID)
	if err != nil {
		return PressLine{}, err
	}
	l := PressLine{ItemView: v, CaseID: c.ID, CaseWord: c.State}
	l.Surgery.Day = r.o.facility.Today(r.o.noon(c.Surgery))
	if l.FindsOut, err = r.findsOutOf(c.ID, readiness.CaseState(c.State), l.Surgery.Day); err != nil {
		return l, err
	}
	if v.Step.SignsLastDose() {
		items, err := r.views(c.ID)
		if err != nil {
			return l, err
		}
		l.Advised = advisedDose(&l.Item, items)
	}
	l.Person, err = r.person(c.Patient)
	return l, err
}

// views are the items of a case with their dates and states, and without what
// people wrote on them.
func (r *morningReader) views(caseID string) ([]ItemView, error) {
	if out, ok := r.items[caseID]; ok {
		return out, nil
	}
	stored, err := r.tx.Items(caseID)
	if err != nil {
		return nil, err
	}
	out := make([]ItemView, 0, len(stored))
	for _, it := range stored {
		row, err := rowOf(it)
		if err != nil {
			return nil, err
		}
		p, err := r.o.protocolOf(r.tx, it.Protocol)
		if err != nil {
			return nil, err
		}
		out = append(out, ItemView{Item: row.Item(p, r.o.facility), TaskID: it.TaskID(), Version: it.Version, Status: it.Status})
	}
	if r.items == nil {
		r.items = map[string][]ItemView{}
	}
	r.items[caseID] = out
	return out, nil
}

func (r *morningReader) caseRow(id string) (*store.Case, error) {
	if c := r.cases[id]; c != nil {
		return c, nil
	}
	c, err := r.tx.Case(id)
	if err != nil {
		return nil, err
	}
	r.cases[id] = &c
	return &c, nil
}

func (r *morningReader) person(ref string) (Person, error) {
	if p, ok := r.people[ref]; ok {
		return p, nil
	}
	p, err := r.o.who(r.tx, ref)
	r.people[ref] = p
	return p, err
}

// CaseLine is a case in a list.
type CaseLine struct {
	ID, State, Operation, Surgeon, Place string
	Person                               Person
	Surgery                              readiness.Moment
	Holds                                []string // in words
	Why                                  string   // the first reason why it stands as it does
	Late                                 []string // titles of what is late, musts first
	Next                                 *ItemView
	Asked                                *ItemView // another day, see [CaseView.Asked]; nil: none
	Room                                 int       // days that the tightest must may still slip
	HasRoom                              bool      // false: no must is left to be done
	Tight                                string
	FindsOut                             int // see [CaseView.FindsOut]
}

func (r *morningReader) lines(cases []store.Case) ([]CaseLine, error) {
	out := make([]CaseLine, 0, len(cases))
	for _, c := range cases {
		l, err := r.caseLine(c)
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return out, nil
}

func (r *morningReader) caseLine(c store.Case) (CaseLine, error) {
	l := CaseLine{ID: c.ID, State: c.State}
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return l, err
	}
	l.Operation = translate.Operation(d.Facts)
	l.Surgery.Day = r.o.facility.Today(r.o.noon(c.Surgery))
	var err error
	if l.Person, err = r.person(c.Patient); err != nil {
		return l, err
	}
	if l.FindsOut, err = r.findsOutOf(c.ID, readiness.CaseState(c.State), l.Surgery.Day); err != nil {
		return l, err
	}
	for _, ref := range []struct {
		at   string
		into *string
	}{{c.Surgeon, &l.Surgeon}, {c.Place, &l.Place}} {
		if ref.at == "" {
			continue
		}
		p, err := r.person(ref.at)
		if err != nil {
			return l, err
		}
		*ref.into = p.Name
	}
	for _, h := range d.Holds {
		if h.Ended.IsZero() {
			l.Holds = append(l.Holds, r.p.Kind(h.Kind).Display)
		}
	}
	if c.State == string(readiness.CaseInfeasible) || c.State == string(readiness.CaseHeld) {
		if l.Why, err = firstWhy(r.tx, c.ID); err != nil {
			return l, err
		}
	}
	return l, r.progress(&l)
}

// firstWhy is the first reason that the CarePlan gives.
func firstWhy(tx *store.Tx, caseID string) (string, error) {
	s, err := tx.Current("CarePlan", caseID)
	if err != nil {
		return "", err
	}
	body, issues := fhir.Parse(s.Body, len(s.Body)+1)
	if len(issues) > 0 {
		return "", issues
	}
	for _, e := range body.Get("extension").Items() {
		if e.String("url") == translate.ExtensionBase+"why" {
			return e.String("valueString"), nil
		}
	}
	return "", nil
}

// progress says what is late, what comes next, and how tight it is.
func (r *morningReader) progress(l *CaseLine) error {
	views, err := r.views(l.ID)
	if err != nil {
		return err
	}
	pl := &readiness.Plan{Day: l.Surgery.Day, Items: make([]readiness.Item, 0, len(views))}
	var late []*ItemView
	today := r.o.facility.Today(r.tx.Now)
	for n := range views {
		v := &views[n]
		pl.Items = append(pl.Items, v.Item)
		if v.asked() {
			l.Asked = v
		}
		if v.State == readiness.Late {
			late = append(late, v)
		}
		asked := v.State == readiness.Late || v.State == readiness.Due || v.State == readiness.Open
		if asked && v.Applies == readiness.Yes && (l.Next == nil || l.sooner(v, l.Next, today)) {
			l.Next = v
		}
	}
	if now := pressingWords(views); len(now) > 0 {
		l.Why = strings.TrimSpace(strings.Join(now, " ") + " " + l.Why)
	}
	slices.SortStableFunc(late, func(a, b *ItemView) int { return int(a.Step.Need) - int(b.Step.Need) })
	for _, v := range late {
		l.Late = append(l.Late, v.Step.Title)
	}
	l.tighten(r, pl)
	return nil
}

// tighten finds the must that can be done from today on and has the least time.
func (l *CaseLine) tighten(r *morningReader, pl *readiness.Plan) {
	today := r.o.facility.Today(r.tx.Now)
	for n, span := range pl.Network(r.p.Protocol, r.o.facility.Calendar, r.tx.Now) {
		i := &pl.Items[n]
		if i.Step.Need != readiness.Must || span.Latest.IsZero() || span.Earliest > today || span.Latest > l.Surgery.Day {
			continue
		}
		if slack := span.Slack(); !l.HasRoom || slack < l.Room || slack == l.Room && i.Step.Title < l.Tight {
			l.HasRoom, l.Room, l.Tight = true, slack, i.Step.Title
		}
	}
}

// sooner reports whether an item of the case is to be done before another: telling
// the person of a changed day before all, and of one that is held, whatever clears
// the hold.
func (l *CaseLine) sooner(a, b *ItemView, today calendar.Date) bool {
	if told := tells(a); told != tells(b) {
		return told
	}
	clears := func(v *ItemView) bool {
		return l.State == string(readiness.CaseHeld) && v.Step.Trigger == readiness.TriggerHold
	}
	if clears(a) != clears(b) {
		return clears(a)
	}
	return itemSooner(a, b, today)
}

// itemSooner reports whether an item is to be done before another: the one due
// soonest, and of one day a must before what may be left out. What may be left out
// and is late goes with what is due today: it would else hide that.
func itemSooner(a, b *ItemView, today calendar.Date) bool {
	must := func(v *ItemView) bool {
		return v.Step.Need == readiness.Must || v.Step.Need == readiness.MustToLeave
	}
	day := func(v *ItemView) calendar.Date {
		if must(v) {
			return v.Due.Day
		}
		return max(v.Due.Day, today)
	}
	switch {
	case a.Due.IsZero() || b.Due.IsZero():
		return b.Due.IsZero() && (!a.Due.IsZero() || must(a) && !must(b))
	case day(a) != day(b):
		return day(a) < day(b)
	case must(a) != must(b):
		return must(a)
	case a.Due.Day != b.Due.Day:
		return a.Due.Day < b.Due.Day
	case a.Due.At.IsZero() || b.Due.At.IsZero(): // that is the end of the day
		return !a.Due.At.IsZero()
	}
	return a.Due.At.Before(b.Due.At)
}
