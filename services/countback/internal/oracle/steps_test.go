package oracle

import (
	"fmt"
	"slices"
	"time"

	"pgregory.net/rapid"

	"example.org/countback/pkg/readiness"
)

func (w *world) step(t *rapid.T, n int) (Step, *readiness.Condition) {
	condition := rapid.SampledFrom(w.conditions).Draw(t, "condition")
	if one(t, 2, "always") {
		condition = w.conditions[0]
	}
	s := Step{
		Code: fmt.Sprintf("step-%d", n), When: condition.rule,
		Need:   rapid.SampledFrom([]Need{Must, Must, MustBeforeLeaving, Should, Could}).Draw(t, "need"),
		Staff:  one(t, 2, "staff"),
		Fixed:  one(t, 5, "fixed"),
		Pauses: one(t, 3, "pauses"), Outlives: one(t, 6, "outlives"),
		Expiry: Expiry{
			Kind: rapid.SampledFrom([]string{"never", "days", "this date", "end date"}).Draw(t, "expiry"),
			Days: rapid.SampledFrom([]int{3, 30, 31, 45}).Draw(t, "age"),
		},
	}
	if one(t, 4, "void") {
		s.Expiry.VoidedBy = []string{"side"}
	}
	switch rapid.IntRange(0, 9).Draw(t, "kind") {
	case 9:
		s.Trigger = "event"
	case 7, 8:
		s.Repeat = "medicine"
	}
	for range rapid.SampledFrom([]int{1, 1, 1, 0, 2}).Draw(t, "opens") {
		s.Opens = append(s.Opens, drawPoint(t, s, n, -42))
	}
	for range rapid.SampledFrom([]int{1, 1, 1, 1, 0, 2}).Draw(t, "dues") {
		s.Due = append(s.Due, drawPoint(t, s, n, -10))
	}
	s.OpensEarliest = one(t, 5, "earliest")
	if one(t, 4, "with last day") {
		last := drawPoint(t, s, 0, -1)
		s.Last = &last
	}
	if n > 0 && s.Trigger == "" && one(t, 3, "in a chain") {
		s.Need, s.OpensEarliest = Must, false
		p := Point{From: fmt.Sprintf("step-%d", n-1), N: rapid.IntRange(0, 6).Draw(t, "n")}
		p.Unit = rapid.SampledFrom([]Unit{Days, BusinessDays}).Draw(t, "unit")
		s.Opens = append(s.Opens[:0], p)
	}
	neverEmpty(&s)
	return s, condition.code
}

// drawPoint is a rule of any kind, most often about so many days from surgery.
func drawPoint(t *rapid.T, s Step, n, about int) Point {
	froms := []string{Surgery, Surgery, Surgery, Surgery, Booking, Discharge}
	for other := range n {
		froms = append(froms, fmt.Sprintf("step-%d", other))
	}
	if s.Trigger != "" {
		froms = append(froms, Raised, Raised, Raised)
	}
	p := Point{From: rapid.SampledFrom(froms).Draw(t, "from")}
	p.Unit = rapid.SampledFrom([]Unit{Days, Days, Days, BusinessDays, Weeks, Months, Hours, Minutes}).Draw(t, "unit")
	if !isAnchor(p.From) && (p.Unit == Hours || p.Unit == Minutes) {
		p.Unit = Days // of a step only the day is known
	}
	switch p.Unit {
	case Days:
		p.N = rapid.IntRange(-45, 45).Draw(t, "n")
		if !isAnchor(p.From) {
			p.N = rapid.IntRange(-6, 8).Draw(t, "n")
		}
		if p.From == Surgery && one(t, 2, "near") {
			p.N = about + rapid.IntRange(-5, 5).Draw(t, "n")
		}
	case BusinessDays:
		p.N = rapid.IntRange(-6, 6).Draw(t, "n")
	case Weeks, Months:
		p.N = rapid.IntRange(-3, 3).Draw(t, "n")
		if !isAnchor(p.From) {
			p.N /= 3
		}
	case Hours:
		p.N = rapid.IntRange(-72, 72).Draw(t, "n")
	case Minutes:
		p.N = rapid.IntRange(-2000, 2000).Draw(t, "n")
	}
	if p.Unit != Hours && p.Unit != Minutes && one(t, 5, "at a time") {
		p.At = &Clock{rapid.IntRange(0, 23).Draw(t, "hour"), rapid.SampledFrom([]int{0, 30, 59}).Draw(t, "minute")}
	}
	return p
}

// neverEmpty turns a window round that a protocol may not have: one that opens
// after it is due whatever the dates.
func neverEmpty(s *Step) {
	for changed := true; changed; {
		changed = false
		for i := range s.Opens {
			for j := range s.Due {
				opens, due := &s.Opens[i], &s.Due[j]
				if opens.From != due.From || !sameSize(opens.Unit, due.Unit) {
					continue
				}
				switch a, b := size(*opens), size(*due); {
				case a > b:
					opens.N, due.N = due.N, opens.N
					opens.Unit, due.Unit = due.Unit, opens.Unit
					opens.At, due.At = due.At, opens.At
					changed = true
				case a == b && opens.At != nil && due.At != nil:
					due.At = nil
				}
			}
		}
	}
}

func sameSize(a, b Unit) bool {
	byDays := func(u Unit) bool { return u == Days || u == Weeks }
	byHours := func(u Unit) bool { return u == Hours || u == Minutes }
	return a == b || byDays(a) && byDays(b) || byHours(a) && byHours(b)
}

func size(p Point) int {
	switch p.Unit {
	case Weeks:
		return 7 * p.N
	case Hours:
		return 60 * p.N
	}
	return p.N
}

// drawEntries records something on about one item in so many, and on the next
// round of it now and then.
func drawEntries(t *rapid.T, s *situation, in int) {
	for _, step := range s.rules.Steps {
		for _, key := range s.keys(step) {
			for round := 1; one(t, in, "entry"); round++ {
				s.c.Entries = append(s.c.Entries, drawEntry(t, s, step, key, round))
				in = max(in, 3)
			}
		}
	}
}

// keys are what a step has items for.
func (s *situation) keys(step Step) []string {
	switch {
	case step.Repeat != "":
		return s.c.Repeats[step.Repeat]
	case step.Trigger == "":
		return []string{""}
	}
	var keys []string
	for _, e := range s.c.Events {
		if e.Name == step.Trigger {
			keys = append(keys, e.Key)
		}
	}
	return keys
}

// drawRecords has records show that about one item in so many was done, some of
// them on one day, and lets people object to some.
func drawRecords(t *rapid.T, s *situation, in int) {
	to := dayOr(s.c.Surgery, facility{place: s.place}, s.c.Booked)
	booked := s.place.dateOf(s.c.Booked)
	for _, step := range s.rules.Steps {
		for _, key := range s.keys(step) {
			for n := 0; n < 3 && one(t, in, "record"); n++ {
				r := Record{Code: step.Code, Key: key, Name: rapid.SampledFrom([]string{"x", "y", "z"}).Draw(t, "name") + fmt.Sprint(n), InTime: one(t, 3, "in time")}
				switch rapid.IntRange(0, 3).Draw(t, "shown when") {
				case 0:
					r.Done = walk(to, -step.Expiry.Days+rapid.IntRange(-1, 1).Draw(t, "age off"))
				case 1:
					r.Done = walk(booked, -step.Expiry.Days+rapid.IntRange(-1, 1).Draw(t, "booking off"))
				case 2:
					r.Done = walk(booked, rapid.IntRange(-1, 1).Draw(t, "booking"))
				default:
					r.Done = walk(to, -rapid.IntRange(-5, 60).Draw(t, "days before"))
				}
				if one(t, 2, "with an end") {
					r.Until = walk(to, rapid.IntRange(-1, 1).Draw(t, "until"))
				}
				s.c.Records = append(s.c.Records, r)
				if one(t, 5, "objected") && !s.recorded(step.Code, key) {
					s.c.Entries = append(s.c.Entries, Entry{Code: step.Code, Key: key, Round: 1, Against: r.Name})
				}
			}
		}
	}
}

func (s *situation) recorded(code, key string) bool {
	return slices.ContainsFunc(s.c.Entries, func(e Entry) bool { return e.Code == code && e.Key == key && e.Round == 1 })
}

func drawEntry(t *rapid.T, s *situation, step Step, key string, round int) Entry {
	e := Entry{
		Code: step.Code, Key: key, Round: round, For: s.c.Surgery, ForStart: s.c.Start,
		Kind:  rapid.SampledFrom([]string{"done", "done", "done", "done", "waived", "not needed", "failed", "applies"}).Draw(t, "entry kind"),
		Under: map[string]string{"side": s.c.Under["side"]},
	}
	to := dayOr(s.c.Surgery, facility{place: s.place}, s.c.Booked)
	switch rapid.IntRange(0, 9).Draw(t, "done when") {
	case 0, 1, 2, 3, 4:
		e.Done = walk(to, -rapid.IntRange(-3, 60).Draw(t, "days before"))
	case 5, 6, 7, 8: // at the edge
		e.Done = walk(to, -step.Expiry.Days+rapid.IntRange(-1, 1).Draw(t, "age off"))
	}
	switch rapid.IntRange(0, 9).Draw(t, "done for") {
	case 9:
		e.For = walk(to, 7)
	case 8:
		e.For, e.ForStart = 0, time.Time{}
	case 7:
		e.ForStart = e.ForStart.Add(time.Hour)
	case 6:
		e.Under = map[string]string{"side": "left"}
	case 5:
		e.Under = nil
	}
	if one(t, 2, "with an end") {
		e.Until = walk(to, rapid.IntRange(-1, 1).Draw(t, "until"))
	}
	return e
}
