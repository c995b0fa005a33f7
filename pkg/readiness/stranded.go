package readiness

import (
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// Events about medicines that are stopped for a date which no longer holds.
const (
	// TriggerStopped is raised when a medicine is stopped already and the date
	// moves, is lost or called off, or the case is held.
	TriggerStopped = "stopped-medicine-redated"
	// TriggerStopDay is raised when the day of a last dose comes while the case
	// is held.
	TriggerStopDay = "last-dose-while-held"
)

// Before is how a case stood when something changed.
type Before struct {
	Items []Item
	Day   calendar.Date
	Ended bool // without surgery
	Holds []Hold
}

// Stranded finds the medicines that a change leaves stopped, or about to be, for
// a date that no longer holds: each is a question to the prescriber, never a new
// day by itself. What was asked before is asked until it is answered. The plan is
// the one of now as if nothing held the case; next is when the day of a last dose
// comes while it is held (zero: never).
func Stranded(b Before, c *Case, pl *Plan, p *Protocol, cal *calendar.Calendar, now time.Time) (out []Raised, next time.Time) {
	s := stranding{b: b, c: c, cal: cal, now: now, times: map[string]int{}, open: map[string]bool{}}
	s.carryOn(p)
	if c.Arrived.IsZero() && c.Left.IsZero() {
		s.stopped(p)
		s.otherwise(pl, p)
		s.stopDays(pl)
	}
	return s.out, s.next
}

type stranding struct {
	b     Before
	c     *Case
	cal   *calendar.Calendar
	now   time.Time
	out   []Raised
	next  time.Time
	times map[string]int  // how often the prescriber was asked, by medicine
	open  map[string]bool // whether an answer is still waited for
}

// carryOn raises again what was raised before.
func (s *stranding) carryOn(p *Protocol) {
	for n := range s.b.Items {
		i := &s.b.Items[n]
		step := p.Step(i.Key.Step)
		if step == nil || i.Raised == nil || i.Key.Round > 1 || step.Trigger != TriggerStopped && step.Trigger != TriggerStopDay {
			continue
		}
		r := *i.Raised
		r.Trigger, r.Key = step.Trigger, i.Key.Repeat
		s.out = append(s.out, r)
		if step.Trigger == TriggerStopped {
			medicine := medicineOf(r.Key)
			s.times[medicine]++
			s.open[medicine] = s.open[medicine] || i.State.Waiting()
		}
	}
}

// Keys of what is raised are the medicine's and a number or day.
const ofMedicine = "@"

func medicineOf(key string) string {
	medicine, _, _ := strings.Cut(key, ofMedicine)
	return medicine
}

// stopped asks for each medicine that is stopped when the ground for it falls away.
func (s *stranding) stopped(p *Protocol) {
	for n := range s.b.Items {
		i := &s.b.Items[n]
		last := n+1 == len(s.b.Items) || s.b.Items[n+1].Replaces == 0
		if i.Key.Repeat == "" || !last || !i.Step.countsFrom(AnchorLastDose) || !s.off(i) {
			continue
		}
		if why := s.why(i.Key, p); why != "" {
			s.ask(i.Key.Repeat, i.stopped(why))
		}
	}
	moved := s.moved()
	for n := 0; moved != "" && n < len(s.b.Items); n++ {
		i := &s.b.Items[n]
		if step := p.Step(i.Key.Step); step != nil && step.Trigger == TriggerStopped && !i.State.Waiting() {
			s.ask(medicineOf(i.Key.Repeat), "was stopped, or to be stopped, for an earlier date, and "+moved+"; the prescriber decided on an earlier change")
		}
	}
}

// off reports whether the person is without the medicine: they said so for the
// date that stood, or were told to and the moment is past.
func (s *stranding) off(i *Item) bool {
	if i.Entry.Outcome == Done {
		return i.Entry.For[DetailDate] == s.b.Day.String()
	}
	told := i.Applies == Yes && len(i.Waits) == 0 && i.State != Needless && i.State != StateWaived
	return told && !i.Due.IsZero() && !s.now.Before(i.Due.Ends(s.cal))
}

// why says what changed; empty when nothing did.
func (s *stranding) why(k Key, p *Protocol) string {
	if moved := s.moved(); moved != "" {
		return moved
	}
	for n := range s.c.Holds {
		h := &s.c.Holds[n]
		if !h.Open() || s.wasOpen(h.Key) || len(h.Records) > 0 && h.restsOn(k) {
			continue
		}
		return "the case is held"
	}
	return ""
}

// moved says that the date changed or the operation was called off.
func (s *stranding) moved() string {
	switch day := func(d calendar.Date) string { return d.Format(dayLayout) }; {
	case s.c.Ending != Running && !s.b.Ended:
		return "the operation was called off (" + string(s.c.Ending) + ")"
	case s.b.Day.IsZero() || s.c.Day == s.b.Day || s.c.Ending != Running:
		return ""
	case s.c.Day.IsZero():
		return "the operation of " + day(s.b.Day) + " has no date any more"
	default:
		return "the operation moved from " + day(s.b.Day) + " to " + day(s.c.Day)
	}
}

func (s *stranding) wasOpen(key string) bool {
	for n := range s.b.Holds {
		if h := &s.b.Holds[n]; h.Key == key && h.Open() {
			return true
		}
	}
	return false
}

// restsOn reports whether the hold is about this item alone: its Task asks the
// prescriber already.
func (h *Hold) restsOn(k Key) bool {
	for _, record := range h.Records {
		if of, ours := ItemOf(record); !ours || of.Step != k.Step || of.Repeat != k.Repeat {
			return false
		}
	}
	return true
}

// stopped says what is known of a medicine that is, or was to be, stopped, and
// what happened then.
func (i *Item) stopped(then string) string {
	switch on := i.Entry.On; {
	case i.Entry.Outcome != Done:
		return "was to be stopped on " + i.Due.Words() + "; nobody has confirmed it. " + upperFirst(then)
	case on.IsZero():
		return "is stopped already, and " + then
	default:
		return "is stopped already (last dose recorded for " + on.Format(dayLayout) + "), and " + then
	}
}

// ask raises the question what to do with a medicine, unless it waits for an answer.
func (s *stranding) ask(medicine, why string) {
	if s.open[medicine] {
		return
	}
	s.open[medicine] = true
	s.times[medicine]++
	s.out = append(s.out, Raised{
		Trigger: TriggerStopped, Key: fmt.Sprintf("%s%s%d", medicine, ofMedicine, s.times[medicine]), At: s.now,
		Why: s.c.medicineName(medicine) + " " + why + ".",
	})
}

// stopDays asks when the day of a last dose comes while the case is held.
func (s *stranding) stopDays(pl *Plan) {
	for n := range pl.Items {
		i := &pl.Items[n]
		if !i.Step.countsFrom(AnchorLastDose) || !s.c.pauses(i) || i.Applies != Yes || !i.State.Waiting() && i.State != Missed || i.Due.IsZero() {
			continue
		}
		if begins := s.cal.StartOf(i.Due.Day); s.now.Before(begins) {
			if s.next.IsZero() || begins.Before(s.next) {
				s.next = begins
			}
			continue
		}
		key := i.Key.Repeat + ofMedicine + i.Due.Day.String()
		if s.open[i.Key.Repeat] || s.raised(key) {
			continue
		}
		s.out = append(s.out, Raised{
			Trigger: TriggerStopDay, Key: key, At: s.now,
			Why: s.c.medicineName(i.Key.Repeat) + ": the planned last dose is " + i.Due.Words() + ", and the case is held.",
		})
	}
}

func (s *stranding) raised(key string) bool {
	for n := range s.out {
		if s.out[n].Trigger == TriggerStopDay && s.out[n].Key == key {
			return true
		}
	}
	return false
}

// medicineName is what a medicine is called, also one that is on no list any more.
func (c *Case) medicineName(key string) string {
	if m := c.medicine(key); m != nil {
		return m.Name
	}
	if strings.HasPrefix(key, OtherMedicine) { // the rest says nothing to anybody
		return "A medicine that no rule here knows"
	}
	return upperFirst(key)
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// firstPaused is the first day on which something would have to be begun that
// the hold of a key pauses; days before it was raised are past.
func (d *dating) firstPaused(c *Case, p *Protocol, hold string) Moment {
	var own *Hold
	for n := range c.Holds {
		if c.Holds[n].Key == hold {
			own = &c.Holds[n]
		}
	}
	if own == nil {
		return Moment{}
	}
	var first Moment
	repeat := d.repeat
	defer func() { d.repeat = repeat }()
	for n := range p.Steps {
		s := &p.Steps[n]
		if !s.PausesOnHold {
			continue
		}
		if s.Condition != nil {
			if applies, _ := s.Condition.Holds(c.Facts); applies == No {
				continue
			}
		}
		keys := []string{""}
		if s.RepeatFor != "" {
			keys = c.Repeats[s.RepeatFor]
		}
		for _, d.repeat = range keys {
			if own.restsOn(Key{Step: s.Code, Repeat: d.repeat}) {
				continue
			}
			m := d.begins(s)
			if !m.IsZero() && m.Day >= d.raised.Day && (first.IsZero() || m.Day < first.Day) {
				first = Moment{Day: m.Day}
			}
		}
	}
	return first
}

// begins is when a step is begun: at its opening where that counts from the
// operation, else when it is due.
func (d *dating) begins(s *Step) Moment {
	if countsFromSurgery(s.Window.Opens) {
		m, _ := d.opensOn(s.Window)
		return m
	}
	return d.dueOn(s, Moment{})
}
