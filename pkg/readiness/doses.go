package readiness

import (
	"strings"

	"example.org/countback/pkg/calendar"
)

// doses are the moments of one medicine that steps count from.
type doses struct {
	last, earliest Moment
	signed         bool     // a last dose, by a prescriber
	decided        Decision // what a prescriber signed instead of a last dose
	words          string   // that, with who signed it and why
	seen           string   // what a second person said of it, to follow in the sentence
	taken          bool     // somebody recorded that the last dose was taken
}

// medicines works out the advice on each medicine of the case. What a prescriber
// signed for this date goes before what the rules give.
func (d *dating) medicines(c *Case, p *Protocol) {
	if len(c.Medicines) == 0 {
		return
	}
	d.notice = p.MedicineNotice
	d.doses = make(map[string]doses, len(c.Medicines))
	for n := range c.Medicines {
		a := Advise(&c.Medicines[n], c, d.cal)
		d.advice = append(d.advice, a)
		if a.Medicine.Key == "" {
			continue
		}
		m := doses{last: a.Last, earliest: a.Earliest}
		if m.earliest.IsZero() && !c.Day.IsZero() {
			m.earliest = Moment{Day: c.Day.Add(-p.UndatedDecision)}
		}
		m.signs(c, p, a.Medicine.Key, d.cal)
		d.doses[a.Medicine.Key] = m
	}
}

// signs lays what a prescriber signed over what the rules give.
func (m *doses) signs(c *Case, p *Protocol, medicine string, cal *calendar.Calendar) {
	e, round, ok := c.signatureOf(p, medicine)
	if look, by := c.look(medicine, &e, round); look == Agreed {
		m.seen = ", and " + by + " looked at that and agreed"
	}
	switch s := e.Signed; {
	case !ok:
	case e.Decided != DecidedLastDose:
		m.decided, m.words, m.taken = e.Decided, e.Decided.words(e), c.lastTaken(p, medicine)
	case !s.IsZero():
		m.last, m.earliest, m.signed = s.In(cal), s.In(cal), true
	}
}

// advise tells an item what the rules on medicines say, and keeps a last dose
// that cannot be dated a draft that says what is needed.
func (d *dating) advise(i *Item) {
	for n := range d.advice {
		a := &d.advice[n]
		switch {
		case i.Step.ListsMedicines:
			says := a.Headline()
			if dose := d.doses[a.Medicine.Key]; dose.decided != DecidedLastDose {
				says = a.Medicine.Name + ": " + dose.words
			}
			i.Advice = append(i.Advice, says)
		case i.Step.RepeatFor != "" && a.Medicine.Key == i.Key.Repeat:
			dose := d.doses[i.Key.Repeat]
			i.Advice = d.told(a, dose)
			if i.Applies == Yes && i.Step.countsFrom(AnchorLastDose) && dose.last.IsZero() && !a.Day.IsZero() {
				i.Applies, i.Needs = Unknown, a.undated()
			}
			dose.decide(i, a.Medicine.Name)
		}
	}
	if i.Step.ListsMedicines && len(i.Advice) > 0 {
		i.Advice = append([]string{d.summary()}, i.Advice...)
		i.Advice = append(i.Advice, MedicineCaution)
		if d.notice != "" {
			i.Advice = append(i.Advice, d.notice)
		}
	}
}

// told is the advice in words; what a prescriber signed stands first.
func (d *dating) told(a *MedicineAdvice, dose doses) []string {
	words := a.Words(d.cal)
	if d.notice != "" {
		words = append(words, d.notice)
	}
	if dose.decided != DecidedLastDose {
		return append([]string{a.Medicine.Name + ": " + dose.words + " The rules say:"}, words...)
	}
	if !dose.signed {
		return words
	}
	signed := a.Medicine.Name + ": last dose by " + dose.last.Words() + ", as a named prescriber signed"
	if a.Exceeds(dose.last) {
		signed += ", which is later than the rules give" + dose.seen
	}
	return append([]string{signed + ". The rules say:"}, words...)
}

// Strictest is the last dose that the rules give; where facts are missing, the
// earliest that may come out. Zero: they give none.
func (a *MedicineAdvice) Strictest() Moment {
	if a.Last.IsZero() {
		return a.Earliest
	}
	return a.Last
}

// Exceeds reports whether a last dose is later than the strictest rule gives. A
// day without an hour is later than an hour of that day.
func (a *MedicineAdvice) Exceeds(dose Moment) bool {
	given := a.Strictest()
	return !given.IsZero() && given.sooner(dose)
}

// summary names every medicine in one line, those that no rule knows last.
func (d *dating) summary() string {
	var known, strange []string
	for n := range d.advice {
		if m := d.advice[n].Medicine; len(m.Rules) > 0 {
			known = append(known, m.Name)
		} else {
			strange = append(strange, m.Name)
		}
	}
	var out []string
	if len(known) > 0 {
		out = append(out, "On record: "+strings.Join(known, ", ")+".")
	}
	if len(strange) > 0 {
		out = append(out, "No rule here knows: "+strings.Join(strange, ", ")+"; a prescriber decides on each.")
	}
	return strings.Join(out, " ")
}

// undated says what a last dose waits for.
func (a *MedicineAdvice) undated() []string {
	if len(a.Medicine.Rules) == 0 {
		return []string{"whether it goes on, has a last dose, or is not taken, which is decided by " + a.Decides}
	}
	if len(a.Needs) > 0 {
		return a.Needs
	}
	return []string{"which last dose is decided by " + a.Decides}
}

// countsFrom reports whether a due point of the step counts from an anchor.
func (s *Step) countsFrom(anchor string) bool {
	for _, p := range s.Window.Due {
		if p.Anchor == anchor {
			return true
		}
	}
	return false
}

// SignsLastDose reports whether completing the step signs a medicine's last dose.
func (s *Step) SignsLastDose() bool {
	return s.Named && s.RepeatFor != "" && s.countsFrom(AnchorEarliestDose)
}

// TakesLastDose reports whether the step is the last dose of a medicine itself.
func (s *Step) TakesLastDose() bool { return s.RepeatFor != "" && s.countsFrom(AnchorLastDose) }

// DetailLastDose names, among a case's details, the last dose that the rules
// give for a medicine: what was signed or done for another one is asked again.
func DetailLastDose(medicine string) string { return "last dose of " + medicine }

// advisedOtherwise reports whether the rules gave another last dose when the
// item was done than they give now.
func (i *Item) advisedOtherwise(c *Case) bool {
	if !i.Step.countsFrom(AnchorLastDose) && !i.Step.countsFrom(AnchorEarliestDose) {
		return false
	}
	name := DetailLastDose(i.Key.Repeat)
	was, known := i.Entry.For[name]
	return known && was != c.Details[name]
}
