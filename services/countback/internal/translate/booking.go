package translate

import (
	"sort"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// Booking is one operation as the resources of a person tell it.
type Booking struct {
	Primary string   // reference of the resource that stands for it: the Appointment if there is one
	Members []string // references of all its resources, Primary first
	Links   []Link
	// Candidates are procedures that may belong to the booking; a person is
	// asked which.
	Candidates []string
	Patient    string
	Meets      bool   // whether it is an operation that is planned for here
	Opens      bool   // whether it opens a case now
	Reason     string // why not
	Asks       *Asks  // what a person is asked about its records; nil: nothing
	Kept       string // what it is where it opens none, one of the Kept constants
	Awaits     bool   // false: an order or procedure without an appointment, and not to be carried out any more
	Case       readiness.Case
	// Told says what a person reported of the day of surgery, and what of it the
	// records contradict; empty: nothing.
	Told    string
	notDone string // why there is no day, where a person reported so
}

// notAwaited is why an order or procedure without an appointment opens no case.
const notAwaited = "already performed, or not active"

// TriggerUnclear is the event raised when a booking has several candidates for
// its procedure; the protocol's step with this trigger asks a person.
const TriggerUnclear = "booking-link-unclear"

// Bookings reads one person's resources. The order of the records does not
// matter.
func Bookings(records []*Record, p *Protocol, f Facility) []Booking {
	l := &linker{f: f, p: p, tolerance: p.LinkTolerance}
	var appointments []*Record
	for _, r := range records {
		switch r.Type {
		case "Appointment":
			appointments = append(appointments, r)
		case "Procedure":
			l.procedures = append(l.procedures, r)
		case "ServiceRequest":
			l.requests = append(l.requests, r)
		case "Encounter":
			l.encounters = append(l.encounters, r)
		}
	}
	for _, list := range [][]*Record{appointments, l.procedures, l.requests, l.encounters} {
		sort.Slice(list, func(i, j int) bool { return list[i].ID < list[j].ID })
	}
	groups := make([]group, 0, len(appointments))
	taken := map[*Record]bool{}
	for _, a := range appointments {
		groups = append(groups, l.link(a))
	}
	l.stage(groups)
	share(groups)
	for n := range groups {
		mark(taken, groups[n].all())
	}
	l.infer(groups, taken, false)
	l.infer(groups, taken, true) // what was called off keeps its procedure: it is no booking of its own
	groups = append(groups, l.orphans(taken)...)
	out := make([]Booking, 0, len(groups))
	proofs := p.proofsOf(records, f)
	for n := range groups {
		out = append(out, f.booking(&groups[n], p))
		out[n].Case.Proofs = proofs
	}
	p.medicines(out, records, f)
	for n := range out {
		out[n].absorb(out[:len(appointments)], p.LinkTolerance)
	}
	p.hear(out, records, f)
	for n := range out {
		out[n].disputes(records)
	}
	return out
}

// absorb lets an order or procedure without an appointment open no case of its
// own when an appointment that stands plans the same operation for that time:
// the case that it may have opened before becomes the appointment's.
func (b *Booking) absorb(appointments []Booking, tolerance int) {
	if strings.HasPrefix(b.Primary, "Appointment/") || !b.Meets {
		return
	}
	mine := b.Case.Facts
	for n := range appointments {
		a := &appointments[n]
		theirs := a.Case.Facts
		sides := mine["side"] == nil || theirs["side"] == nil || mine["side"] == theirs["side"]
		if a.Opens && sides && mine["joint"] == theirs["joint"] && near(a.Case.Day, b.Case.Day, tolerance) {
			a.Candidates = append(a.Candidates, b.Primary)
			b.Meets, b.Opens, b.Reason = false, false, "an appointment plans the same operation for that time"
			b.Kept = KeptOver
			return
		}
	}
}

func mark(taken map[*Record]bool, records []*Record) {
	for _, r := range records {
		taken[r] = true
	}
}

// orphans groups procedures in preparation, and orders with a date, that belong
// to no appointment: the theatre's booking may still be on its way.
func (l *linker) orphans(taken map[*Record]bool) []group {
	var out []group
	for _, s := range l.requests {
		g := group{requests: []*Record{s}}
		for _, p := range l.procedures {
			if !taken[p] && l.refers(p.Get("basedOn"), s) {
				g.procedures = append(g.procedures, p)
				g.links = append(g.links, Link{p.Ref(), s.Ref(), LinkOrder})
				taken[p] = true
			}
		}
		if !taken[s] {
			out = append(out, g)
		}
	}
	for _, p := range l.procedures {
		if taken[p] {
			continue
		}
		g := group{procedures: []*Record{p}}
		for _, o := range l.procedures {
			if o != p && !taken[o] && l.together(p, o) {
				g.procedures = append(g.procedures, o)
				g.links = append(g.links, Link{p.Ref(), o.Ref(), LinkInferred})
				taken[o] = true
			}
		}
		taken[p] = true
		out = append(out, g)
	}
	return out
}

// together reports whether two procedures without an appointment are one
// operation: the same joint, or both of a pair, on one day.
func (l *linker) together(a, b *Record) bool {
	if a.status() != "preparation" || b.status() != "preparation" {
		return false
	}
	day := l.performed(a)
	joint := l.p.factsOf([]*Record{a})["joint"]
	return !day.IsZero() && day == l.performed(b) && joint != nil && joint == l.p.factsOf([]*Record{b})["joint"]
}

// agree adds what all candidates say alike: whichever of two left knees it is,
// it is a left knee.
func agree(facts map[string]any, p *Protocol, candidates []*Record) {
	if len(candidates) == 0 {
		return
	}
	for name, v := range p.factsOf(candidates[:1]) {
		alike := facts[name] == nil
		for _, c := range candidates[1:] {
			alike = alike && p.factsOf([]*Record{c})[name] == v
		}
		if alike {
			facts[name] = v
		}
	}
}

// question says what a person must sort out about a booking; empty for nothing.
func (p *Protocol) question(g *group, facts map[string]any) string {
	joint := p.facts["joint"].Both
	switch {
	case g.appointment != nil && ended(g.appointment):
		return ""
	case len(g.unclear) > 0:
		return "It is not clear which procedure belongs to this booking; none was linked and a person is asked."
	case joint != "" && facts["joint"] == joint:
		return "The records of this booking name a hip and a knee; a person is asked which it is."
	case len(g.rivals) > 0:
		return "Another appointment names the same procedure; a person is asked which of them stands."
	}
	return ""
}

// told is when the last of what the booking rests on was first heard of.
func (g *group) told() time.Time {
	var last time.Time
	for _, r := range append(g.all(), g.unclear...) {
		if r.First.After(last) {
			last = r.First
		}
	}
	return last
}

// booking turns a group into the facts of a case.
func (f Facility) booking(g *group, p *Protocol) Booking {
	all := g.all()
	b := Booking{Links: g.links}
	for _, r := range all {
		b.Members = append(b.Members, r.Ref())
	}
	b.Primary = all[0].Ref()
	c := &b.Case
	c.Facts = p.factsOf(all)
	for _, u := range g.unclear {
		b.Candidates = append(b.Candidates, u.Ref())
	}
	agree(c.Facts, p, g.unclear)
	c.Booked = f.booked(all[0])
	c.Ending = ending(g)
	f.times(g, c, p.LinkTolerance)
	f.operated(g, c, p.LinkTolerance)
	// Postponed: nothing that counts from the date may be started.
	c.Held = c.Day.IsZero() || waiting(g)
	c.Stay = planned(g, c.Facts)
	if c.Stay != "" {
		c.Facts["stay"] = c.Stay
	}
	c.Details = f.details(g, c.Facts)
	if why := p.question(g, c.Facts); why != "" {
		asks, at := g.asks(p, b.Primary)
		b.Asks = asks
		c.Raised = append(c.Raised, readiness.Raised{Trigger: TriggerUnclear, Key: asks.Key, At: at, Why: why, Among: asks.Choices})
	}
	b.Meets, b.Reason = p.meets(c.Facts)
	if b.Meets {
		b.Reason = f.notYet(c, g)
	}
	b.Awaits = g.appointment != nil || awaits(g)
	b.Opens = b.Reason == ""
	b.Kept = f.keptAs(g, c)
	return b
}

// meets decides whether this is an operation that the protocol plans for, and
// says why not.
func (p *Protocol) meets(facts map[string]any) (bool, string) {
	for _, gate := range p.Gates {
		if answer, _ := gate.Condition.Holds(facts); answer != readiness.Yes {
			return false, gate.Reason
		}
	}
	return true, ""
}

// notYet says why an operation that is planned for opens no case now; empty
// when it does.
func (f Facility) notYet(c *readiness.Case, g *group) string {
	switch {
	case c.Ending != readiness.Running:
		return "called off: " + string(c.Ending)
	case c.Day.IsZero():
		return "no day of surgery yet"
	case f.Calendar.DateOf(g.all()[0].First) > c.Day:
		return "the day of surgery had passed when it was first heard of"
	case g.appointment == nil && !awaits(g):
		return notAwaited
	case g.appointment == nil && !numbered(g):
		return "no appointment yet, and no identifier to know it by"
	}
	return ""
}

// numbered reports whether the resource that stands for a booking without an
// appointment carries a business identifier.
func numbered(g *group) bool {
	for _, id := range g.all()[0].Get("identifier").Items() {
		if id.String("system") != "" && id.String("value") != "" {
			return true
		}
	}
	return false
}

// awaits reports whether an order or procedure without an appointment is still
// to be carried out.
func awaits(g *group) bool {
	for _, p := range g.procedures {
		if s := p.status(); s == "preparation" || s == "in-progress" {
			return true
		}
	}
	for _, s := range g.requests {
		if s.status() == "active" && len(g.procedures) == 0 {
			return true
		}
	}
	return false
}

// booked is when the operation was booked: as the booking says, but never later
// than it was first heard of.
func (f Facility) booked(r *Record) time.Time {
	heard := r.First.In(f.Calendar.Zone())
	at := f.instant(r.String("created"))
	if d := f.day(r.String("created")); at.IsZero() && !d.IsZero() {
		at = f.Calendar.At(d, 12, 0)
	}
	if at.IsZero() || at.After(heard) {
		return heard
	}
	return at
}

func ended(a *Record) bool {
	switch a.status() {
	case "cancelled", "noshow", "entered-in-error":
		return true
	}
	return false
}

// ending tells whether the operation was called off, and how.
func ending(g *group) readiness.Ending {
	if g.appointment != nil {
		switch g.appointment.status() {
		case "cancelled":
			return readiness.Cancelled
		case "noshow":
			return readiness.NoShow
		case "entered-in-error":
			return readiness.EnteredInErr
		}
	}
	for _, p := range g.procedures {
		if p.status() == "not-done" || g.appointment == nil && p.status() == "entered-in-error" {
			return readiness.Cancelled
		}
	}
	for _, s := range g.requests {
		if s.status() == "revoked" {
			return readiness.Cancelled
		}
	}
	return readiness.Running
}

// waiting reports whether the order was put on hold.
func waiting(g *group) bool {
	for _, s := range g.requests {
		if s.status() == "on-hold" {
			return true
		}
	}
	return false
}

// times sets D0, T0, arrival and discharge. A booked appointment's start goes
// before the order's occurrence, and that before the procedure's own date.
func (f Facility) times(g *group, c *readiness.Case, tolerance int) {
	if a := g.appointment; a != nil {
		switch a.status() {
		case "proposed", "pending", "waitlist":
			return
		}
		if start := f.instant(a.String("start")); !start.IsZero() {
			c.Day = f.Calendar.DateOf(start)
			c.Start = start.Add(f.StartOffset)
			if t := f.instant(text(a.Root(), "anaesthesia-start")); !t.IsZero() {
				c.Start = t
			}
		}
		if s := a.status(); s == "arrived" || s == "checked-in" {
			c.Arrived, c.Seen = a.Updated, a.Ref()
		}
	}
	if c.Day.IsZero() {
		c.Day = f.otherDay(g)
	}
	for _, e := range g.encounters {
		start := f.day(e.String("period", "start"))
		if !start.IsZero() && !c.Day.IsZero() && !near(start, c.Day, tolerance) {
			continue // a visit beforehand is not the stay
		}
		switch e.status() {
		case "arrived", "triaged", "in-progress", "onleave", "finished":
			c.Arrived, c.Seen = firstOf(f.instant(e.String("period", "start")), e.Updated), e.Ref()
		}
		if e.status() == "finished" {
			c.Left = firstOf(f.instant(e.String("period", "end")), firstOf(e.Since, e.Updated))
		}
	}
}

// operated sets when the operation was done, where a procedure of the booking says so.
func (f Facility) operated(g *group, c *readiness.Case, tolerance int) {
	for _, p := range g.procedures {
		day := f.performed(p)
		if p.status() != "completed" || day.IsZero() || c.Day.IsZero() || !near(day, c.Day, tolerance) {
			continue
		}
		start := firstOf(f.instant(p.String("performedPeriod", "start")), f.instant(p.String("performedDateTime")))
		c.Operated = firstOf(start, f.Calendar.At(day, 12, 0))
		if c.Seen == "" {
			c.Seen = p.Ref()
		}
	}
}

func (f Facility) otherDay(g *group) calendar.Date {
	for _, s := range g.requests {
		if d := f.day(s.String("occurrenceDateTime")); !d.IsZero() {
			return d
		}
		if d := f.day(s.String("occurrencePeriod", "start")); !d.IsZero() {
			return d
		}
	}
	for _, p := range g.procedures {
		if d := f.performed(p); !d.IsZero() {
			return d
		}
	}
	return 0
}

func firstOf(t, fallback time.Time) time.Time {
	if t.IsZero() {
		return fallback
	}
	return t
}

// planned is the planned stay: as the booking says, else as the encounter's
// class says, else empty for the protocol's default.
func planned(g *group, facts map[string]any) string {
	if g.appointment != nil {
		if s := text(g.appointment.Root(), "planned-stay"); s != "" {
			return s
		}
	}
	s, _ := facts["stay"].(string)
	return s
}

// details is what may void evidence when it changes.
func (f Facility) details(g *group, facts map[string]any) map[string]string {
	str := func(name string) string { s, _ := facts[name].(string); return s }
	out := map[string]string{
		"side":      str("side"),
		"procedure": str("joint") + " " + str("extent"),
		"stay":      str("stay"),
	}
	if g.appointment == nil {
		return out
	}
	for _, p := range g.appointment.Get("participant").Items() {
		ref := f.local(p.Get("actor"))
		for typ, name := range map[string]string{"Practitioner/": "surgeon", "Location/": "facility"} {
			if strings.HasPrefix(ref, typ) && out[name] == "" {
				out[name] = ref
			}
		}
	}
	return out
}
