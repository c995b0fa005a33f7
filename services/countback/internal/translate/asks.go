package translate

import (
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// TriggerRecord is the event of a record that may stand in the way of surgery,
// and does not say enough to tell: a person is asked.
const TriggerRecord = "record-unclear"

// Questions finds what a person is asked about because of a record: one that
// does not say enough to hold the case, and a ground that was first heard of
// when the operation had begun, which holds nothing any more.
func (p *Protocol) Questions(records []*Record, b *Booking, f Facility, now time.Time) []readiness.Raised {
	q := asking{p: p, f: f, today: f.Today(now), begun: begun(&b.Case, now), responses: completed(records, f)}
	for _, r := range records {
		switch {
		case slices.Contains(b.Members, r.Ref()):
		case !q.begun.IsZero() && r.First.After(q.begun):
			q.after(r)
		case r.Type == "QuestionnaireResponse":
			if newestOf(q.responses, r) {
				q.answered(r)
			}
		default:
			q.unclear(r)
		}
	}
	if q.begun.IsZero() {
		q.confirmations(records, b)
	}
	return q.out
}

// begun is when the operation began; zero while it has not.
func begun(c *readiness.Case, now time.Time) time.Time {
	if c.Arrived.IsZero() && !c.Start.IsZero() && !now.Before(c.Start) {
		return c.Start
	}
	return c.Arrived
}

type asking struct {
	p         *Protocol
	f         Facility
	today     calendar.Date
	begun     time.Time
	responses []*Record
	out       []readiness.Raised
}

// unclear asks about a record by the first rule that fits it, where that rule
// has a question for what the record does not say.
func (q *asking) unclear(r *Record) {
	if withdrawn(r) {
		return
	}
	for n := range q.p.holds {
		rule := &q.p.holds[n]
		if rule.Type != r.Type || !all(rule.filters, r) {
			continue
		}
		var g readiness.Ground
		says := q.f.read(&g, rule, r, q.today)
		switch {
		case rule.question == "":
		case rule.silent(r) && says, rule.mode == modeVisit && g.Active && !calledOff(r):
			q.out = append(q.out, readiness.Raised{Trigger: TriggerRecord, Key: r.Ref(), At: r.Updated, Why: rule.question})
		}
		return
	}
}

// answered asks about the answers of a response in the same way.
func (q *asking) answered(r *Record) {
	findings := q.p.Findings(r.Resource, q.f)
	for n := range q.p.holds {
		rule := &q.p.holds[n]
		if rule.question == "" || rule.answer == nil || !all(rule.filters, r) {
			continue
		}
		i := slices.IndexFunc(findings, rule.answer.found)
		if i < 0 {
			continue
		}
		var g readiness.Ground
		rule.stated(&g, &findings[i], q.today)
		if rule.asksOnly || rule.mode == modeVisit && g.Active {
			q.out = append(q.out, readiness.Raised{Trigger: TriggerRecord, Key: r.Ref() + "#" + rule.answer.topic, At: r.Updated, Why: rule.question})
		}
	}
}

// after asks about a ground that came when the operation had begun: once a day
// for each kind that says who is to look.
func (q *asking) after(r *Record) {
	for _, g := range q.p.groundsOf([]*Record{r}, nil, q.f, q.today) {
		trigger := q.p.Kind(g.Kind).After
		key := g.Kind + "@" + q.f.Today(r.First).String()
		known := slices.ContainsFunc(q.out, func(o readiness.Raised) bool { return o.Trigger == trigger && o.Key == key })
		if trigger == "" || g.Withdrawn || known {
			continue
		}
		q.out = append(q.out, readiness.Raised{
			Trigger: trigger, Key: key, At: r.First,
			Why: "First heard of after the operation had begun: " + g.Says + ".",
		})
	}
}

// silent reports whether the record says nothing of what the rule misses.
func (h *holdRule) silent(r *Record) bool {
	for _, path := range h.missing {
		n := r.Get(path)
		if n.Item(0).Get("coding").Exists() || n.Item(0).Get("reference").Exists() {
			return false
		}
	}
	return len(h.missing) > 0
}

// calledOff reports whether planned work will not be done.
func calledOff(r *Record) bool {
	switch r.status() {
	case "cancelled", "noshow", "revoked", "not-done", "stopped", "completed", "entered-in-error":
		return true
	}
	return false
}
