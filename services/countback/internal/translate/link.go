package translate

import (
	"slices"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Link says that two resources belong to one booking, and by which rule.
type Link struct{ From, To, Rule string }

// The linking rules, best first. All but the last follow what the sender wrote;
// an inferred link is marked in Provenance and shown to the coordinator. What a
// person said goes before all that was written.
const (
	LinkPerson     = "said by a person"
	LinkOrder      = "shared order"
	LinkReason     = "direct reference"
	LinkSupporting = "supporting information"
	LinkVisit      = "same visit"
	LinkIdentifier = "shared identifier"
	LinkInferred   = "inferred from person, operation and date"
)

// linker finds what belongs to an appointment among one person's resources.
type linker struct {
	f          Facility
	p          *Protocol
	tolerance  int // days between dates that may still be one operation
	requests   []*Record
	procedures []*Record
	encounters []*Record
}

// group is the resources of one booking.
type group struct {
	appointment *Record
	procedures  []*Record
	requests    []*Record
	encounters  []*Record
	links       []Link
	unclear     []*Record // two or more candidates: nothing was linked
	rivals      []string  // appointments that name the same procedures, this one among them
	contested   []*Record // those procedures
}

func (g *group) all() []*Record {
	var out []*Record
	if g.appointment != nil {
		out = append(out, g.appointment)
	}
	out = append(out, g.procedures...)
	out = append(out, g.requests...)
	return append(out, g.encounters...)
}

// link gathers the group of one appointment. What was entered in error links
// nothing.
func (l *linker) link(a *Record) group {
	g := group{appointment: a}
	for _, e := range l.encounters {
		if !e.inError() && l.refers(e.Get("appointment"), a) {
			g.encounters = append(g.encounters, e)
			g.links = append(g.links, Link{e.Ref(), a.Ref(), LinkVisit})
		}
	}
	for _, s := range l.requests {
		if said := l.said(a, s); !s.inError() && said != readiness.No && (said == readiness.Yes || l.refers(a.Get("basedOn"), s) || l.refers(a.Get("supportingInformation"), s) || shareIdentifier(a, s)) {
			g.requests = append(g.requests, s)
			g.links = append(g.links, Link{a.Ref(), s.Ref(), LinkOrder})
		}
	}
	rules := []struct {
		name string
		fits func(p *Record) bool
	}{
		{LinkPerson, func(p *Record) bool { return l.said(a, p) == readiness.Yes }},
		{LinkOrder, func(p *Record) bool { return l.sharedOrder(a, p) }},
		{LinkReason, func(p *Record) bool { return l.refers(a.Get("reasonReference"), p) }},
		{LinkSupporting, func(p *Record) bool { return l.supporting(a, p) }},
		{LinkVisit, func(p *Record) bool { return l.sameVisit(&g, p) }},
		{LinkIdentifier, func(p *Record) bool { return l.sharedNumber(&g, p) }},
	}
	for _, rule := range rules {
		for _, p := range l.procedures {
			if !p.inError() && !slices.Contains(g.procedures, p) && l.said(a, p) != readiness.No && rule.fits(p) && !l.another(a, p) {
				g.procedures = append(g.procedures, p)
				g.links = append(g.links, Link{a.Ref(), p.Ref(), rule.name})
			}
		}
		if len(g.procedures) > 0 {
			break
		}
	}
	for _, p := range g.procedures {
		for _, s := range l.requests {
			if !s.inError() && l.refers(p.Get("basedOn"), s) && !slices.Contains(g.requests, s) {
				g.requests = append(g.requests, s)
				g.links = append(g.links, Link{p.Ref(), s.Ref(), LinkOrder})
			}
		}
	}
	g.procedures = g.goingOn(g.procedures, "not-done")
	g.requests = g.goingOn(g.requests, "revoked")
	return g
}

// goingOn leaves out what was called off while the rest goes on: one knee of
// two. Where all was called off, all stays, and the booking ends.
func (g *group) goingOn(records []*Record, off string) []*Record {
	kept := slices.DeleteFunc(slices.Clone(records), func(r *Record) bool { return r.status() == off })
	if len(kept) == 0 || len(kept) == len(records) {
		return records
	}
	g.links = slices.DeleteFunc(g.links, func(link Link) bool {
		return slices.ContainsFunc(records, func(r *Record) bool {
			return r.status() == off && (link.To == r.Ref() || link.From == r.Ref())
		})
	})
	return kept
}

// stage divides the procedures of one order among the appointments made on it:
// with two staged operations each is linked to the appointment near its date.
func (l *linker) stage(groups []group) {
	for _, p := range l.procedures {
		day := l.performed(p)
		var near, far []*group
		for n := range groups {
			g := &groups[n]
			switch start := l.f.day(g.appointment.String("start")); {
			case l.said(g.appointment, p) == readiness.Yes && slices.Contains(g.procedures, p):
				near = append(near, g)
			case day.IsZero() || start.IsZero() || ended(g.appointment) || !slices.Contains(g.procedures, p):
			case l.near(start, day):
				near = append(near, g)
			default:
				far = append(far, g)
			}
		}
		if len(near) == 0 {
			continue // its date is out of date: the appointments go before it
		}
		for _, g := range far {
			g.procedures = slices.DeleteFunc(slices.Clone(g.procedures), func(r *Record) bool { return r == p })
			g.links = slices.DeleteFunc(g.links, func(k Link) bool { return k.To == p.Ref() || k.From == p.Ref() })
		}
	}
}

// infer links a procedure that fits one appointment by person, operation and
// date, where no other fits either of them, and no person has said what belongs to
// it; else nothing is linked and what fits is remembered as unclear.
func (l *linker) infer(groups []group, taken map[*Record]bool, over bool) {
	fits := make([][]*Record, len(groups))
	claims := map[*Record]int{}
	for n := range groups {
		if ended(groups[n].appointment) != over {
			continue
		}
		fits[n] = l.candidates(&groups[n], taken)
		for _, p := range fits[n] {
			claims[p]++
		}
	}
	for n := range groups {
		g := &groups[n]
		if ended(g.appointment) != over {
			continue
		}
		answered := len(g.appointment.Said) > 0 // by a person: then nothing is linked but what is said or written
		if len(fits[n]) == 1 && claims[fits[n][0]] == 1 && !answered {
			g.procedures = fits[n]
			g.links = append(g.links, Link{g.appointment.Ref(), fits[n][0].Ref(), LinkInferred})
		} else {
			g.unclear = fits[n]
		}
		mark(taken, fits[n])
	}
}

// candidates lists the procedures that fit an appointment to which none is linked.
func (l *linker) candidates(g *group, taken map[*Record]bool) []*Record {
	if len(g.procedures) > 0 {
		return nil
	}
	have := l.p.factsOf(g.all())
	day := l.f.day(g.appointment.String("start"))
	var out []*Record
	for _, p := range l.procedures {
		done := p.status() == "completed" && l.f.performed(p) == day // on the day itself: it is the one that was booked
		if taken[p] || l.said(g.appointment, p) == readiness.No || !done && p.status() != "preparation" && p.status() != "in-progress" {
			continue
		}
		if l.fits(have, l.p.factsOf([]*Record{p}), day, l.performed(p)) {
			out = append(out, p)
		}
	}
	return out
}

// fits compares what an appointment and a procedure say. An appointment that
// names its operation needs the same joint, no other side, and a near date; one
// that says only that it is orthopaedic surgery needs the very day.
func (l *linker) fits(a, p map[string]any, start, performed calendar.Date) bool {
	if p["joint"] == nil || start.IsZero() {
		return false
	}
	if a["side"] != nil && p["side"] != nil && a["side"] != p["side"] {
		return false
	}
	if a["joint"] == nil {
		return a["orthopaedic_surgery"] == true && start == performed
	}
	return a["joint"] == p["joint"] && (performed.IsZero() || l.near(start, performed))
}

// another reports whether a finished procedure is of another day: the first of
// two staged operations on one order.
func (l *linker) another(a, p *Record) bool {
	if p.status() == "preparation" || p.status() == "in-progress" {
		return false
	}
	day, start := l.performed(p), l.f.day(a.String("start"))
	return !day.IsZero() && !start.IsZero() && !l.near(start, day)
}

func (l *linker) near(a, b calendar.Date) bool { return near(a, b, l.tolerance) }

func near(a, b calendar.Date, tolerance int) bool {
	d := a.Sub(b)
	return max(d, -d) <= tolerance
}

// performed is the day a procedure was or will be done; zero when unknown.
func (l *linker) performed(p *Record) calendar.Date { return l.f.performed(p) }

func (f Facility) performed(p *Record) calendar.Date {
	if d := f.day(p.String("performedDateTime")); !d.IsZero() {
		return d
	}
	return f.day(p.String("performedPeriod", "start"))
}

// refers reports whether one of the references in n names the record, by
// reference or by a shared business identifier.
func (l *linker) refers(n *fhir.Node, to *Record) bool {
	for _, r := range n.Items() {
		if l.f.local(r) == to.Ref() {
			return true
		}
		if id := r.Get("identifier"); id.Exists() && hasIdentifier(to, id.String("system"), id.String("value")) {
			return true
		}
	}
	return false
}

func (l *linker) sharedOrder(a, p *Record) bool {
	for _, x := range a.Get("basedOn").Items() {
		for _, y := range p.Get("basedOn").Items() {
			if ref := l.f.local(x); ref != "" && ref == l.f.local(y) {
				return true
			}
			i, j := x.Get("identifier"), y.Get("identifier")
			if i.String("value") != "" && i.String("system") == j.String("system") && i.String("value") == j.String("value") {
				return true
			}
		}
	}
	for _, s := range l.requests {
		if l.refers(a.Get("basedOn"), s) && l.refers(p.Get("basedOn"), s) {
			return true
		}
	}
	return false
}

func (l *linker) supporting(a, p *Record) bool {
	if l.refers(a.Get("supportingInformation"), p) {
		return true
	}
	for _, s := range l.requests {
		if l.refers(a.Get("supportingInformation"), s) && l.refers(p.Get("basedOn"), s) {
			return true
		}
	}
	return false
}

func (l *linker) sameVisit(g *group, p *Record) bool {
	for _, e := range g.encounters {
		if l.refers(p.Get("encounter"), e) || l.refers(e.Get("reasonReference"), p) {
			return true
		}
		for _, d := range e.Get("diagnosis").Items() {
			if l.refers(d.Get("condition"), p) {
				return true
			}
		}
	}
	return false
}

func (l *linker) sharedNumber(g *group, p *Record) bool {
	if shareIdentifier(g.appointment, p) {
		return true
	}
	for _, s := range g.requests {
		if shareIdentifier(s, p) {
			return true
		}
	}
	return false
}

func shareIdentifier(a, b *Record) bool {
	for _, id := range a.Get("identifier").Items() {
		if hasIdentifier(b, id.String("system"), id.String("value")) {
			return true
		}
	}
	return false
}

func hasIdentifier(r *Record, system, value string) bool {
	if system == "" || value == "" {
		return false // a bare number is no business identifier
	}
	for _, id := range r.Get("identifier").Items() {
		if id.String("system") == system && id.String("value") == value {
			return true
		}
	}
	return false
}
