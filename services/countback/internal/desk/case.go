package desk

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/casework"
)

// onePage is one case.
type onePage struct {
	page
	ID        string
	Person    casework.Person
	Coaches   []casework.Person
	Operation string
	Surgeon   string
	Place     string
	Surgery   string // in words
	Count     string // how far the day of surgery is from today
	Booked    string
	Stay      string
	State     mark
	Protocol  string
	Notice    string
	Why       []string
	Holds     []holdLine
	Now       *itemGroup // what is asked for now; nil: nothing
	Groups    []itemGroup
	Medicines []itemLine
	Safe      *safePart
	Axis      *axis
	Paper     []*axis // the same to be printed
	History   []eventLine
	MoveDay   string // what the form for another day begins with
	Movable   bool
	Ask       *askPart // another day is asked for; nil: none
	Open      bool
	Sheets    []sheetIn // the patient's sheet in other languages
	Untold    string    // what the person still goes by; empty: they know the day
}

type holdLine struct {
	casework.HoldLine
	SinceWords, UntilWords, EarliestWords string
	Clear                                 *itemLine // nil: nothing to release
}

// itemGroup is items that are shown together.
type itemGroup struct {
	ID, Title, Says string
	Lines           []itemLine
	Shut            bool // shown folded
}

// itemLine is one item in words.
type itemLine struct {
	ID, Title, Summary, Rule, Who, Owner, Need, Reason, Record string
	Repeat                                                     string // what tells items of one step apart
	Mark                                                       mark
	Opens, Due, Last, DoneOn                                   string
	Room                                                       string // how many days it may still slip
	Soon                                                       bool   // booked later than it is usually due
	Again                                                      string // the day on which it was asked for again; empty: it was not
	Needs, Advice                                              []string
	Confirm                                                    []string // of the advice, what is confirmed before signing
	Notes                                                      []noteLine
	Version                                                    int64
	Back, Me                                                   string
	Acts                                                       acts
	SignAt                                                     string // the page on which it is signed; empty: this one
	AskAt                                                      string // the page on which its questions are answered; empty: it has none
	Report                                                     string // address of the answers that it was raised for; empty: none
	Staff                                                      string // how whoever does it goes about it
	Sources                                                    []string
	Choices                                                    []casework.Choice // the records between which it asks to choose
	SetsDose                                                   bool              // the dose around surgery is the prescriber's to say
	Advised                                                    string            // the last dose that the rules give for its medicine; empty: none
}

type noteLine struct{ At, By, Text string }

// acts are what may be done with an item as it stands.
type acts struct {
	Done, Waive, NotNeeded, Applies, Failed, Reopen, Note, Assign, Tried bool
	Named                                                                bool // done only with a professional named
	Sign                                                                 bool // a prescriber's decision on a medicine
	Must                                                                 bool // that it could not be done holds the case
	Clears                                                               bool // done by releasing a hold: who, and why
	Decides                                                              bool // done only with what was decided on a report
	Happened, HomeOnly                                                   bool // what became of the operation; only when they went home
	Chooses                                                              bool // done only by naming the record that is meant
	Fails, Leaves                                                        press
	Looks                                                                bool // done by a second person, who agrees or does not
	Asks                                                                 bool // a questionnaire is filled in for it
	Grave                                                                bool // a yes to that may hold the case, or cannot wait
}

// press is the words of one thing that can be done with an item.
type press struct {
	Ask    string // what has to be written beside it
	Button string
	Did    string // key in deedWords, of what is said afterwards; empty: what is said of any item
}

// The words for not doing an item, and for leaving it out; of a request for another
// day they are those of whoever books.
var (
	fails    = press{Ask: "Why it could not be done", Button: "Could not be done"}
	leaves   = press{Ask: "Why it is left out", Button: "Leave out"}
	declined = press{"Why that day cannot be had", "It was declined", didDecline}
	withdraw = press{"Why it is no longer asked for", "Take it back", didTakeBack}
)

// Any reports whether anything may be done.
func (a acts) Any() bool {
	return a.Done || a.Asks || a.Sign || a.Looks || a.Happened || a.Reopen || a.Note
}

type eventLine struct {
	At, Why, By string
	State       mark
	Lines       []string
	More        int
}

type safePart struct {
	Words     []string
	Day       string // the earliest
	Obstacles []obstacleLine
	Unknown   []doubtLine
	Pressing  []pressingLine
}

type (
	obstacleLine struct{ What, Clear string }
	doubtLine    struct{ What, Needs, By string }
	pressingLine struct {
		What, Due, By string
		Over          bool // its due day is over
	}
)

func (d *Desk) casePage(c *gin.Context) error {
	v, err := d.Office.View(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	return d.render(c, http.StatusOK, "case", d.newOnePage(d.newPage(c, v.Person.Name, "/cases"), v))
}

// newOnePage says a case in words.
func (d *Desk) newOnePage(p page, v *casework.CaseView) *onePage {
	today := d.Calendar.DateOf(v.Now)
	one := &onePage{
		page: p, ID: v.ID, Person: v.Person, Coaches: v.Coaches, Operation: v.Operation, Surgeon: v.Surgeon, Place: v.Place,
		Surgery: "no date yet", Booked: d.Calendar.DateOf(v.Booked).Format(dayWords), Stay: strings.ReplaceAll(v.Stay, "-", " "),
		State: caseMark(v.State, v.FindsOut(d.Calendar)), Protocol: v.Protocol, Notice: v.Notice,
		Paper: newAxes(v, d.Calendar, onPaper), Movable: v.Safe != nil, Open: v.Open, Why: v.Why, Untold: v.Untold(), Sheets: d.otherSheets(v.Person.Prefers),
	}
	one.Slip = strings.Join(append([]string{v.Person.Name}, v.Person.Identifiers...), ", ")
	if screen := newAxes(v, d.Calendar, onScreen); len(screen) > 0 {
		one.Axis = screen[0]
	}
	if !v.Surgery.IsZero() {
		one.Surgery, one.Count = v.Surgery.Words(), distance(v.Surgery.Day, today)
		one.Slip += " · surgery " + v.Surgery.Day.Format(dayWords)
		one.MoveDay = v.Surgery.Day.Add(7).String()
	}
	if v.Safe != nil && v.Safe.InTime > v.Surgery.Day { // until then something presses
		one.MoveDay = v.Safe.InTime.String()
	} else if v.Safe != nil && v.Safe.Day > v.Surgery.Day { // no earlier one can be met
		one.MoveDay = v.Safe.Day.String()
	}
	one.items(d, v, today)
	one.held(d, v)
	one.Ask = d.newAskPart(v, &one.page)
	one.Safe = newSafePart(v)
	for _, e := range v.TheirHistory {
		by := e.By
		if by == "" {
			by = "Countback, by the protocol"
		}
		one.History = append(one.History, eventLine{
			At: e.At.In(d.Calendar.Zone()).Format("Mon 2 Jan 2006, 15:04"), Why: e.Why, By: by,
			State: caseMarks[readiness.CaseState(e.State)], Lines: e.Lines, More: e.More,
		})
	}
	return one
}

// items sorts the items into groups: what is asked for now first.
func (one *onePage) items(d *Desk, v *casework.CaseView, today calendar.Date) {
	groups := []itemGroup{
		{ID: "now", Title: "Asked for now", Says: "What releases a hold first, then what is late, then by the day it is due."},
		{ID: "find-out", Title: "To find out", Says: "It is not known yet whether these apply. Each says what must be known."},
		{ID: "coming", Title: "Coming, or paused by a hold", Shut: true},
		{ID: "settled", Title: "Settled", Says: "Done, left out, missed, or not for this person.", Shut: true},
	}
	items := slices.Clone(v.Items)
	slices.SortStableFunc(items, func(a, b casework.ItemView) int {
		if first := foremost(&a) - foremost(&b); first != 0 {
			return first
		}
		if late := rank(a.State) - rank(b.State); late != 0 {
			return late
		}
		return int(dueDay(&a)) - int(dueDay(&b))
	})
	for n := range items {
		i := &items[n]
		line := d.newItemLine(i, today, &one.page)
		if len(i.Advice) > 0 {
			one.Medicines = append(one.Medicines, line)
		}
		g := 2
		switch {
		case i.InDoubt():
			g = 1
		case !i.State.Waiting():
			g = 3
		case rank(i.State) < rank(readiness.Paused):
			g = 0
		}
		groups[g].Lines = append(groups[g].Lines, line)
	}
	for n := range groups {
		if slices.ContainsFunc(groups[n].Lines, func(l itemLine) bool { return l.Room != "" }) {
			groups[n].Says = strings.TrimSpace(groups[n].Says + " Room is how long each may still wait.")
			break // where it is shown first
		}
	}
	if len(groups[0].Lines) > 0 {
		one.Now = &groups[0]
	}
	for _, g := range groups[1:] {
		if len(g.Lines) > 0 {
			one.Groups = append(one.Groups, g)
		}
	}
}

// foremost orders what stands before all: a person who must be called now, then
// what releases a hold.
func foremost(i *casework.ItemView) int {
	switch {
	case i.Pressing():
		return 0
	case i.Step.Trigger == readiness.TriggerHold && i.State.Waiting():
		return 1
	}
	return 2
}

// rank orders states by how much they press.
func rank(s readiness.ItemState) int {
	return slices.Index([]readiness.ItemState{
		readiness.Late, readiness.Due, readiness.Open, readiness.Paused, readiness.Upcoming, readiness.Missed,
		readiness.Expired, readiness.StateWaived, readiness.StateDone, readiness.Needless,
	}, s)
}

// dueDay is the day an item goes by in lists; those without one come last.
func dueDay(i *casework.ItemView) calendar.Date {
	switch {
	case !i.Due.IsZero():
		return i.Due.Day
	case !i.Opens.IsZero():
		return i.Opens.Day
	}
	return calendar.NewDate(9999, 12, 31)
}

func (d *Desk) newItemLine(i *casework.ItemView, today calendar.Date, p *page) itemLine {
	line := itemLine{
		ID: i.TaskID, Title: i.Step.Title, Summary: i.Step.Summary, Rule: i.Rule, Who: performers(i), Owner: i.Owner,
		Need: needWords[i.Step.Need], Reason: i.Reason, Record: i.Record, Mark: markOf(&i.Item), Repeat: repeatOf(i),
		Needs: i.Needs, Advice: i.Advice, Version: i.Version, Back: p.Path, Me: p.Me, Acts: actsOn(i), SetsDose: i.SetsDose, Staff: i.Step.ForPerformer, Choices: i.Choices,
	}
	for _, s := range i.Step.Sources {
		line.Sources = append(line.Sources, s.Text)
	}
	for _, a := range i.Advice {
		if strings.HasPrefix(a, readiness.ConfirmFirst) {
			line.Confirm = append(line.Confirm, a)
		}
	}
	if line.Acts.Asks {
		line.AskAt = Root + "/task/" + url.PathEscape(i.TaskID) + "/answers?back=" + url.QueryEscape(p.Path)
	}
	if i.Report != "" {
		line.Report = Root + "/answers/" + url.PathEscape(i.Report)
	}
	for _, m := range []struct {
		into *string
		at   readiness.Moment
	}{{&line.Opens, i.Opens}, {&line.Due, i.Due}, {&line.Last, i.UsefulUntil()}, {&line.Advised, i.Advised}} {
		if !m.at.IsZero() {
			*m.into = m.at.Words()
		}
	}
	if i.Compressed && i.State.Waiting() {
		line.Soon = true
	}
	if i.State.Waiting() && !i.Again.IsZero() { // its due day may lie before that
		line.Again = d.Calendar.DateOf(i.Again).Format(dayWords)
	}
	if !i.Entry.On.IsZero() && !i.State.Waiting() {
		line.DoneOn = i.Entry.On.Format(dayWords)
	}
	if i.State.Waiting() && !i.Span.Latest.IsZero() && !i.Last.IsZero() { // without a last day nothing says how long it may wait
		line.Room = room(i.Span)
	}
	for _, n := range i.Notes {
		line.Notes = append(line.Notes, noteLine{d.instant(n.At), n.By, n.Text})
	}
	return line
}

// room says how many days an item may still slip, by what follows it too.
func room(s readiness.Span) string {
	switch n := s.Slack(); {
	case n < 0:
		return count(-n, "day") + " too late"
	case n == 0:
		return "none"
	default:
		return count(n, "day")
	}
}

// repeatOf tells the items of one step apart, where there are several.
func repeatOf(i *casework.ItemView) string {
	switch {
	case i.Raised != nil && i.Raised.Why != "":
		return i.Raised.Why
	case len(i.Advice) > 0 && i.Key.Repeat != "": // which medicine it is
		return strings.TrimSuffix(i.Advice[0], " The rules say:")
	case i.Key.Round > 1:
		return "asked for again"
	}
	return ""
}

func performers(i *casework.ItemView) string {
	var out []string
	for _, p := range i.Step.Performers {
		if i.Raised == nil || i.Raised.Role == "" || i.Raised.Role == p.Role {
			out = append(out, p.Display)
		}
	}
	return strings.Join(out, ", ")
}

// actsOn lists what may be done with an item in its state, in the words for it: the
// presses of an item are the same wherever it stands. What cannot be done
// now for another reason is refused when it is tried, with the reason.
func actsOn(i *casework.ItemView) (a acts) {
	a = acts{Note: true, Assign: true, Decides: i.Decides(), Named: i.Step.Named || i.Step.Trigger == readiness.TriggerHold}
	a.Fails, a.Leaves = fails, leaves
	if i.Step.Trigger == readiness.TriggerMove {
		a.Fails, a.Leaves = declined, withdraw
	}
	defer func() {
		a.Chooses = a.Done && len(i.Choices) > 0
		a.Clears = a.Done && i.Step.Trigger == readiness.TriggerHold
		if i.Step.SignsLastDose() {
			a.Sign, a.Done = a.Done, false
		}
		if asks, homeOnly := i.Happened(); asks {
			a.Happened, a.HomeOnly, a.Done = a.Done, homeOnly, false
		}
		if i.Step.Trigger == readiness.TriggerLateSigned {
			a.Looks, a.Done = a.Done, false
		}
		a.Asks = i.Form.Questionnaire != nil && i.Status != "completed" && i.Status != "cancelled" && !i.InDoubt()
		a.Grave, a.Done = a.Asks && i.Form.Grave, a.Done && !i.Form.Closes
	}()
	switch i.Status {
	case "completed", "cancelled":
		return acts{Reopen: i.State != readiness.Expired, Note: true}
	case "failed":
		a.Done, a.Reopen = i.Step.Trigger != readiness.TriggerMove, true
		return a
	case "on-hold":
		return a
	case "draft":
		a.Done = !i.InDoubt()
		doubt := i.InDoubt() && !i.Step.TakesLastDose() // that is for a prescriber to sign
		a.Applies, a.NotNeeded = doubt, doubt
	default:
		a.Done, a.Failed = true, !i.Step.UntilDone
		a.Tried = i.Step.UntilDone || i.Step.Trigger != readiness.TriggerHold
		a.Must = i.Step.Need == readiness.Must && i.Step.Trigger == ""
	}
	if i.Step.Trigger == readiness.TriggerMove { // the booking says so
		a.Done = false
	}
	a.Waive = i.Step.Need == readiness.Should || i.Step.Need == readiness.Could
	return a
}

func (one *onePage) held(d *Desk, v *casework.CaseView) {
	for _, h := range v.Holds {
		line := holdLine{HoldLine: h, SinceWords: d.instant(h.Since), UntilWords: d.instant(h.Until), EarliestWords: written(h.Earliest)}
		groups := one.Groups
		if one.Now != nil {
			groups = append(slices.Clone(groups), *one.Now)
		}
		for _, g := range groups {
			for n := range g.Lines {
				if g.Lines[n].ID == h.ClearTask && h.ClearTask != "" {
					line.Clear = &g.Lines[n]
				}
			}
		}
		one.Holds = append(one.Holds, line)
	}
}

func newSafePart(v *casework.CaseView) *safePart {
	if v.Safe == nil {
		return nil
	}
	p := &safePart{Words: v.SafeWords, Day: v.Safe.Day.Format(dayWords)}
	for _, o := range v.Safe.Obstacles {
		line := obstacleLine{What: o.Ground, Clear: "not within the days that were tried"}
		if line.What == "" {
			line.What = v.StepTitles[o.Key.Step]
		}
		if !o.Clear.IsZero() {
			line.Clear = o.Clear.Format(dayWords)
		}
		p.Obstacles = append(p.Obstacles, line)
	}
	for _, u := range v.Safe.Unknown {
		p.Unknown = append(p.Unknown, doubtLine{v.StepTitles[u.Key.Step], strings.Join(u.Needs, ", and "), u.Within()})
	}
	for _, o := range v.Safe.Pressing {
		p.Pressing = append(p.Pressing, pressingLine{v.StepTitles[o.Key.Step], o.Due.Words(), o.By.Words(), o.Over})
	}
	return p
}
