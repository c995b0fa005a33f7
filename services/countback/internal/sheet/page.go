package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// Options are what a sheet says of the hospital, and when it is printed.
type Options struct {
	Choice    string        // language of the page, where the patient prefers none
	Language  string        // that somebody asks for now, whatever the patient prefers; empty: nobody does
	Hospital  string        // its name; empty: not told
	Phone     string        // to call; empty: a line to write it on
	OnCall    string        // to call when closed; empty: a line to write it on
	PrintedOn calendar.Date // today, in the facility's zone
	Paper     string        // A4 or Letter; empty: what the printer holds
}

// Page is a patient's sheet, ready for its template.
type Page struct {
	Lang, Paper, Title, For, Hospital string

	Notices          []string // why this sheet is for no patient; empty: it may be given out
	Banner           *Banner  // nil: surgery goes ahead
	Operation        string   // what, in plain words
	DayTitle, Day    string
	Check, Arrival   string
	ArrivalWrite     bool // the patient writes down what was told
	Call, CallClosed Phone
	Emergency        Signs
	Today            []Signs
	TodayTitle       string
	TodayClosed      string
	Words            map[string]string // headings
	Steps            []Step
	Fasting          []Step
	FastingUnknown   bool
	Medicines        []Medicine
	MedicineRule     bool // what holds for every medicine is told, also where none is named
	Bag              []Step
	Washes           []Step
	Days             []Day  // what is still to do, each step once
	Done             string // what is done, in one line; empty: nothing yet
	Cautions         []string
	Printed          string
	Made             string // when, on each page; older sheets do not count
	Margin           string // that this is for no patient, on each page; empty: it may be given out
}

// Banner is what stands first when surgery does not go ahead as planned.
type Banner struct {
	Title string
	Lines []string
}

// Phone is a number; an empty one leaves a line to write it on.
type Phone struct{ Label, Number, Blank string }

// Signs is a list of warning signs under what to do about them.
type Signs struct {
	Title, First string
	List         []string
}

// Step is one thing to do.
type Step struct {
	When, Who, Title, Remark string
	Done                     bool
	Sentences                []string
}

// Day is what is to be done in one span of time.
type Day struct {
	When  string
	Steps []Step
}

// Medicine is what stands for one medicine.
type Medicine struct {
	Name, Text string
	Signed     bool   // a last dose, to be ticked
	Quote      string // what a prescriber signed, word for word, to follow the text; empty: nothing
	Sentences  []string
}

// builder makes one page.
type builder struct {
	*speaker
	h       *translate.Handout
	o       Options
	stopped bool // surgery does not go ahead as planned
}

// Page puts a handout into words.
func (s *Sentences) Page(h translate.Handout, o Options) (Page, error) {
	lang := Language(h.Prefers, o.Choice)
	if o.Language != "" {
		lang = Language(nil, o.Language)
	}
	b := &builder{speaker: &speaker{Sentences: s, lang: lang}, h: &h, o: o}
	p := Page{Lang: lang, Paper: o.Paper, Hospital: o.Hospital, Banner: b.banner()}
	b.stopped = p.Banner != nil
	if p.Banner == nil && h.Untold && !b.home() && h.State != readiness.CaseArrived {
		p.Banner = &Banner{Title: b.say("moved-title"), Lines: []string{b.say("moved"), b.say("stopped")}}
	}
	if p.Banner == nil && h.Stranded {
		p.Banner = &Banner{Title: b.say("stranded-title"), Lines: []string{b.say("stopped")}}
	}
	b.top(&p)
	b.signs(&p)
	b.parts(&p)
	b.foot(&p)
	p.Words = map[string]string{}
	for _, id := range []string{
		"steps", "steps-tick", "steps-none", "washes", "fasting", "fasting-moves", "fasting-unknown",
		"medicines", "medicines-rule", "medicines-others", "bag", "cautions", "state-done", "write-here", "stopped",
	} {
		p.Words[id] = b.say(id)
	}
	p.Words["washes-how"] = b.say("washes-how", "part", b.say("steps"))
	if len(b.missing) > 0 {
		return p, fmt.Errorf("sentences: there is no %s", strings.Join(b.missing, ", "))
	}
	return p, nil
}

// banner is nil only for a case whose surgery stands, or is behind the person.
func (b *builder) banner() *Banner {
	id := first(b.h)
	if id == "" {
		return nil
	}
	out := &Banner{Title: b.say(id + "-title"), Lines: []string{b.say(id)}}
	if id != "closed" {
		out.Lines = append(out.Lines, b.say("stopped"))
	}
	return out
}

// first names what must be said first: held, passed (held, and its hour is past), infeasible, no-date, cancelled or
// closed; empty where surgery stands, or is behind the person.
func first(h *translate.Handout) string {
	switch h.State {
	case readiness.CaseReady, readiness.CaseOnTrack, readiness.CaseBehind, readiness.CaseArrived, readiness.CaseHome:
		if h.Day.IsZero() {
			return "no-date"
		}
		return ""
	case readiness.CaseHeld:
		if h.Day.IsZero() {
			return "no-date"
		}
		if h.Unreported {
			return "passed"
		}
		return "held"
	case readiness.CaseInfeasible:
		return "infeasible"
	case readiness.CaseCancelled:
		return "cancelled"
	case readiness.CaseClosed:
		return "closed"
	}
	return "held" // a state that nobody thought of must not read as if all were well
}

// home reports whether the person has left the hospital.
func (b *builder) home() bool {
	return b.h.State == readiness.CaseHome || b.h.State == readiness.CaseClosed
}

func (b *builder) top(p *Page) {
	p.Title = b.say("title")
	if b.home() {
		p.Title = b.say("after-title")
	}
	p.For = b.say("for-nobody")
	if b.h.Name != "" {
		p.For = b.say("for", "name", b.h.Name)
	}
	p.Operation = b.operation()
	if b.h.State != readiness.CaseCancelled && b.h.State != readiness.CaseClosed {
		p.Check = b.say("check")
	}
	if b.h.Day.IsZero() {
		return
	}
	p.DayTitle, p.Day = b.say("day-of"), capital(b.dateYear(b.h.Day))
	switch {
	case b.h.State == readiness.CaseCancelled:
		p.Day = b.say("day-was", "day", b.dateYear(b.h.Day))
	case b.stopped && !b.home():
		p.Day = b.say("day-doubt", "day", b.dateYear(b.h.Day))
	case !b.home() && b.h.State != readiness.CaseArrived:
		b.arrival(p)
	}
}

func (b *builder) operation() string {
	joint := "joint-" + b.h.Joint
	if !b.has(joint) {
		joint = "joint-other"
	}
	out := b.say(joint)
	if side := "side-" + b.h.Side; b.has(side) {
		out += " " + b.say(side)
	}
	return capital(out)
}

// arrival says when the call comes that tells when to come.
func (b *builder) arrival(p *Page) {
	for n := range b.h.Lines {
		l := &b.h.Lines[n]
		if l.Part != translate.PartArrival || !current(l) {
			continue
		}
		switch {
		case l.Item.State == readiness.StateDone:
			p.Arrival, p.ArrivalWrite = b.say("arrival-told"), true
		case l.Item.Due.IsZero() || l.Item.Applies != readiness.Yes || l.Item.State == readiness.Missed:
			p.Arrival, p.ArrivalWrite = b.say("arrival-later"), true
		default:
			p.Arrival, p.ArrivalWrite = b.say("arrival", "when", b.say("on-afternoon", "date", b.date(l.Item.Due.Day))), true
		}
	}
}

func (b *builder) signs(p *Page) {
	p.Call = b.phone("call", b.o.Phone)
	p.CallClosed = b.phone("call-closed", b.o.OnCall)
	p.Emergency = Signs{Title: b.say("emergency"), First: b.say("emergency-first"), List: b.list("emergency")}
	p.TodayTitle, p.TodayClosed = b.say("today"), b.say("today-closed")
	if b.h.State == readiness.CaseCancelled || b.h.State == readiness.CaseClosed {
		return
	}
	if !b.home() && b.h.State != readiness.CaseArrived {
		p.Today = append(p.Today, Signs{Title: b.say("today-before"), List: b.list("today-before")})
	}
	p.Today = append(p.Today, Signs{Title: b.say("today-after"), List: b.list("today-after")})
}

func (b *builder) phone(label, number string) Phone {
	out := Phone{Label: b.say(label), Number: number}
	if number == "" {
		out.Blank = b.say("call-blank")
	}
	return out
}

func (b *builder) foot(p *Page) {
	p.Cautions = []string{
		b.say("caution"), b.say("caution-emergency"), b.say("caution-ill"),
		b.say("caution-fever", "celsius", b.Fever.Celsius, "fahrenheit", b.Fever.Fahrenheit), b.say("caution-own"),
	}
	if !b.h.Approved {
		p.Notices = append(p.Notices, b.say("example"))
	}
	if b.Reviewed[b.lang] == "" {
		p.Notices = append(p.Notices, b.say("unreviewed"))
	}
	p.Cautions = append(slices.Clone(p.Notices), p.Cautions...) // first and last: pages get parted
	if len(p.Notices) > 0 {
		p.Margin = b.say("margin")
	}
	p.Made = b.say("made", "date", b.dateYear(b.o.PrintedOn))
	p.Printed = b.say("printed", "date", b.dateYear(b.o.PrintedOn))
}

// inOrder sorts lines by the day that the sheet names first for them, and within it
// by the hour, then by when they end. Those without a day come last, in the
// protocol's order.
func (b *builder) inOrder(a, c *translate.HandoutLine) int {
	ba, bc := b.stands(a), b.stands(c)
	if ba.IsZero() || bc.IsZero() {
		return cmp.Compare(boolean(ba.IsZero()), boolean(bc.IsZero()))
	}
	da, dc := a.Item.Due, c.Item.Due
	return cmp.Or(cmp.Compare(ba.Day, bc.Day), cmp.Compare(minutes(ba), minutes(bc)),
		cmp.Compare(da.Day, dc.Day), cmp.Compare(minutes(da), minutes(dc)))
}

// stands is the moment at which a line stands among the others, by the same cases
// as when: the day by which it is to be done, the moment on which, the first day of
// a span, and today for what is wanted as soon as possible. Zero: it names none.
func (b *builder) stands(l *translate.HandoutLine) readiness.Moment {
	i := &l.Item
	switch {
	case i.Due.IsZero():
		return i.Opens
	case l.Part == translate.PartMedicine:
		return i.Due
	case i.Compressed && i.State.Waiting():
		return readiness.Moment{Day: b.o.PrintedOn}
	case l.Part == translate.PartFasting, i.Opens.Day == i.Due.Day, i.Opens.IsZero(), i.Opens.Day <= b.o.PrintedOn:
		return i.Due
	}
	return i.Opens
}

// minutes is where in its day a moment stands. What is for the whole day stands
// at noon: after what must be done in the night, before what is for the evening.
func minutes(m readiness.Moment) int {
	if m.At.IsZero() {
		return 12 * 60
	}
	return m.At.Hour()*60 + m.At.Minute()
}

func boolean(b bool) int {
	if b {
		return 1
	}
	return 0
}

// told are the lines that stand on the sheet, in date order.
func (b *builder) told() []*translate.HandoutLine {
	var out []*translate.HandoutLine
	for n := range b.h.Lines {
		if l := &b.h.Lines[n]; l.Own() && b.tells(l) {
			out = append(out, l)
		}
	}
	slices.SortStableFunc(out, b.inOrder)
	return out
}
