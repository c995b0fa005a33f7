package translate

import (
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// plannedWork is work whose planned day leaves enough time before surgery. Only
// when somebody says that it was done on that day is it no matter any more.
type plannedWork struct {
	key  string // of the question, and the record of the ground
	rule *holdRule
	day  calendar.Date
	told time.Time
}

// plannedBefore finds such work in a person's records.
func (p *Protocol) plannedBefore(records []*Record, b *Booking, f Facility, today calendar.Date) []plannedWork {
	if b.Case.Day.IsZero() {
		return nil
	}
	var out []plannedWork
	responses := completed(records, f)
	for _, r := range records {
		switch {
		case slices.Contains(b.Members, r.Ref()) || withdrawn(r):
		case r.Type == "QuestionnaireResponse":
			if newestOf(responses, r) {
				out = append(out, p.plannedByAnswer(r, f, today)...)
			}
		case !doneOrOff(r):
			if rule := p.firstRule(r); rule != nil {
				var g readiness.Ground
				f.read(&g, rule, r, today)
				out = append(out, plannedWork{r.Ref(), rule, g.Day, r.Updated})
			}
		}
	}
	return slices.DeleteFunc(out, func(w plannedWork) bool { return !w.inTime(b.Case.Day) })
}

func (p *Protocol) plannedByAnswer(r *Record, f Facility, today calendar.Date) []plannedWork {
	var out []plannedWork
	findings := p.Findings(r.Resource, f)
	for n := range p.holds {
		rule := &p.holds[n]
		if rule.confirm == "" || rule.answer == nil || !all(rule.filters, r) {
			continue
		}
		if i := slices.IndexFunc(findings, rule.answer.found); i >= 0 {
			var g readiness.Ground
			rule.stated(&g, &findings[i], today)
			out = append(out, plannedWork{r.Ref() + "#" + rule.answer.topic, rule, g.Day, r.Updated})
		}
	}
	return out
}

// firstRule is the rule that reads a record; nil when none does.
func (p *Protocol) firstRule(r *Record) *holdRule {
	for n := range p.holds {
		if rule := &p.holds[n]; !rule.asksOnly && rule.Type == r.Type && all(rule.filters, r) {
			return rule
		}
	}
	return nil
}

// inTime reports whether the rule asks for a confirmation, and the planned day
// leaves its clear days before surgery, but is not so long ago that it says
// nothing of this operation.
func (w *plannedWork) inTime(surgery calendar.Date) bool {
	return w.rule.confirm != "" && !w.day.IsZero() && plusOffset(w.day, w.rule.after) <= surgery && w.rule.recent(w.day, surgery)
}

// holdsFrom is the first day on which the work could not be done in time any
// more, if it was not done as planned.
func (w *plannedWork) holdsFrom(surgery calendar.Date) calendar.Date {
	day := w.day.Add(1)
	for plusOffset(day, w.rule.after) <= surgery {
		day = day.Add(1)
	}
	return day
}

// confirmed reports whether a person has answered that the work was done, or
// that it need not be.
func (p *Protocol) confirmed(b *Booking, key string) bool {
	for n := range p.Steps {
		if p.Steps[n].Trigger != TriggerRecord {
			continue
		}
		e := b.Case.Entries[readiness.Key{Step: p.Steps[n].Code, Repeat: key, Round: 1}]
		return e.Outcome == readiness.Done || e.Outcome == readiness.Waived
	}
	return false
}

// unconfirmed turns the grounds of work that nobody has said was done, when it
// cannot be done in time any more, into grounds that hold.
func (p *Protocol) unconfirmed(grounds []readiness.Ground, records []*Record, b *Booking, f Facility, today calendar.Date) {
	for _, w := range p.plannedBefore(records, b, f, today) {
		if today < w.holdsFrom(b.Case.Day) || p.confirmed(b, w.key) {
			continue
		}
		for n := range grounds {
			if g := &grounds[n]; g.Record == w.key {
				g.Active, g.Whole = true, true
				g.Says = w.rule.says + " was planned for " + w.day.Format(dayWords) + ", and nobody has said that it was done: if it was, surgery from " + g.Clear().Format(dayWords)
			}
		}
	}
}

// confirmations asks whether planned work was done, from the day after it was
// planned for.
func (q *asking) confirmations(records []*Record, b *Booking) {
	for _, w := range q.p.plannedBefore(records, b, q.f, q.today) {
		if w.day >= q.today {
			continue
		}
		at := q.f.Calendar.StartOf(w.day.Add(1))
		if w.told.After(at) {
			at = w.told
		}
		q.out = append(q.out, readiness.Raised{Trigger: TriggerRecord, Key: w.key, At: at, Why: w.rule.confirm})
	}
}

// NextOfRecords is the next moment at which time alone makes a record ask
// something or hold the case; zero when there is none.
func (p *Protocol) NextOfRecords(records []*Record, b *Booking, f Facility, now time.Time) time.Time {
	var next time.Time
	for _, w := range p.plannedBefore(records, b, f, f.Today(now)) {
		for _, day := range []calendar.Date{w.day.Add(1), w.holdsFrom(b.Case.Day)} {
			if at := f.Calendar.StartOf(day); at.After(now) && (next.IsZero() || at.Before(next)) {
				next = at
			}
		}
	}
	return next
}

// doneOrOff reports whether planned work was done, or will not be.
func doneOrOff(r *Record) bool {
	return calledOff(r) || r.status() == "fulfilled"
}
