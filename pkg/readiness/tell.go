package readiness

import (
	"slices"
	"strings"
)

// What became of an item, in one word each.
const (
	ToldKept      = "kept"        // done, and still counts
	ToldMoved     = "moved"       // another window or last day
	ToldHurried   = "compressed"  // moved, and now due as soon as possible
	ToldExpired   = "expired"     // was done, and no longer counts
	ToldReopened  = "asked-again" // replaces one that no longer counts
	ToldAdded     = "newly-needed"
	ToldDropped   = "no-longer-needed"
	ToldCounts    = "counts-again" // was expired, and counts after all
	ToldTurned    = "turned"       // only its state differs
	ToldTooLate   = "too-late"     // its day had passed when it was booked: a person decides
	ToldUndecided = "in-doubt"     // it must be known first whether it applies
)

// Line is what became of one item, as a person reads it.
type Line struct {
	Key   Key
	Title string // of the step
	What  string // one of the Told constants
	Text  string // what changed: "due Mon 23 Nov 2026 → Mon 28 Dec 2026"
	Why   string // the rule or the reason
}

// Words is the line in one sentence, without the title.
func (l Line) Words() string {
	out := strings.ReplaceAll(l.What, "-", " ")
	if l.Text != "" {
		out += ": " + l.Text
	}
	if l.Why != "" {
		out += " (" + l.Why + ")"
	}
	return out
}

// Tell says each change of a plan in words, in the order that they come in.
func (pr *Protocol) Tell(changes []Change) []Line {
	out := make([]Line, 0, len(changes))
	for n := range changes {
		out = append(out, pr.tell(&changes[n]))
	}
	return out
}

// Kept lists what is done and goes on counting although something changed: the
// items of the plan that no change is about.
func (pr *Protocol) Kept(pl *Plan, changes []Change) []Line {
	changed := map[Key]bool{}
	for _, ch := range changes {
		if ch.New != nil && !(ch.Old != nil && ch.Old.State == StateDone && ch.New.State == StateDone) {
			changed[ch.New.Key] = true
		}
	}
	var out []Line
	for n := range pl.Items {
		if i := &pl.Items[n]; i.State == StateDone && !changed[i.Key] {
			out = append(out, Line{Key: i.Key, Title: pr.title(i.Key.Step), What: ToldKept, Text: "done on " + i.Entry.On.Format(dayLayout), Why: strings.Join(i.Step.whyCounts(), "; ")})
		}
	}
	return out
}

func (pr *Protocol) tell(ch *Change) Line {
	i := ch.New
	if i == nil {
		return Line{Key: ch.Old.Key, Title: pr.title(ch.Old.Key.Step), What: ToldDropped, Why: "the plan no longer has this step"}
	}
	l := Line{Key: i.Key, Title: pr.title(i.Key.Step), What: i.became(ch), Why: pr.dueRule(i)}
	switch ch.Kind {
	case Added, Reopened:
		l.Text = spoken("due", i.Due)
	default:
		l.Text = strings.Join(ch.differences(), "; ")
	}
	switch l.What {
	case ToldExpired:
		l.Text, l.Why = "", i.Because // its window asks for nothing any more
	case ToldReopened:
		l.Why = i.Because
	case ToldHurried:
		l.Why = "its time had begun before it was booked: as soon as possible"
	case ToldTooLate:
		l.Why = "its day had passed and it cannot be shortened: ask " + i.Asks()
	case ToldUndecided:
		l.Why = "it must be known " + strings.Join(i.Needs, ", and ")
	case ToldDropped:
		l.Why = ""
		if i.Step.Condition != nil && i.Applies == No {
			l.Why = "does not apply: " + i.Step.Condition.Words
		}
	}
	return l
}

// became says in one word what a change makes of its item.
func (i *Item) became(ch *Change) string {
	turned := ch.Old != nil && ch.Old.State != i.State
	switch {
	case ch.Kind == Reopened:
		return ToldReopened
	case ch.Kind == Added:
		return ToldAdded
	case turned && i.State == Expired:
		return ToldExpired
	case turned && i.State == StateDone && ch.Old.State == Expired:
		return ToldCounts
	case turned && i.State == Needless:
		return ToldDropped
	case turned && ch.Old.State == Needless:
		return ToldAdded
	case i.TooLate && !ch.Old.TooLate:
		return ToldTooLate
	case i.Compressed && !ch.Old.Compressed:
		return ToldHurried
	case i.Applies == Unknown && ch.Old.Applies != Unknown:
		return ToldUndecided
	case ch.Kind == Moved && i.State == StateDone:
		return ToldKept
	case ch.Kind == Moved:
		return ToldMoved
	}
	return ToldTurned
}

// differences names each moment that differs, and the state.
func (ch *Change) differences() []string {
	var out []string
	for _, m := range []struct {
		name     string
		was, now Moment
	}{{"opens", ch.Old.Opens, ch.New.Opens}, {"due", ch.Old.Due, ch.New.Due}, {"last day", ch.Old.Last, ch.New.Last}} {
		if !m.was.same(m.now) {
			out = append(out, m.name+" "+m.was.Words()+" → "+m.now.Words())
		}
	}
	if ch.Old.State != ch.New.State {
		out = append(out, strings.ReplaceAll(string(ch.Old.State)+" → "+string(ch.New.State), "-", " "))
	}
	if !slices.Equal(ch.Old.Waits, ch.New.Waits) && len(ch.New.Waits) == 0 {
		out = append(out, "no longer waits for another step")
	}
	return out
}

func spoken(name string, m Moment) string {
	if m.IsZero() {
		return ""
	}
	return name + " " + m.Words()
}

// dueRule says in plain words where the due moment comes from: "7 days before
// surgery".
func (pr *Protocol) dueRule(i *Item) string {
	rule := pr.joinPoints(i.Step.Window.Due, true)
	if rule != "" && i.mayMove() {
		rule += "; on a closed day, the business day before"
	}
	return rule
}

// Since says in plain words what is different about a booking since it stood as
// was; nil for nothing that plans are made from.
func (c *Case) Since(was *Case) []string {
	var out []string
	add := func(text string) { out = append(out, text) }
	switch {
	case c.Ending != was.Ending && c.Ending != Running:
		add("the booking ended: " + strings.ReplaceAll(string(c.Ending), "-", " "))
	case c.Ending != was.Ending:
		add("the booking stands again")
	}
	switch at, before := (Moment{c.Day, c.Start}), (Moment{was.Day, was.Start}); {
	case c.Day.IsZero() && !was.Day.IsZero():
		add("surgery on " + was.Day.Format(dayLayout) + " was postponed without a new date")
	case !c.Day.IsZero() && was.Day.IsZero():
		add("surgery has a date: " + c.Day.Format(dayLayout))
	case c.Day != was.Day:
		add("surgery moved from " + was.Day.Format(dayLayout) + " to " + c.Day.Format(dayLayout))
	case !at.same(before) && !c.Start.IsZero() && !was.Start.IsZero():
		add("the start moved from " + was.Start.Format("15:04") + " to " + c.Start.Format("15:04"))
	}
	for _, name := range []string{"procedure", "side", "stay", "surgeon", "facility"} {
		if old, known := was.Details[name]; known && old != c.Details[name] {
			text := "the " + name + " changed"
			if now := c.Details[name]; old != "" && now != "" && !strings.Contains(now, "/") {
				text += " from " + old + " to " + now // a reference says nothing to a person
			}
			add(text)
		}
	}
	return out
}
