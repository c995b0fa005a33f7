package readiness

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// TriggerLateSigned is raised when a prescriber signs a last dose that is later
// than the rules give, or that a medicine goes on of which they give one. The
// step with this trigger asks another person to look at it.
const TriggerLateSigned = "late-dose-signed"

// Look is what a second person says of such a signature.
type Look string

// What may be said. NotAgreed lets the signature be asked for again.
const (
	NotLooked Look = ""
	Agreed    Look = "agreed"
	NotAgreed Look = "not-agreed"
)

// LaterThan is the last dose by the rules that a signature is later than; zero:
// it is not. What goes on, as usual or in another dose, is later where they give
// one, or may while facts are missing, and leave it to nobody.
func (a *MedicineAdvice) LaterThan(signed Moment, decided Decision) Moment {
	switch decided {
	case DecidedGoOn, DecidedOtherDose:
		if !a.Last.IsZero() || len(a.Needs) > 0 && a.Decides == "" {
			return a.Strictest()
		}
	case DecidedLastDose:
		if !signed.IsZero() && a.Exceeds(signed) {
			return a.Strictest()
		}
	}
	return Moment{}
}

// LaterWords says what was signed beside what the rules give, and when surgery
// is, as a sentence without its end: "for Pill the last dose is signed by ...".
func (a *MedicineAdvice) LaterWords(signed Moment, decided Decision, surgery Moment) string {
	says := "the last dose is signed by " + signed.Words()
	if decided == DecidedGoOn {
		says = "it is signed that it goes on as usual"
	}
	if decided == DecidedOtherDose {
		says = "it is signed that it is taken in another dose"
	}
	gives := "the rules give "
	switch {
	case !a.Last.IsZero():
	case a.Decides != "":
		gives = "and if it is stopped at all, the rules give "
	default:
		gives = "and while facts are missing the rules may give "
	}
	return "for " + a.Medicine.Name + " " + says + ", " + gives + a.Strictest().Words() + "; surgery is on " + surgery.Words()
}

// SecondLooks raises a question about each signature of the case that is later
// than the rules give, until another person has looked at it, and carries on what
// was answered: with it, what was not agreed to counts no more. It goes before
// the plan, and returns when time alone may make a question idle (zero: never); see
// [Case.DropLooks].
func (c *Case) SecondLooks(b Before, p *Protocol, cal *calendar.Calendar, now time.Time) time.Time {
	looks := secondLooks{c: c, b: b, p: p, cal: cal, now: now}
	for n := range b.Items {
		if i := &b.Items[n]; looks.asks(i) && c.Entries[i.Key].Outcome != NoOutcome {
			c.Raised = append(c.Raised, looks.carried(i))
		}
	}
	if c.Ending != Running || c.Day.IsZero() || !c.Left.IsZero() {
		return time.Time{}
	}
	raised := false
	for n := range c.Medicines {
		raised = looks.look(&c.Medicines[n]) || raised
	}
	if hour := c.Hour(cal); raised && now.Before(hour) {
		return hour
	}
	return time.Time{}
}

// DropLooks takes back the questions of [Case.SecondLooks] that nobody answered and that
// are asked no more: the hour of the operation has passed, and nothing holds the case or
// somebody has reported that the person came. It goes after the holds, which may rest on
// such a signature all the same.
func (c *Case) DropLooks(cal *calendar.Calendar, now time.Time) (dropped bool) {
	if c.Ending != Running || !c.hourPassed(cal, now) || c.Held && !c.reported() {
		return false
	}
	kept := make([]Raised, 0, len(c.Raised))
	for _, r := range c.Raised {
		answered := r.Trigger != TriggerLateSigned
		for key, e := range c.Entries {
			answered = answered || key.Repeat == r.Key && (e.Outcome != NoOutcome || e.Look != NotLooked)
		}
		if answered {
			kept = append(kept, r)
		}
	}
	dropped = len(kept) < len(c.Raised)
	c.Raised = kept
	return dropped
}

type secondLooks struct {
	c   *Case
	b   Before
	p   *Protocol
	cal *calendar.Calendar
	now time.Time
}

// asks reports whether an item asks for a second look.
func (l *secondLooks) asks(i *Item) bool {
	s := l.p.Step(i.Key.Step)
	return s != nil && s.Trigger == TriggerLateSigned && i.Raised != nil && i.Key.Round == 1
}

func (l *secondLooks) carried(i *Item) Raised {
	r := *i.Raised
	r.Trigger, r.Key = TriggerLateSigned, i.Key.Repeat
	return r
}

// look raises the question about one medicine, unless it is answered.
func (l *secondLooks) look(m *Medicine) bool {
	e, round, ok := l.c.signatureOf(l.p, m.Key)
	if m.Key == "" || !ok {
		return false
	}
	a := Advise(m, l.c, l.cal)
	gives := a.LaterThan(e.Signed, e.Decided)
	about := e.SignedAs(round)
	answered := slices.ContainsFunc(l.c.Raised, func(r Raised) bool {
		return r.Trigger == TriggerLateSigned && medicineOf(r.Key) == m.Key && r.About == about
	})
	if gives.IsZero() || answered {
		return false
	}
	r := Raised{Trigger: TriggerLateSigned, Key: l.key(m.Key, round, about), At: l.now, About: about}
	for n := range l.b.Items {
		if i := &l.b.Items[n]; l.asks(i) && i.Key.Repeat == r.Key {
			r = l.carried(i)
		}
	}
	r.For, r.Dose, r.Why = l.c.Day, gives, l.why(&a, e, gives)
	l.c.Raised = append(l.c.Raised, r)
	return true
}

// key names the question about a signature: by its medicine and round, and by a
// number where that round was signed otherwise before.
func (l *secondLooks) key(medicine string, round int, about string) string {
	for n := 1; ; n++ {
		key := fmt.Sprintf("%s%s%d", medicine, ofMedicine, round)
		if n > 1 {
			key = fmt.Sprintf("%s-%d", key, n)
		}
		if !slices.ContainsFunc(l.b.Items, func(i Item) bool {
			return l.asks(&i) && i.Key.Repeat == key && i.Raised.About != about
		}) {
			return key
		}
	}
}

// why says what was signed, by whom and why, and which rule gives what.
func (l *secondLooks) why(a *MedicineAdvice, e Entry, gives Moment) string {
	surgery := Moment{Day: l.c.Day}
	if !l.c.Start.IsZero() {
		surgery.At = l.c.Start.In(l.cal.Zone())
	}
	out := upperFirst(a.LaterWords(e.Signed.In(l.cal), e.Decided, surgery)) + "."
	for n := range a.Candidates {
		if d := &a.Candidates[n]; d.Last.same(gives) || d.Rule == a.By {
			out += " The rule: " + d.Rule.Title + "."
			for _, s := range d.Rule.Sources {
				out += " Source: " + s.Text + " (" + s.Mark + ")."
			}
			break
		}
	}
	by := e.By
	if by == "" {
		by = "a prescriber who is not named"
	}
	out += " Signed by " + by
	if e.Reason != "" {
		out += ": " + strings.TrimSuffix(e.Reason, ".")
	}
	return out + "."
}

// In is the moment by the clock of a calendar's zone.
func (m Moment) In(cal *calendar.Calendar) Moment {
	if !m.At.IsZero() {
		m.At = m.At.In(cal.Zone())
	}
	return m
}

// SignedAs tells a signature, on a round of its item, from another one for the
// same medicine: [Raised].About of the question about it.
func (e *Entry) SignedAs(round int) string {
	at := ""
	if !e.Signed.At.IsZero() {
		at = e.Signed.At.UTC().Format(time.RFC3339)
	}
	parts := []string{fmt.Sprint(round), e.For[DetailDate], string(e.Decided), e.Signed.Day.String(), at, e.By}
	if e.Words != "" {
		parts = append(parts, e.Words)
	}
	return strings.Join(parts, "|")
}

// look is what a second person said of a signature, and who; NotLooked: nobody
// has, or needs to.
func (c *Case) look(medicine string, e *Entry, round int) (Look, string) {
	about := e.SignedAs(round)
	for n := range c.Raised {
		r := &c.Raised[n]
		if r.Trigger != TriggerLateSigned || medicineOf(r.Key) != medicine || r.About != about {
			continue
		}
		for key, o := range c.Entries {
			if key.Repeat == r.Key && o.Look != NotLooked {
				return o.Look, o.By
			}
		}
	}
	return NotLooked, ""
}

// disagreed reports whether a second person did not agree with what the item
// signs.
func (i *Item) disagreed(c *Case) bool {
	if !i.Step.SignsLastDose() || i.Entry.Outcome != Done {
		return false
	}
	look, _ := c.look(i.Key.Repeat, &i.Entry, i.Key.Round)
	return look == NotAgreed
}

// unseen holds the case for a signature later than the rules give, at which
// nobody else has looked when the day is over that they give.
func (w *watch) unseen(i *Item) {
	if w.rule.Unseen == "" || !i.Step.TakesLastDose() {
		return
	}
	for n := range w.c.Raised {
		r := &w.c.Raised[n]
		if r.Trigger != TriggerLateSigned || medicineOf(r.Key) != i.Key.Repeat || w.c.looked(r) {
			continue
		}
		if by := r.Dose.Ends(w.cal); w.now.Before(by) {
			w.sooner(by)
		} else {
			w.standing(i, unseenOf+r.Key)
		}
	}
}

// unseenOf ends, with the key of the question about it, the record of a signature at
// which nobody else has looked: another signature is another ground.
const unseenOf = "@unseen-"

// Unseen are the medicines with a signature that the hold rests on because nobody
// else had looked at it.
func (h *Hold) Unseen() []string {
	var out []string
	for _, record := range h.Records {
		if _, question, of := strings.Cut(record, unseenOf); of {
			out = append(out, medicineOf(question))
		}
	}
	return out
}

// standing adds the ground of a signature that stands. One that is taken back, or is
// looked at, is another matter: its release does not count for the signature.
func (w *watch) standing(i *Item, suffix string) {
	w.add(i, suffix, w.rule.Unseen)
	for n := range w.grounds {
		if g := &w.grounds[n]; g.Kind == w.rule.Kind && g.Record == recordOf(i.Key)+suffix {
			g.Class = unseenOf
		}
	}
}

// looked reports whether a question was answered by a look, or is about what does
// not stand any more.
func (c *Case) looked(r *Raised) bool {
	for key, e := range c.Entries {
		if key.Repeat == r.Key && e.Look != NotLooked {
			return true
		}
	}
	return r.For != c.Day
}
