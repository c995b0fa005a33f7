package casework

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Event is one change of a case: everything that was written in one transaction.
type Event struct {
	At    time.Time
	Why   string // what led to it
	By    string // who, where a person did; empty: the service
	State string // that the case turned to; empty: as it was
	Lines []string
	More  int // items beyond those in Lines
}

// mostLines is how many items of one change are named; a new booking has eighty.
const mostLines = 8

// history tells the versions of the case's items and of its CarePlan, a
// transaction at a time.
func (v *CaseView) history(o *Office, tx *store.Tx, patient string) error {
	versions, err := tx.CaseVersions(v.ID)
	if err != nil {
		return err
	}
	at := map[int64]*Event{}
	event := func(t time.Time) *Event {
		if at[t.UnixMicro()] == nil {
			at[t.UnixMicro()] = &Event{At: t}
		}
		return at[t.UnixMicro()]
	}
	titles := map[readiness.Key]string{}
	for _, i := range v.Items {
		titles[i.Key] = i.Step.Title
	}
	var before *translate.Row
	notes := 0
	for n, it := range versions {
		row, err := rowOf(it)
		if err != nil {
			return err
		}
		if n == 0 || versions[n-1].N != it.N {
			before, notes = nil, 0
		}
		e := event(it.Updated)
		e.add(turned(titles[row.Key()], before, row))
		if before == nil && row.By != "" {
			e.By = row.By
		}
		if row.Work != nil {
			if list := notesIn(row.Work.Note); len(list) > notes {
				e.By, notes = list[len(list)-1].By, len(list)
			} else if by := translate.NameOf(row.Work.Owner); by != "" && workDiffers(before, row) {
				e.By = by
			}
		}
		before = row
	}
	if err := v.states(o, tx, event); err != nil {
		return err
	}
	if err := reasonsOf(tx, patient, at); err != nil {
		return err
	}
	for _, e := range at {
		v.TheirHistory = append(v.TheirHistory, *e)
	}
	slices.SortFunc(v.TheirHistory, func(a, b Event) int { return cmp.Compare(b.At.UnixMicro(), a.At.UnixMicro()) })
	return nil
}

func (e *Event) add(line string) {
	switch {
	case line == "":
	case len(e.Lines) < mostLines:
		e.Lines = append(e.Lines, line)
	default:
		e.More++
	}
}

func workDiffers(before, now *translate.Row) bool {
	if before == nil || before.Work == nil {
		return now.Work != nil
	}
	return before.Work.Outcome != now.Work.Outcome || string(before.Work.Owner) != string(now.Work.Owner)
}

// turned says what became of an item from one version to the next.
func turned(title string, before, now *translate.Row) string {
	if title == "" {
		title = now.Step
	}
	line := "“" + title + "”: "
	switch {
	case before == nil:
		return line + string(now.State)
	case before.State != now.State:
		line += string(before.State) + " → " + string(now.State)
	case before.Due != now.Due && now.Due != "":
		line += "due " + cmp.Or(before.Due, "without a date") + " → " + now.Due
	case workDiffers(before, now):
		line += "taken on by " + cmp.Or(ownerName(now), "somebody")
	default:
		line += "reworded or noted on"
	}
	if now.Work != nil && now.State != before.State && now.Work.Reason != "" {
		line += " (" + now.Work.Reason + ")"
	}
	return line
}

func ownerName(r *translate.Row) string {
	if r.Work == nil {
		return ""
	}
	return translate.NameOf(r.Work.Owner)
}

// states notes when the case turned to another state.
func (v *CaseView) states(_ *Office, tx *store.Tx, event func(time.Time) *Event) error {
	plans, err := tx.Versions("CarePlan", v.ID)
	if err != nil {
		return err
	}
	slices.Reverse(plans)
	was := ""
	for _, s := range plans {
		r, issues := fhir.Parse(s.Body, len(s.Body)+1)
		if len(issues) > 0 {
			return issues
		}
		for _, e := range r.Get("extension").Items() {
			if e.String("url") != translate.ExtensionBase+"readiness-state" {
				continue
			}
			if state := e.String("valueCodeableConcept", "coding", "code"); state != was {
				event(s.Updated).State, was = state, state
			}
		}
	}
	return nil
}

// reasonsOf adds from the Provenance of each change what led to it.
func reasonsOf(tx *store.Tx, patient string, at map[int64]*Event) error {
	kept, err := tx.OfPatient(patient, "Provenance")
	if err != nil {
		return err
	}
	for _, s := range kept {
		e := at[s.Updated.UnixMicro()]
		if e == nil {
			continue
		}
		r, issues := fhir.Parse(s.Body, len(s.Body)+1)
		if len(issues) > 0 {
			return issues
		}
		var sources []string
		for _, one := range r.Get("entity").Items() {
			typ, _, _ := strings.Cut(one.String("what", "reference"), "/")
			if !slices.Contains(sources, typ) {
				sources = append(sources, typ)
			}
		}
		switch why := r.String("reason", "text"); {
		case why != "":
			e.Why = why
		case len(sources) > 0:
			e.Why = "received: " + strings.Join(sources, ", ")
		default:
			e.Why = "somebody worked on it"
		}
	}
	return nil
}
