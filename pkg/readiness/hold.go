package readiness

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// TriggerHold is the event of a hold. The protocol's step with this trigger is
// the one with which a person releases it; its item repeats by the hold's key.
const TriggerHold = "hold-raised"

// KindNoDate is the kind of hold that the service raises when a booking has lost
// its date, and that ends when there is one again: whoever supplies it has
// answered.
const KindNoDate = "no-date"

// Ground is something in the records that may stand in the way of surgery. Day
// is when it was over, was done or is planned for.
type Ground struct {
	Kind   string // of the hold that it raises
	Record string // what names the record, such as a FHIR reference
	Says   string // in plain words: "a urinary infection with symptoms"
	Active bool   // it goes on, or nobody knows when it was or will be over
	// Withdrawn: it was entered in error, or refuted; there never was one.
	Withdrawn bool
	Day       calendar.Date
	// Class is what it is and Codes by which codes, whatever words stand for it;
	// empty: it is always the same.
	Class string
	Codes []string
	// Ends is the day that the record names for its end where Day may not be
	// counted from it, and Over that it is said to be over, on whatever day.
	Ends calendar.Date
	Over bool
	// Whole: Says is all there is to say. Of an item: it is about the date that
	// stands, whose items say themselves what another one would meet.
	Whole, OfItem bool
	// After is how long after Day surgery may be, Assess how long after it
	// somebody still has to look, NotBefore how long after surgery Day may be.
	After, Assess, NotBefore Offset
}

// Clear is the first day of surgery that the ground allows once it is over;
// zero when that cannot be computed.
func (g *Ground) Clear() calendar.Date {
	if g.Day.IsZero() {
		return 0
	}
	return plus(g.Day, g.After)
}

// Blocks reports whether surgery on a day is too near to the ground, by its own
// days. One that goes on without a day blocks every day.
func (g *Ground) Blocks(day calendar.Date) bool {
	switch {
	case g.Withdrawn:
		return false
	case g.Day.IsZero():
		return g.Active
	case day < g.Day:
		return g.NotBefore.N > 0 && g.Day < plus(day, g.NotBefore)
	}
	return day < g.Clear()
}

// stands reports whether the ground holds a case with surgery on a day.
func (g *Ground) stands(day calendar.Date) bool {
	switch {
	case g.Withdrawn:
		return false
	case g.Active, g.Blocks(day):
		return true
	}
	return !g.Day.IsZero() && day >= g.Day && day < plus(g.Day, g.Assess)
}

// plus moves a day by whole days or months.
func plus(d calendar.Date, o Offset) calendar.Date {
	if o.Unit == Months {
		return d.AddMonths(o.N)
	}
	return d.Add(o.N)
}

// How a hold ended.
const (
	Released  = "released"  // by a person
	Withdrawn = "withdrawn" // none of its grounds ever was
	Supplied  = "supplied"  // what was missing is there
	Over      = "over"      // the case ended, the person has left, or it only waited for evidence and the person came for the operation
)

// Hold is a reason why a case may not go ahead. The service raises it; only a
// person releases it.
type Hold struct {
	Key    string // of the item that releases it
	Kind   string
	Raised time.Time
	// Stood is since when it should have been raised, where nobody planned the case
	// then; zero: since it was raised. See [Case.CarryOn].
	Stood   time.Time
	Records []string // what it rests on, in the order in which they came
	Ended   time.Time
	// Until is when it should have ended, where nobody planned the case then; zero: when
	// it did.
	Until time.Time
	How   string // it ended
	// Of a release by a person: the day of surgery that it was for, and the day
	// of each ground as it then was, by record; and what each was, which what was
	// released by an earlier version of the service does not tell.
	For  calendar.Date
	Seen map[string]calendar.Date
	Was  map[string]Was
	// Called is what each ground was last called, by record: it is named so when its
	// record is gone.
	Called map[string]string
}

// Open reports whether the case is held by it.
func (h *Hold) Open() bool { return h.Ended.IsZero() }

// Holds carries the holds of a case on: those before, and what the grounds of
// now add. A ground that is over releases nothing, and one of a kind that is
// held already joins that hold. What a person has released is raised again only
// for an earlier day of surgery, or on another ground.
func Holds(before []Hold, grounds []Ground, c *Case, p *Protocol, now time.Time) []Hold {
	out := make([]Hold, 0, len(before)+1)
	for _, h := range before {
		h.Records = slices.Clone(h.Records)
		if h.Open() && h.Raised.After(now) { // the clock was ahead when it was raised
			h.Raised, h.Stood = now, time.Time{}
		}
		h.settle(grounds, c, p, now)
		out = append(out, h)
	}
	if c.Ending != Running || c.begun(out, now) {
		return out // nothing is left to hold
	}
	for n := range grounds {
		g := &grounds[n]
		if g.Withdrawn {
			g.forget(out)
		}
		if g.stands(c.Day) && !released(out, g, c.Day) {
			out = g.raise(out, now)
		}
	}
	for n := range out {
		out[n].remember(grounds)
	}
	return out
}

// remember keeps what the grounds of an open hold are called.
func (h *Hold) remember(grounds []Ground) {
	for n := range grounds {
		g := &grounds[n]
		if !h.Open() || g.Kind != h.Kind || g.Withdrawn || g.OfItem && !g.Active || h.Called[g.Record] == g.Says || !slices.Contains(h.Records, g.Record) {
			continue
		}
		if h.Called = maps.Clone(h.Called); h.Called == nil {
			h.Called = map[string]string{}
		}
		h.Called[g.Record] = g.Says
	}
}

// gone are the grounds of the hold whose records are there no more, by what they
// were last called.
func (h *Hold) gone(grounds []Ground) (out []string) {
	for _, record := range h.Records {
		known := slices.ContainsFunc(grounds, func(g Ground) bool { return g.Kind == h.Kind && g.Record == record })
		if says := h.Called[record]; says != "" && !known && !slices.Contains(out, says) {
			out = append(out, says)
		}
	}
	return out
}

// settle ends an open hold that a person released or that has lost all its
// grounds, and opens again one whose release, or the report that ended it, was taken
// back.
func (h *Hold) settle(grounds []Ground, c *Case, p *Protocol, now time.Time) {
	said := c.Entries[Key{Step: p.releases(), Repeat: h.Key, Round: 1}].Outcome == Done
	if h.How == Over && !h.over(c, p, now) {
		h.open()
	}
	switch {
	case h.How == Released && !said:
		h.open()
	case !h.Open():
	case h.over(c, p, now):
		h.Ended, h.How = now, Over
	case said:
		h.Ended, h.How, h.For, h.Seen, h.Was = now, Released, c.Day, map[string]calendar.Date{}, map[string]Was{}
		for n := range grounds {
			if g := &grounds[n]; g.Kind == h.Kind && slices.Contains(h.Records, g.Record) {
				h.Seen[g.Record], h.Was[g.Record] = g.Day, g.was()
			}
		}
	case p.supplied(h.Kind) && !h.supported(grounds, func(g *Ground) bool { return g.stands(c.Day) }):
		h.Ended, h.How = now, Supplied
	case h.neverWas(grounds):
		h.Ended, h.How = now, Withdrawn
	}
}

// neverWas reports whether every record that the hold rests on says that it never
// was. One that was called off, corrected into something else or deleted says
// nothing of the kind: a person decides.
func (h *Hold) neverWas(grounds []Ground) bool {
	for _, record := range h.Records {
		if !slices.ContainsFunc(grounds, func(g Ground) bool { return g.Kind == h.Kind && g.Record == record && g.Withdrawn }) {
			return false
		}
	}
	return len(h.Records) > 0
}

// supported reports whether any of the hold's grounds is as asked.
func (h *Hold) supported(grounds []Ground, is func(*Ground) bool) bool {
	for n := range grounds {
		if g := &grounds[n]; g.Kind == h.Kind && slices.Contains(h.Records, g.Record) && is(g) {
			return true
		}
	}
	return false
}

// releases is the code of the step with which a hold is released.
func (p *Protocol) releases() string {
	for n := range p.Steps {
		if p.Steps[n].Trigger == TriggerHold {
			return p.Steps[n].Code
		}
	}
	return ""
}

// released reports whether a person let surgery on this day go ahead in spite of
// the ground, as it then was: another matter or another day of the ground is
// another question, and so is another day of surgery where the ground is an item
// of that day.
func released(holds []Hold, g *Ground, day calendar.Date) bool {
	for n := range holds {
		h := &holds[n]
		seen, known := h.Seen[g.Record]
		if h.How != Released || h.Kind != g.Kind || !known {
			continue
		}
		if was, told := h.Was[g.Record]; told && was.asks(g, day) || !told && !seen.IsZero() && seen != g.Day {
			continue
		}
		if day == h.For || day > h.For && !g.OfItem {
			return true
		}
	}
	return false
}

// forget takes a ground that never was out of what people have released: should it
// be asserted again, it is a new question.
func (g *Ground) forget(holds []Hold) {
	for n := range holds {
		h := &holds[n]
		if _, seen := h.Seen[g.Record]; seen && h.How == Released && h.Kind == g.Kind {
			h.Seen, h.Was = maps.Clone(h.Seen), maps.Clone(h.Was)
			delete(h.Seen, g.Record)
			delete(h.Was, g.Record)
		}
	}
}

func (g *Ground) raise(holds []Hold, now time.Time) []Hold {
	times := 1
	for n := range holds {
		h := &holds[n]
		if h.Kind != g.Kind {
			continue
		}
		if h.Open() {
			if !slices.Contains(h.Records, g.Record) {
				h.Records = append(h.Records, g.Record)
			}
			return holds
		}
		times++
	}
	key := g.Kind
	if times > 1 {
		key = fmt.Sprintf("%s-%d", g.Kind, times)
	}
	return append(holds, Hold{Key: key, Kind: g.Kind, Raised: now, Records: []string{g.Record}})
}

// Clear is the first day of surgery that all grounds of the hold allow; zero
// when that cannot be computed for one of them. What waits until long enough
// after the surgery that is booked allows that day.
func (h *Hold) Clear(grounds []Ground, surgery calendar.Date) calendar.Date {
	var last calendar.Date
	for n := range grounds {
		g := &grounds[n]
		if g.Withdrawn || g.Kind != h.Kind || !slices.Contains(h.Records, g.Record) {
			continue
		}
		day := g.Clear()
		if day.IsZero() {
			return 0
		}
		if g.waits(surgery) {
			day = surgery
		}
		last = max(last, day)
	}
	return last
}

// Words says what a hold rests on with surgery on a day, zero when there is none,
// and what would let it be released.
func (h *Hold) Words(grounds []Ground, surgery, today calendar.Date) string {
	var parts []string
	for n := range grounds {
		g := &grounds[n]
		if g.Kind == h.Kind && slices.Contains(h.Records, g.Record) {
			if says := g.wordsFor(surgery, today); !slices.Contains(parts, says) { // of two records
				parts = append(parts, says)
			}
		}
	}
	for _, says := range h.gone(grounds) {
		parts = append(parts, says+", which was called off, settled, corrected or taken away since")
		if h.Open() {
			parts[len(parts)-1] += ": a named person may release it"
		}
	}
	if len(parts) == 0 {
		return "what it rested on was called off, corrected or taken away since: a named person may release it"
	}
	return strings.Join(parts, "; ")
}

// waits reports whether the ground is planned for so long after surgery on a day
// that it does not stand in its way.
func (g *Ground) waits(surgery calendar.Date) bool {
	return !surgery.IsZero() && g.Day > surgery && g.NotBefore.N > 0 && !g.stands(surgery)
}

// wordsFor says the ground, and that it stands no more where surgery on the day
// that is booked is clear of it: the hold stays until a person says so.
func (g *Ground) wordsFor(surgery, today calendar.Date) string {
	const let = "a named person may release the hold"
	switch on := "surgery on " + surgery.Format(dayLayout); {
	case surgery.IsZero(), g.Whole, g.Withdrawn, g.Day.IsZero(), g.stands(surgery):
		return g.words(today)
	case g.waits(surgery):
		return g.Says + " planned for " + g.Day.Format(dayLayout) + ": it waits until " + g.NotBefore.words() + " after " + on + ", and " + let
	case g.Day > today && g.NotBefore.N > 0:
		return g.Says + " planned for " + g.Day.Format(dayLayout) + ": if it is done then, surgery may be from " + g.Clear().Format(dayLayout) +
			"; that is clear of " + on + ", and " + let
	default:
		return g.words(today) + "; that is clear of " + on + ", and " + let
	}
}

func (g *Ground) words(today calendar.Date) string {
	day := func(d calendar.Date) string { return d.Format(dayLayout) }
	switch {
	case g.Whole:
		return g.Says
	case g.Withdrawn:
		return g.Says + ", which was withdrawn"
	case g.Day.IsZero() && g.Active && g.Ends > today:
		return g.Says + ", expected to be over on " + day(g.Ends) + ": from when surgery may be cannot be computed before it is"
	case g.Day.IsZero() && g.Active:
		return g.Says + ", and nobody has said when it is over: from when surgery may be cannot be computed"
	case g.Day.IsZero():
		return g.Says
	case g.Day > today && g.NotBefore.N == 0: // a record with a day to come, of what nobody plans
		return g.Says + " dated " + day(g.Day) + ", a day that is to come: surgery from " + day(g.Clear())
	case g.Day > today:
		out := g.Says + " planned for " + day(g.Day) + ": surgery from " + day(g.Clear())
		return out + ", or it waits until " + g.NotBefore.words() + " after surgery"
	}
	out := g.Says + " of " + day(g.Day) + ": surgery from " + day(g.Clear())
	if g.After.N > 0 {
		out += " (" + g.After.words() + ")"
	}
	if g.Assess.N > g.After.N {
		out += ", and until " + day(plus(g.Day, g.Assess).Add(-1)) + " only after somebody has looked at it"
	}
	return out
}

func (o Offset) words() string {
	unit := "day"
	if o.Unit == Months {
		unit = "month"
	}
	return fmt.Sprintf("%d %s%s", o.N, unit, plural(o.N))
}

// blocked names the grounds that surgery on a day would be too near to, by the
// key of the step that releases holds, repeated by the ground's record. What
// goes on is over today at the earliest.
func (c *Case) blocked(p *Protocol, day, today calendar.Date) map[Key]bool {
	out := map[Key]bool{}
	for n := range c.Grounds {
		g := c.Grounds[n]
		if g.Kind == KindNoDate || g.OfItem || released(c.Holds, &g, day) {
			continue
		}
		if g.Day.IsZero() {
			g.Day = today
		}
		if g.Blocks(day) {
			out[Key{Step: p.releases(), Repeat: g.Record}] = true
		}
	}
	return out
}

// groundWords says the ground that a key of blocked stands for, and whether it
// was only assumed to be over today.
func (c *Case) groundWords(k Key, today calendar.Date) (words string, assumed bool) {
	for n := range c.Grounds {
		switch g := &c.Grounds[n]; {
		case g.Record != k.Repeat:
		case g.Day.IsZero():
			return g.Says + ", if it is over today", true
		default:
			return g.words(today), false
		}
	}
	return "", false
}

// unended lists the grounds whose end nobody has named: surgery on a day can go
// ahead only if each is over by today, as was counted.
func (c *Case) unended(p *Protocol, day, today calendar.Date) []Doubt {
	var out []Doubt
	for n := range c.Grounds {
		g := &c.Grounds[n]
		if g.Kind == KindNoDate || g.OfItem || !g.Day.IsZero() || !g.Blocks(day) || released(c.Holds, g, day) {
			continue
		}
		out = append(out, Doubt{
			Key:   Key{Step: p.releases(), Repeat: g.Record},
			Needs: []string{"whether " + g.Says + " was over by " + today.Format(dayLayout) + ", as is counted here, which nobody has said"},
			By:    Moment{Day: day.Add(-1)},
		})
	}
	return out
}

// unreleased lists the holds that must be released for surgery on a day to go
// ahead, each by the end of the day before.
func (c *Case) unreleased(p *Protocol, day calendar.Date) []Doubt {
	var out []Doubt
	for n := range c.Holds {
		h := &c.Holds[n]
		if !h.Open() || p.supplied(h.Kind) {
			continue
		}
		out = append(out, Doubt{
			Key:   Key{Step: p.releases(), Repeat: h.Key},
			Needs: []string{"whether a named person releases the hold, " + h.says(c.Grounds)},
			By:    Moment{Day: day.Add(-1)},
		})
	}
	return out
}

// says names the grounds of a hold without their days.
func (h *Hold) says(grounds []Ground) string {
	var parts []string
	for n := range grounds {
		g := &grounds[n]
		if g.Kind == h.Kind && !g.Withdrawn && slices.Contains(h.Records, g.Record) && !slices.Contains(parts, g.Says) {
			parts = append(parts, g.Says)
		}
	}
	for _, says := range h.gone(grounds) {
		if !slices.Contains(parts, says) {
			parts = append(parts, says)
		}
	}
	if len(parts) == 0 { // of an earlier version, which kept no words
		return "what it rested on, of which no record is left"
	}
	return strings.Join(parts, " and ")
}
