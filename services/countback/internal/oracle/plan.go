package oracle

import (
	"slices"
	"time"
)

// Make dates every item of a case and says where each stands at now, and where
// the case stands.
func Make(place *Place, rules Rules, c Case, now time.Time) Plan {
	p := &planner{place, rules, c, now, map[string][]Item{}}
	plan := Plan{Discharge: p.discharge()}
	for _, step := range rules.Steps {
		plan.Items = append(plan.Items, p.itemsOf(step.Code)...)
	}
	p.network(plan.Items)
	plan.Infeasible = p.infeasible(plan.Items)
	plan.Doubtful = p.doubtful(plan.Items)
	plan.State = p.caseState(plan)
	plan.Unreported = !p.c.Cancelled && !p.reported() && p.over(p.operation()) && (p.c.Held || p.heldThen())
	return plan
}

// itemsOf gives the items of one step: one, or one for each thing that it is
// repeated for, or one for each event that raised it; and of each as many
// rounds as have expired, and one more.
func (p *planner) itemsOf(code string) []Item {
	if items, ok := p.known[code]; ok {
		return items
	}
	var items []Item
	for i := range p.rules.Steps {
		step := &p.rules.Steps[i]
		if step.Code != code {
			continue
		}
		if step.Trigger != "" {
			for _, event := range p.c.Events {
				if event.Name == step.Trigger {
					items = append(items, p.rounds(Item{Code: code, Key: event.Key, step: step, raised: event.At})...)
				}
			}
			continue
		}
		keys := []string{""}
		if step.Repeat != "" {
			keys = p.c.Repeats[step.Repeat]
		}
		for _, key := range keys {
			items = append(items, p.rounds(Item{Code: code, Key: key, step: step})...)
		}
	}
	p.known[code] = items
	return items
}

// rounds gives the item, and again after each time that it was done and no
// longer counts, or failed for another date.
func (p *planner) rounds(first Item) []Item {
	first.Applies = first.step.When.answer(p.c.Facts)
	p.window(&first)
	var items []Item
	lapsed := false // a record that no longer counts was shown
	for round := 1; ; round++ {
		it := first
		it.Round = round
		it.entry = p.entry(it, round)
		if it.entry != nil && it.entry.Kind == "applies" {
			it.Applies = Yes
		}
		if it.entry == nil || it.entry.Kind == "applies" || it.entry.Kind == "" {
			lapsed = p.shownBy(&it, lapsed)
		}
		it.State = p.itemState(it)
		items = append(items, it)
		if it.State != "expired" && !p.failedBefore(it) {
			return items
		}
	}
}

// entry is what was recorded on a round of the item, if anything was.
func (p *planner) entry(it Item, round int) *Entry {
	for i, entry := range p.c.Entries {
		if entry.Code == it.Code && entry.Key == it.Key && entry.Round == round {
			return &p.c.Entries[i]
		}
	}
	return nil
}

// asksForAnotherDay is the event of a request for another date.
const asksForAnotherDay = "another-day-asked"

// tellsOfAnotherDay is the event of a date that is not the one that was told.
const tellsOfAnotherDay = "told-day-changed"

// failedBefore: the item failed, but for another date of surgery. Whoever was told
// that another date cannot be had has their answer, whatever the date is then.
func (p *planner) failedBefore(it Item) bool {
	failed := it.entry != nil && it.entry.Kind == "failed" && it.entry.For != p.c.Surgery
	return failed && it.step.Trigger != asksForAnotherDay && it.step.Trigger != tellsOfAnotherDay
}

// tooEarly says whether it was done before it could be. A fixed step cannot be
// done before it opens, nor can one for this date only that the date opens,
// nor one that opens with surgery or later. The last dose of something taken is a
// fact, whenever that was.
func (p *planner) tooEarly(it Item) bool {
	done := it.entry.Done
	if it.step.takesLastDose() || done == 0 || it.Opens.none() || done >= it.Opens.Day {
		return false
	}
	if it.step.Fixed {
		return true
	}
	for _, point := range it.step.Opens {
		if point.From == Surgery && (point.N >= 0 || it.step.Expiry.Kind == "this date") {
			return true
		}
		if point.From == Discharge {
			return true
		}
	}
	return false
}

// takesLastDose: there is one for each medicine, due with its last dose.
func (s *Step) takesLastDose() bool {
	due := slices.ContainsFunc(s.Due, func(p Point) bool { return p.From == LastDose })
	return due && s.Repeat != ""
}

// expired says whether what was done no longer counts for the day of surgery.
// Once people went on to the next round it does not come back.
func (p *planner) expired(it Item) bool {
	if next := p.entry(it, it.Round+1); next != nil && next.Kind != "" {
		return true
	}
	return p.tooEarly(it) || p.aged(it)
}

// aged: it was in time, and yet does not count for the day of surgery.
func (p *planner) aged(it Item) bool {
	entry, expiry := it.entry, it.step.Expiry
	for _, thing := range expiry.VoidedBy {
		was, said := entry.Under[thing]
		if said && was != p.c.Under[thing] {
			return true
		}
	}
	if p.c.Surgery == 0 {
		return false
	}
	switch expiry.Kind {
	case "days":
		age := 0
		for d := entry.Done; d > 0 && d < p.c.Surgery; d++ {
			age++
		}
		return age > expiry.Days
	case "this date":
		return entry.For != p.c.Surgery || it.step.toldATime() && !entry.ForStart.Equal(p.c.Start)
	case "end date":
		if entry.Until == 0 {
			return entry.For != p.c.Surgery
		}
		return entry.Until < p.c.Surgery
	}
	return false
}

// toldATime: a fasting time, or a call about the times. It counts for one
// start only.
func (s *Step) toldATime() bool {
	for _, point := range s.Due {
		hours := point.Unit == Hours || point.Unit == Minutes
		if point.From == Surgery && (point.At != nil || hours && point.N != 0) {
			return true
		}
	}
	return false
}

// over says whether a moment has gone by.
func (p *planner) over(m Moment) bool { return !m.none() && !p.now.Before(p.ends(m)) }

// opened says whether an item can be done by now.
func (p *planner) opened(it Item) bool {
	if len(it.Waits) > 0 {
		return false
	}
	if !it.Opens.none() {
		return !p.now.Before(p.starts(it.Opens))
	}
	// With nothing to count from yet, it is not open before there is a date.
	if it.Due.none() {
		for _, points := range [][]Point{it.step.Opens, it.step.Due} {
			for _, point := range points {
				if isAnchor(point.From) {
					return false
				}
			}
		}
	}
	return true
}

// warned says whether what the item is due by (its last day or moment, where
// that comes first) is no further away than the days of warning.
func (p *planner) warned(it Item) bool {
	by := it.Due
	if by.none() || !it.Last.none() && p.sooner(it.Last, by) {
		by = it.Last
	}
	if by.none() {
		return false
	}
	if p.rules.WarningDays == 0 {
		return !p.now.Before(p.starts(by))
	}
	warning := wall{by.Day, 0}
	if !by.At.IsZero() {
		warning = p.place.shows(by.At)
	}
	warning.day = walk(warning.day, -p.rules.WarningDays)
	seconds := time.Duration(by.At.Second()) * time.Second
	return !p.now.Before(p.place.reaches(warning).Add(seconds))
}

func (p *planner) itemState(it Item) string {
	if it.entry != nil {
		switch it.entry.Kind {
		case "waived":
			return "waived"
		case "not needed":
			return "not-needed"
		case "failed":
			return "missed"
		case "done":
			if p.expired(it) {
				return "expired"
			}
			return "done"
		}
	}
	switch {
	case p.c.Cancelled && !it.step.Outlives, it.Applies == No:
		return "not-needed"
	case it.Applies == Unknown:
		return "upcoming"
	case it.step.Pauses && p.c.Held:
		return "paused"
	case p.over(it.Last), it.TooLate:
		return "missed"
	case it.Compressed && p.opened(it):
		return "due"
	case it.Compressed:
		return "upcoming"
	case p.over(it.Due):
		return "late"
	case !p.opened(it):
		return "upcoming"
	case p.warned(it):
		return "due"
	}
	return "open"
}
