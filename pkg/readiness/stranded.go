package readiness

import (
	"fmt"
	"slices"
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

	Dated  time.Time // since when the day of surgery was known; zero: since it was booked
	Handed bool      // a calendar was handed out
}

// Stranded finds the medicines that a change leaves stopped, or about to be, for
// a date that no longer holds: each is a question to the prescriber, never a new
// day by itself. What was asked before is asked until it is answered. The plan is
// the one of now as if nothing held the case; next is when the day of a last dose
// comes while it is held (zero: never).
func Stranded(b Before, c *Case, pl *Plan, p *Protocol, cal *calendar.Calendar, now time.Time) (out []Raised, next time.Time) {
	s := stranding{b: b, c: c, cal: cal, now: now, times: map[string]int{}, open: map[string]bool{}}
	s.carryOn(pl, p)
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

// carryOn raises again what was raised before; what is not answered says what is
// true now.
func (s *stranding) carryOn(pl *Plan, p *Protocol) {
	for n := range s.b.Items {
		i := &s.b.Items[n]
		step := p.Step(i.Key.Step)
		if step == nil || i.Raised == nil || s.followed(i) || step.Trigger != TriggerStopped && step.Trigger != TriggerStopDay {
			continue
		}
		r := *i.Raised
		r.Trigger, r.Key = step.Trigger, i.Key.Repeat
		open := !s.answered(i)
		if open {
			s.retell(&r, pl, p)
		}
		s.out = append(s.out, r)
		if step.Trigger == TriggerStopped {
			medicine := medicineOf(r.Key)
			s.times[medicine]++
			s.open[medicine] = s.open[medicine] || open
		}
	}
}

// followed reports whether a later round of the item stood.
func (s *stranding) followed(i *Item) bool {
	next := i.Key
	next.Round++
	return slices.ContainsFunc(s.b.Items, func(o Item) bool { return o.Key == next })
}

// Keys of what is raised are the medicine's and a number or day.
const ofMedicine = "@"

// MedicineOf is the medicine that what was raised with a key is about.
func MedicineOf(key string) string { return medicineOf(key) }

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
		if s.why(i.Key) {
			s.ask(i.Key.Repeat, s.b.Day, i.Due, p)
		}
	}
	for n := 0; s.moved() && n < len(s.b.Items); n++ {
		i := &s.b.Items[n]
		if step := p.Step(i.Key.Step); step != nil && step.Trigger == TriggerStopped && i.Raised != nil && !i.State.Waiting() {
			s.ask(medicineOf(i.Key.Repeat), i.Raised.For, i.Raised.Dose, p)
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

// why reports whether something changed that leaves a medicine stopped.
func (s *stranding) why(k Key) bool {
	if s.moved() {
		return true
	}
	for n := range s.c.Holds {
		h := &s.c.Holds[n]
		if h.Open() && !s.wasOpen(h.Key) && (len(h.Records) == 0 || !h.restsOn(k)) {
			return true
		}
	}
	return false
}

// moved reports whether the date changed or the operation was called off.
func (s *stranding) moved() bool {
	if s.c.Ending != Running {
		return !s.b.Ended
	}
	return !s.b.Day.IsZero() && s.c.Day != s.b.Day
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

// ask raises the question what to do with a medicine, unless it waits for an
// answer. The last dose is the one that was planned for the day of surgery.
func (s *stranding) ask(medicine string, surgery calendar.Date, planned Moment, p *Protocol) {
	if s.open[medicine] {
		return
	}
	s.open[medicine] = true
	s.times[medicine]++
	r := Raised{Trigger: TriggerStopped, Key: fmt.Sprintf("%s%s%d", medicine, ofMedicine, s.times[medicine]), At: s.now, For: surgery, Dose: planned, Name: s.c.medicineName(medicine)}
	e, round := s.c.lastDoseOf(p, medicine)
	r.Why = s.stoppedWords(&r, e, round > 0)
	s.out = append(s.out, r)
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
		if s.open[i.Key.Repeat] || s.raised(TriggerStopDay, key) {
			continue
		}
		s.out = append(s.out, Raised{
			Trigger: TriggerStopDay, Key: key, At: s.now, Name: s.c.medicineName(i.Key.Repeat),
			Why: s.c.medicineName(i.Key.Repeat) + ": the planned last dose is " + i.Due.Words() + ", and the case is held.",
		})
	}
}

func (s *stranding) raised(trigger, key string) bool {
	return slices.ContainsFunc(s.out, func(r Raised) bool { return r.Trigger == trigger && r.Key == key })
}

// medicineName is what a medicine is called, also one that is on no list any more.
func (c *Case) medicineName(key string) string {
	if m := c.medicine(key); m != nil {
		return m.Name
	}
	if strings.HasPrefix(key, OtherMedicine) { // the rest says nothing to anybody
		return "A medicine that no rule here knows"
	}
	if kind, ours := strings.CutPrefix(key, "medicine-"); ours {
		key = strings.ReplaceAll(kind, "-", " ")
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
