package translate

import (
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// step reads one action.
func (rd *definitionReader) step(a *fhir.Node) readiness.Step {
	s := readiness.Step{
		Code: a.String("id"), Title: a.String("title"), Summary: a.String("description"),
		Priority:     a.String("priority"),
		Kind:         a.String("code", "coding", "code"),
		Fixed:        value(extension(a, "fixed")).Bool(),
		PausesOnHold: text(a, "on-hold") == "pause",
		RepeatFor:    text(a, "repeat-for"),
		Trigger:      a.String("trigger", "name"),
		Expiry:       rd.expiry(extension(a, "evidence-expiry")),
		Need:         rd.need(a),

		ListsMedicines: value(extension(a, "lists-medicines")).Bool(),
		Named:          value(extension(a, "named-performer")).Bool(),
		Outlives:       value(extension(a, "outlives-case")).Bool(),
		UntilDone:      value(extension(a, "until-done")).Bool(),
		ReportedAs:     rd.reportedAs(a),
	}
	s.Window.OpensEarliest = value(extension(a, "opens-earliest")).Bool()
	for _, r := range a.Get("relatedAction").Items() {
		rd.window(r, &s.Window)
	}
	if e := extension(a, "last-day"); e != nil {
		s.Last = rd.last(e)
	}
	for n, c := range a.Get("condition").Items() {
		if n > 0 {
			rd.fault("more than one condition: join them with &&")
		}
		s.Condition = rd.condition(c)
	}
	for _, p := range a.Get("participant").Items() {
		s.Performers = append(s.Performers, performer(p))
	}
	for _, e := range extensions(a, "instruction") {
		switch value(part(e, "audience")).Text() {
		case "patient":
			s.ForPatient = value(part(e, "text")).Text()
		case "performer":
			s.ForPerformer = value(part(e, "text")).Text()
		}
	}
	rd.itemHolds(a)
	for _, in := range a.Get("input").Items() {
		rd.evidence(in)
	}
	for _, d := range a.Get("documentation").Items() {
		s.Sources = append(s.Sources, source(d))
	}
	return s
}

func (rd *definitionReader) reportedAs(a *fhir.Node) readiness.Reported {
	switch as := readiness.Reported(text(a, "reported-as")); as {
	case "", readiness.ReportedClass, readiness.ReportedBaseline, readiness.ReportedOneYear:
		return as
	default:
		rd.fault("reported-as %q is none of class, baseline, one-year", as)
		return ""
	}
}

func (rd *definitionReader) need(a *fhir.Node) readiness.Need {
	switch b := a.String("requiredBehavior"); b {
	case "must":
		if text(a, "must-before") == "leaving" {
			return readiness.MustToLeave
		}
		return readiness.Must
	case "must-unless-documented":
		return readiness.Should
	case "could":
		return readiness.Could
	default:
		rd.fault("requiredBehavior %q is none of must, must-unless-documented, could", b)
		return readiness.Could
	}
}

// window adds the points of one relatedAction. A single duration before an
// anchor is a due point, after it an opening; a range gives both.
func (rd *definitionReader) window(r *fhir.Node, w *readiness.Window) {
	rel := r.String("relationship")
	before := strings.HasPrefix(rel, "before")
	if !before && !strings.HasPrefix(rel, "after") {
		rd.fault("relationship %q is neither before nor after", rel)
		return
	}
	sign := 1
	if before {
		sign = -1
	}
	point := func(n *fhir.Node, clock string) readiness.Point {
		business := value(extension(r, "business-days")).Bool()
		p := readiness.Point{Anchor: r.String("actionId"), Offset: rd.offset(n, sign, business)}
		if t := value(part(extension(r, "time-of-day"), clock)).Text(); t != "" {
			c := rd.clock(t)
			p.Clock = &c
		}
		return p
	}
	if rng := r.Get("offsetRange"); rng.Exists() {
		// A range with one end only gives only that end.
		opens, due := rng.Get("low"), rng.Get("high")
		if before {
			opens, due = due, opens
		}
		if opens.Exists() {
			w.Opens = append(w.Opens, point(opens, "from"))
		}
		if due.Exists() {
			w.Due = append(w.Due, point(due, "to"))
		}
		return
	}
	if before {
		w.Due = append(w.Due, point(r.Get("offsetDuration"), "to"))
		return
	}
	w.Opens = append(w.Opens, point(r.Get("offsetDuration"), "from"))
}

func (rd *definitionReader) last(e *fhir.Node) *readiness.Point {
	sign := 1
	if strings.HasPrefix(value(part(e, "relationship")).Text(), "before") {
		sign = -1
	}
	business := value(part(e, "business-days")).Bool()
	return &readiness.Point{
		Anchor: value(part(e, "actionId")).Text(),
		Offset: rd.offset(value(part(e, "offset")), sign, business),
	}
}

func (rd *definitionReader) expiry(e *fhir.Node) readiness.Expiry {
	var out readiness.Expiry
	switch kind := value(part(e, "kind")).Text(); kind {
	case "never":
	case "days":
		out.Kind = readiness.ExpiresAfter
		out.Days = rd.offset(value(part(e, "days")), 1, false).N
	case "this-date":
		out.Kind = readiness.ThisDate
	case "own-end-date":
		out.Kind = readiness.OwnEndDate
	default:
		rd.fault("evidence-expiry %q is none of never, days, this-date, own-end-date", kind)
	}
	// An elective operation is done on the day of admission, so both are D0.
	if to := value(part(e, "countedTo")).Text(); to != "" && to != "surgery" && to != "admission" {
		rd.fault("evidence-expiry counts to %q, which is neither surgery nor admission", to)
	}
	for _, v := range e.Get("extension").Items() {
		if v.String("url") == "voidedBy" {
			out.VoidedBy = append(out.VoidedBy, value(v).Text())
		}
	}
	return out
}

func performer(p *fhir.Node) readiness.Performer {
	out := readiness.Performer{
		Role:    p.String("role", "coding", "code"),
		Display: p.String("role", "coding", "display"),
	}
	switch p.String("type") {
	case "patient":
		out.Kind = readiness.Patient
	case "related-person":
		out.Kind = readiness.Related
	}
	return out
}

func source(d *fhir.Node) readiness.Source {
	s := readiness.Source{Text: d.String("citation"), URL: d.String("url"), Mark: text(d, "source-mark")}
	for _, more := range []string{d.String("display"), d.String("label")} {
		if s.Text == "" {
			s.Text = more
		} else if more != "" {
			s.Text += "; " + more
		}
	}
	return s
}
