package readiness

import (
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// ItemHold is a rule that holds a case for what its own items show: a must that
// was missed, a last dose that nobody confirmed.
type ItemHold struct {
	Kind string // of the hold
	// Steps are those that the rule watches; none: every must of the preparation
	// that no other rule watches.
	Steps []string
	// Missed and Later say in plain words what is wrong with an item that was
	// missed, or done after its last moment. An empty one holds nothing.
	Missed, Later string
	// Undecided says what is wrong with the last dose of a medicine that nobody
	// has decided on when the earliest one that may come out has ended.
	Undecided string
	// Unsigned says what is wrong with a last dose that is recorded as taken, and
	// that nobody signed, once its day has ended.
	Unsigned string
	// Unseen says what is wrong with a signature later than the rules give, once
	// the day that they give has ended and nobody else has looked at it.
	Unseen string
	// Outside says what is wrong when surgery lies outside the window after the
	// last dose of a medicine, and Expired what is wrong with evidence that has
	// expired with fewer than Left business days to go.
	Outside, Expired string
	Left             int
	// Supplied: the hold ends by itself when nothing is missing any more. Else
	// only a person releases it, whose word then stands for the item.
	Supplied bool
}

// supplied reports whether holds of a kind end when what was missing is there.
func (p *Protocol) supplied(kind string) bool {
	return kind == KindNoDate || slices.ContainsFunc(p.ItemHolds, func(r ItemHold) bool { return r.Kind == kind && r.Supplied })
}

// watches reports whether the rule looks at the items of a step.
func (r *ItemHold) watches(s *Step, p *Protocol) bool {
	if len(r.Steps) > 0 {
		return slices.Contains(r.Steps, s.Code)
	}
	if s.Need != Must || s.Trigger != "" {
		return false
	}
	return !slices.ContainsFunc(p.ItemHolds, func(o ItemHold) bool { return slices.Contains(o.Steps, s.Code) })
}

// itemRecord names an item as the ground of a hold.
const itemRecord = "item:"

func recordOf(k Key) string { return itemRecord + k.Step + "/" + k.Repeat }

// ItemOf reads the step and the repeat of the item that a ground's record names;
// false for a record that is none of ours.
func ItemOf(record string) (Key, bool) {
	rest, ours := strings.CutPrefix(record, itemRecord)
	rest, _, _ = strings.Cut(rest, "@")
	step, repeat, _ := strings.Cut(rest, "/")
	return Key{Step: step, Repeat: repeat}, ours
}

// ItemGrounds finds what the items of a plan, made as if nothing held the case,
// may hold it for, and the next moment at which time alone adds to that (zero:
// none that the plan does not name). A rule whose holds only a person releases
// keeps the grounds of those that are open, so that they are not withdrawn when
// the item is done or the date moves.
func ItemGrounds(pl *Plan, c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) (grounds []Ground, next time.Time) {
	if c.Ending != Running {
		return nil, next
	}
	w := watch{pl: pl, c: c, p: p, cal: cal, now: now}
	for n := range p.ItemHolds {
		w.rule = &p.ItemHolds[n]
		for i := range pl.Items {
			w.item(i)
		}
	}
	for n := range c.Holds {
		if h := &c.Holds[n]; h.Open() && p.supplied(h.Kind) && c.reported() {
			w.sooner(c.Start) // then it is over
		}
	}
	return append(w.grounds, c.lapsed(w.grounds, p)...), w.next
}

type watch struct {
	pl      *Plan
	c       *Case
	p       *Protocol
	cal     *calendar.Calendar
	now     time.Time
	rule    *ItemHold
	grounds []Ground
	next    time.Time
}

func (w *watch) item(n int) {
	i := &w.pl.Items[n]
	replaced := n+1 < len(w.pl.Items) && w.pl.Items[n+1].Replaces > 0
	if replaced || w.c.Day.IsZero() || !w.rule.watches(i.Step, w.p) {
		return
	}
	if i.undecided() {
		w.undecided(i)
	}
	w.unseen(i)
	if i.Applies != Yes {
		return
	}
	whole := len(w.rule.Steps) == 0
	if i.State.Waiting() && !i.Last.IsZero() && (!whole || !w.never(i)) {
		w.sooner(i.Last.Ends(w.cal)) // also of one that a hold pauses
	}
	switch {
	case i.State == Missed && whole && w.never(i):
		return
	case i.State == Missed && i.Entry.Outcome == Failed:
		w.add(i, "", i.failedWords(w.rule.Missed, whole))
	case i.State == Missed:
		w.add(i, "", w.rule.Missed)
	case i.State == StateDone && after(i.Entry.On, i.Entry.At, i.Last):
		w.add(i, "@"+i.Entry.On.String(), w.rule.Later)
	case i.Replaces > 0 && i.State.Waiting() && w.rule.Left > 0 && w.expired(n):
		w.add(i, "", w.rule.Expired)
	}
	if !whole {
		w.unsigned(i)
		w.doses(i)
	}
}

// failedWords say of an item that somebody said could not be done what they gave
// as the reason, and who they are: whoever decides on the hold must know it. Its
// last day may still be to come, so that of a must nothing is said of that.
func (i *Item) failedWords(missed string, whole bool) string {
	if missed == "" {
		return ""
	}
	says := "it could not be done"
	if i.Entry.Reason != "" {
		says += ": " + strings.TrimSuffix(strings.TrimSpace(i.Entry.Reason), ".")
	}
	if i.Entry.By != "" {
		says += " (said by " + i.Entry.By + ")"
	}
	if whole {
		return says
	}
	return missed + "; " + says
}

// never reports whether the item could not be met from the day on which the
// date became known: then the date is wrong, and nothing is missing.
func (w *watch) never(i *Item) bool {
	known := w.c.Dated
	if known.IsZero() {
		known = w.c.Booked
	}
	before := i.Last.IsZero() || i.Last.Day > w.c.Day
	return before || i.TooLate || i.failedBefore(w.c) || !i.Last.Ends(w.cal).After(known)
}

// expired reports whether what the item replaces has become too old, with too
// few business days left to do it again.
func (w *watch) expired(n int) bool {
	was := &w.pl.Items[n-1]
	if was.State != Expired || was.Step.Expiry.Kind == ThisDate {
		return false
	}
	today := w.cal.DateOf(w.now)
	if w.left(today) < w.rule.Left {
		return true
	}
	for day := today.Add(1); day <= w.c.Day; day = day.Add(1) {
		if w.left(day) < w.rule.Left {
			w.sooner(w.cal.StartOf(day))
			break
		}
	}
	return false
}

// left is how many business days there are from a day to the one before surgery.
func (w *watch) left(from calendar.Date) int {
	n := 0
	for day := from; day < w.c.Day && n <= w.rule.Left; day = day.Add(1) {
		if w.cal.IsBusinessDay(day) {
			n++
		}
	}
	return n
}

// doses compares what the records say of doses with the last dose that stands.
func (w *watch) doses(i *Item) {
	m := w.c.medicine(i.Key.Repeat)
	if m == nil || m.Last.IsZero() || i.Last.IsZero() {
		return
	}
	today := w.cal.DateOf(w.now)
	switch {
	case m.Last.Day > today: // planned, not taken yet
		w.sooner(w.cal.StartOf(m.Last.Day))
	case after(m.Last.Day, m.Last.At, i.Last):
		w.add(i, "@"+m.Last.Day.String(), w.rule.Later)
	case w.now.Before(i.Last.Ends(w.cal)), i.Entry.On > m.Last.Day, after(i.Entry.On, i.Entry.At, i.Last):
	case w.past(m):
		w.add(i, "@outside", w.rule.Outside)
	}
}

// past reports whether the window after the last dose is over on the day.
func (w *watch) past(m *Medicine) bool {
	for n := range w.pl.Medicines {
		a := &w.pl.Medicines[n]
		if a.Medicine.Key != m.Key {
			continue
		}
		inside := false
		for k := range a.Candidates {
			inside = inside || a.Candidates[k].Applies == Yes && a.Candidates[k].Fit == InWindow
		}
		for k := range a.Candidates {
			if d := &a.Candidates[k]; d.Applies == Yes && d.Fit == PastWindow && !inside {
				return true
			}
		}
	}
	return false
}

func (w *watch) sooner(t time.Time) {
	if t.After(w.now) && (w.next.IsZero() || t.Before(w.next)) {
		w.next = t
	}
}

func (w *watch) add(i *Item, suffix, says string) {
	if says != "" {
		w.raise(i, suffix, w.c.itemWords(i)+": "+says)
	}
}

// raise adds a ground that an item gives, once.
func (w *watch) raise(i *Item, suffix, says string) {
	record := recordOf(i.Key) + suffix
	if slices.ContainsFunc(w.grounds, func(g Ground) bool { return g.Record == record && g.Kind == w.rule.Kind }) {
		return
	}
	w.grounds = append(w.grounds, Ground{
		Kind: w.rule.Kind, Record: record, Active: true, Whole: true, OfItem: true, Says: says,
	})
}

// itemWords names an item, with its medicine and its last moment.
func (c *Case) itemWords(i *Item) string {
	out := i.Step.Title
	if m := c.medicine(i.Key.Repeat); m != nil {
		out = m.Name + ", " + lowerFirst(out)
	}
	if !i.Last.IsZero() {
		out += " (by " + i.Last.Words() + ")"
	}
	return out
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

func (c *Case) medicine(key string) *Medicine {
	for n := range c.Medicines {
		if m := &c.Medicines[n]; m.Key != "" && m.Key == key {
			return m
		}
	}
	return nil
}

// after reports whether something was done after a moment: by the instant where
// both have one, else by the day.
func after(on calendar.Date, at time.Time, last Moment) bool {
	switch {
	case on.IsZero() || last.IsZero():
		return false
	case !at.IsZero() && !last.At.IsZero():
		return at.After(last.At)
	}
	return on > last.Day
}

// lapsed are the grounds of open holds that stand no more, and that only a
// person releases all the same. Those of a medicine that was never taken never
// were.
func (c *Case) lapsed(standing []Ground, p *Protocol) []Ground {
	var out []Ground
	for n := range c.Holds {
		h := &c.Holds[n]
		if !h.Open() || p.supplied(h.Kind) {
			continue
		}
		for _, record := range h.Records {
			key, ours := ItemOf(record)
			if !ours || slices.ContainsFunc(standing, func(g Ground) bool { return g.Record == record && g.Kind == h.Kind }) {
				continue
			}
			g := Ground{Kind: h.Kind, Record: record, Whole: true, OfItem: true, Withdrawn: slices.Contains(c.Disowned, key.Repeat)}
			name := ""
			if key.Repeat != "" {
				name = c.medicineName(key.Repeat)
			}
			g.Says = strings.TrimPrefix(name+", ", ", ") + lowerFirst(p.title(key.Step)) + ": " + c.lapsedWords(record, key) + ", and a named person may release it"
			if g.Withdrawn {
				g.Says = name + ": entered in error"
			}
			out = append(out, g)
		}
	}
	return out
}

// let reports whether a person's release for the day of surgery stands for an
// item that was missed.
func (c *Case) let(p *Protocol, k Key) bool {
	for n := range c.Holds {
		h := &c.Holds[n]
		if h.How != Released || h.For != c.Day || p.supplied(h.Kind) {
			continue
		}
		for record := range h.Seen {
			if of, ours := ItemOf(record); ours && of.Step == k.Step && of.Repeat == k.Repeat {
				return true
			}
		}
	}
	return false
}

// Hold sets what the open holds mean for the items: which of them wait, and
// which do not because they clear the hold.
func (c *Case) Hold(p *Protocol) {
	c.Spared = map[Key]bool{}
	others := false
	for n := range c.Holds {
		h := &c.Holds[n]
		if !h.Open() {
			continue
		}
		c.Held = true
		for _, record := range h.Records {
			if k, ours := ItemOf(record); ours {
				c.Spared[k] = true
			} else {
				others = true
			}
		}
	}
	if others {
		c.Spared = nil
	}
}

// pauses reports whether a hold lets the item wait.
func (c *Case) pauses(i *Item) bool {
	return c.Held && i.Step.PausesOnHold && !c.Spared[Key{Step: i.Key.Step, Repeat: i.Key.Repeat}]
}

// begun reports whether the operation has begun: somebody says so, or the clock
// does where nothing held the case when its hour came, or does now.
func (c *Case) begun(holds []Hold, now time.Time) bool {
	if c.reported() {
		return true
	}
	held := slices.ContainsFunc(holds, func(h Hold) bool { return h.Open() || h.stoodAt(c.Start) })
	return !held && c.started(now)
}

// came reports whether somebody has said that the person came, and the hour of the
// operation is past: what was to be there by then stands in the way of nothing any
// more. The hour alone ends nothing, nor does a person at the desk before it.
func (c *Case) came(now time.Time) bool { return c.reported() && c.started(now) }

// Hour is when the operation is to begin: where only its day is known, the end of
// that day; zero where there is none.
func (c *Case) Hour(cal *calendar.Calendar) time.Time {
	if c.Start.IsZero() && !c.Day.IsZero() {
		return cal.StartOf(c.Day.Add(1))
	}
	return c.Start
}

// hourPassed reports whether that is past.
func (c *Case) hourPassed(cal *calendar.Calendar, now time.Time) bool {
	hour := c.Hour(cal)
	return !hour.IsZero() && !now.Before(hour)
}

// started reports whether the start of anaesthesia is past.
func (c *Case) started(now time.Time) bool { return !c.Start.IsZero() && !now.Before(c.Start) }
