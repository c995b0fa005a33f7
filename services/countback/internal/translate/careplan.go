package translate

import (
	"fmt"
	"html"
	"slices"
	"strings"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Caution stands on everything that a person may act from.
const Caution = "This plan supports the judgement of licensed professionals and the hospital's own policy; it does not replace either. In an emergency call your local emergency number."

// ExampleNotice stands on every plan made from a protocol that no named
// approver of the hospital has signed.
const ExampleNotice = "Made from an example protocol that no one at this hospital has approved."

// PlanView is what a CarePlan is rendered from.
type PlanView struct {
	CaseID  string
	Booking *Booking
	Plan    *readiness.Plan
	Other   OtherDays
	Tasks   []string // ids, in the plan's order
	Holds   []HoldView
	Created time.Time
	// AsItArrives: no source gives the order of what it sends of the booking.
	AsItArrives bool
}

// CarePlan renders a plan without id and meta, which the store adds.
func (f Facility) CarePlan(v PlanView, p *Protocol) ([]byte, error) {
	c := fhir.NewCarePlan(planStatus(v.Plan.State), r4.CarePlanIntentPlan, *reference(v.Booking.Patient))
	c.Identifier = []r4.Identifier{identifier(SystemCase, v.CaseID)}
	c.InstantiatesCanonical = []string{p.Canonical()}
	title := p.Title
	c.Title = optional(title)
	notes := p.notice()
	c.Description = &notes
	created := v.Created.In(f.Calendar.Zone()).Format(time.RFC3339)
	c.Created = &created
	c.Period = f.period(v.Booking, v.Plan)
	for _, m := range v.Booking.Members {
		c.SupportingInfo = append(c.SupportingInfo, *reference(m))
	}
	for _, id := range v.Tasks {
		c.Activity = append(c.Activity, r4.CarePlanActivity{Reference: reference("Task/" + id)})
	}
	c.Extension = f.standing(v, p)
	c.Text = &r4.Narrative{Status: r4.NarrativeStatusGenerated, Div: f.narrative(v, p, notes)}
	return fhir.Marshal(c)
}

func planStatus(s readiness.CaseState) r4.RequestStatus {
	switch s {
	case readiness.CaseCancelled:
		return r4.RequestStatusRevoked
	case readiness.CaseClosed:
		return r4.RequestStatusCompleted
	case readiness.CaseHeld:
		return r4.RequestStatusOnHold
	}
	return r4.RequestStatusActive
}

// period runs from the booking to the last due day of the plan.
func (f Facility) period(b *Booking, pl *readiness.Plan) *r4.Period {
	out := &r4.Period{}
	if !b.Case.Booked.IsZero() {
		out.Start = optional(f.Calendar.DateOf(b.Case.Booked).String())
	}
	var last calendar.Date
	for n := range pl.Items {
		last = max(last, pl.Items[n].Due.Day)
	}
	out.End = optional(last.String())
	switch {
	case out.Start != nil && out.End != nil && *out.End < *out.Start:
		out.End = nil
	case out.Start == nil && out.End == nil: // a case whose booking is gone
		return nil
	}
	return out
}

// reasons says why the plan stands as it does.
func (f Facility) reasons(v PlanView, p *Protocol) []string {
	var out []string
	switch v.Plan.State {
	case readiness.CaseCancelled:
		out = append(out, EndingWords(v.Booking))
	case readiness.CaseHeld, readiness.CaseArrived:
		if v.Plan.State == readiness.CaseHeld && !v.Booking.Case.Arrived.IsZero() {
			out = append(out, "The person is in the hospital, and nobody has released the hold.")
		}
		for _, h := range v.Holds {
			if h.Ended == "" {
				out = append(out, h.Sentence())
			}
		}
	}
	if v.Plan.Unreported {
		out = append(out, unreportedWords)
	}
	if v.Booking.Told != "" {
		out = append(out, v.Booking.Told)
	}
	if words := byClock(v.Plan, &v.Booking.Case); words != "" {
		out = append(out, words)
	}
	if closed := f.closed(v.Plan.Day); closed != "" && v.Plan.State != readiness.CaseCancelled {
		out = append(out, closed)
	}
	out = append(out, notMet(v.Plan, p)...)
	out = append(out, f.otherDays(v.Plan, v.Other, p)...)
	for _, l := range v.Booking.Links {
		if l.Rule == LinkInferred {
			out = append(out, "The procedure was linked to this booking because person, operation and date agree; nobody said so.")
		}
	}
	for _, r := range v.Booking.Case.Raised {
		if r.Trigger == TriggerUnclear && v.Booking.open(&r) {
			out = append(out, r.Why)
		}
	}
	return out
}

// unreportedWords say of a case that was held at its hour that this has passed.
const unreportedWords = "The hour of the operation has passed, and nobody has reported whether it took place. Time does not end a hold: " +
	"ask, and have it recorded that the person came or went home, that the operation was called off, or its new day."

// byClock says what the plan takes for true only because its hour has passed;
// empty where somebody has reported it.
func byClock(pl *readiness.Plan, c *readiness.Case) string {
	switch came, left := pl.ByClock(c); {
	case came && left:
		return "By the clock alone: nobody has reported that the operation took place, or that the person is home. Confirm both."
	case came:
		return "By the clock alone: nobody has reported that the person came, or that the operation began. Confirm it."
	case left:
		return "By the clock alone: nobody has reported that the person has left the hospital. Confirm it."
	}
	return ""
}

// EndingWords says in plain words why a case ended without surgery.
func EndingWords(b *Booking) string {
	switch b.Case.Ending {
	case readiness.Cancelled:
		return "The operation was called off."
	case readiness.NoShow:
		return "The person did not come."
	case readiness.EnteredInErr:
		return "The booking had been entered in error."
	}
	if b.Reason != "" {
		return "The booking is no longer one that is planned for here: " + b.Reason + "."
	}
	return "The booking now belongs to another plan or another person."
}

// operation says the operation in words, from its facts.
func operation(facts map[string]any) string {
	str := func(name string) string { s, _ := facts[name].(string); return s }
	words := []string{}
	switch side := str("side"); side {
	case "":
	case "both":
		words = append(words, "both sides,")
	default:
		words = append(words, side)
	}
	if str("extent") == "partial" {
		words = append(words, "partial (outside the published outcome measure)")
	}
	joint := str("joint")
	if joint != "hip" && joint != "knee" { // the records contradict each other
		joint = "joint"
	}
	words = append(words, joint+" replacement")
	return strings.Join(words, " ")
}

// questions lists what must be found out for the steps in doubt, each once.
func questions(pl *readiness.Plan) []string {
	var out []string
	for n := range pl.Items {
		i := &pl.Items[n]
		if i.Applies != readiness.Unknown || !i.State.Waiting() {
			continue
		}
		for _, q := range i.Needs {
			if !slices.Contains(out, q) {
				out = append(out, q)
			}
		}
	}
	return out
}

func (f Facility) narrative(v PlanView, p *Protocol, notes string) string {
	var b strings.Builder
	line := func(format string, args ...any) {
		b.WriteString("<p>" + html.EscapeString(fmt.Sprintf(format, args...)) + "</p>")
	}
	b.WriteString(`<div xmlns="http://www.w3.org/1999/xhtml">`)
	when := "no date yet"
	if !v.Plan.Day.IsZero() {
		when = v.Plan.Day.Format("Monday 2 January 2006")
		if !v.Plan.Start.IsZero() {
			when += ", anaesthesia from " + v.Plan.Start.Format("15:04 MST")
		}
	}
	line("Readiness plan: %s. Day of surgery: %s.", operation(v.Booking.Case.Facts), when)
	asked, doubt := 0, 0
	for n := range v.Plan.Items {
		switch i := &v.Plan.Items[n]; {
		case i.Applies == readiness.Unknown && i.State.Waiting():
			doubt++
		case i.Applies == readiness.Yes:
			asked++
		}
	}
	applying := fmt.Sprintf("%d steps apply", asked)
	if asked == 1 {
		applying = "1 step applies"
	}
	if doubt > 0 {
		applying += fmt.Sprintf("; for %d more something must be known first", doubt)
	}
	line("State: %s. %s.", v.Plan.State, applying)
	if open := questions(v.Plan); len(open) > 0 {
		line("To find out: %s.", strings.Join(open, "; "))
	}
	for _, why := range slices.Concat(f.summary(v, p), otherDoses(v.Plan), f.reasons(v, p)) {
		line("%s", why)
	}
	if v.AsItArrives {
		line("What is sent of this booking has no order of its own: what arrived last counts.")
	}
	line("Protocol: %s, version %s. %s", p.Title, p.Version, notes)
	b.WriteString("</div>")
	return b.String()
}
