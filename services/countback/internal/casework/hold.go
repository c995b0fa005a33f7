package casework

import (
	"strings"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/translate"
)

// holds carries the holds of the case on and lets those that stand, or that a
// person released, ask for their release.
func (w *writing) holds(grounds []readiness.Ground) {
	w.held, w.grounds = nil, grounds
	before := map[string]*translate.HoldRow{}
	for n := range w.heldBefore {
		before[w.heldBefore[n].Key] = &w.heldBefore[n]
	}
	p, c := w.protocol, &w.b.Case
	today := w.office.facility.Today(w.tx.Now)
	c.Grounds, c.Holds = w.grounds, readiness.Holds(c.Holds, w.grounds, c, p.Protocol, w.tx.Now)
	c.Hold(p.Protocol)
	for _, h := range c.Holds {
		id := w.flagOf(before[h.Key])
		v := translate.HoldView{Row: translate.HoldRowOf(id, h), Kind: p.Kind(h.Kind), Words: h.Words(w.grounds, c.Day, today), Clear: h.Clear(w.grounds, c.Day), Late: w.office.facility.LateWords(h)}
		if !h.Open() {
			v.Ended = w.endedWords(h)
		}
		v.Keep(before[h.Key])
		if h.Open() || h.How == readiness.Released {
			c.Raised = append(c.Raised, readiness.Raised{
				Trigger: readiness.TriggerHold, Key: h.Key, At: h.Raised, Why: v.Sentence(), Role: v.Kind.ReleasedBy,
			})
		}
		w.held = append(w.held, v)
	}
}

// flagOf is the id of a hold's Flag: of a new one a new id.
func (w *writing) flagOf(row *translate.HoldRow) string {
	if row == nil {
		return w.tx.NewID()
	}
	return row.ID
}

// endedWords says how a hold ended: who released it and why, or what became of
// its ground.
func (w *writing) endedWords(h readiness.Hold) string {
	switch h.How {
	case readiness.Withdrawn:
		return "Withdrawn: what it rested on was entered in error or refuted."
	case readiness.Supplied:
		if h.Kind != readiness.KindNoDate {
			return "Ended: for the date that stands, nothing that it waited for is missing."
		}
		return "Ended: there is a date again."
	case readiness.Over:
		return w.overWords()
	}
	out := "Released"
	for key, row := range w.rows {
		if key.Repeat == h.Key && row.Work != nil && row.Work.Outcome == readiness.Done {
			if who := translate.NameOf(row.Work.Owner); who != "" {
				out += " by " + who
			}
			if why := translate.TextOf(row.Work.StatusReason); why != "" {
				out += ": " + strings.TrimSuffix(why, ".")
			}
		}
	}
	return out + "."
}

// overWords say of a hold that a report ended what was reported, and by whom or in
// which record.
func (w *writing) overWords() string {
	c, source := &w.b.Case, ""
	switch {
	case c.Ending != readiness.Running:
		return "Ended with the case. " + translate.EndingWords(w.b)
	case w.b.Told != "":
		source = " " + w.b.Told
	case c.Seen != "":
		source = " " + c.Seen + " says so."
	}
	if c.Left.IsZero() {
		return "Ended: the person came, and the hour of the operation is past." + source
	}
	return "Ended: the person left the hospital." + source
}

// flags writes the Flag of each hold that differs.
func (w *writing) flags() error {
	for n := range w.held {
		if row := &w.held[n].Row; row.Ended.IsZero() || row.Tasks == nil {
			row.Tasks = w.itemTasks(row.Records)
		}
		v := w.held[n]
		v.Items = v.Row.Tasks
		body, err := w.office.facility.Flag(v, w.b.Patient, w.c.ID)
		if err != nil {
			return err
		}
		stored, changed, err := w.put("Flag", v.Row.ID, body)
		if err != nil {
			return err
		}
		if changed {
			w.flagged = append(w.flagged, stored)
			w.holdRefs = append(w.holdRefs, event.HoldRef{ID: stored.ID, Version: stored.Version, Category: v.Kind.Category})
		}
	}
	return nil
}

// itemTasks finds the Tasks of the items that a hold rests on: of several rounds
// the last.
func (w *writing) itemTasks(records []string) map[string]string {
	out := map[string]string{}
	for _, record := range records {
		of, ours := readiness.ItemOf(record)
		for round := 1; ours; round++ {
			of.Round = round
			if w.number[of] == 0 {
				break
			}
			out[record] = "Task/" + w.taskID(of)
		}
	}
	return out
}

// priorHolds are the holds of the case as they stood.
func (w *writing) priorHolds() []readiness.Hold {
	var out []readiness.Hold
	for n := range w.heldBefore {
		out = append(out, w.heldBefore[n].Hold())
	}
	return out
}

// raisedAnew reports whether a hold came to the case that was held already.
func (w *writing) raisedAnew() bool { return len(w.held) > len(w.heldBefore) }

func holdRows(held []translate.HoldView) []translate.HoldRow {
	var out []translate.HoldRow
	for _, v := range held {
		out = append(out, v.Row)
	}
	return out
}
