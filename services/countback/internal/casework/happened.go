package casework

import (
	"encoding/json"
	"strings"
	"time"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// happened takes what people reported of the day of surgery into the case, and gives
// the case as the records alone have it.
func (w *writing) happened() *readiness.Case {
	c := &w.b.Case
	if w.b.Told != "" && c.Seen == "" { // what is supposed of a booking is planned again
		c.Arrived, c.Left = time.Time{}, time.Time{}
	}
	w.b.Told = ""
	known := *c
	for _, i := range w.oldItems {
		day, _ := readiness.AskedDay(i.Key.Repeat)
		if i.Step.Trigger != readiness.TriggerUnreported {
			continue
		}
		work := w.rows[i.Key].Work
		switch h, ok := w.office.facility.Happened(work); {
		case !ok:
		case day == known.Day:
			w.b.Report(h, work, w.office.facility)
		default:
			w.b.ReportOther(h, work, day, w.office.facility)
		}
	}
	return &known
}

// tells writes what an act says became of the operation as outputs of the Task, in
// place of those that were there.
func (o *Office) tells(t map[string]json.RawMessage, a *Act) error {
	var outputs []json.RawMessage
	if raw := translate.Unsigned(t["output"]); raw != nil {
		if err := json.Unmarshal(raw, &outputs); err != nil {
			return err
		}
	}
	add := func(code string, value map[string]any) error {
		value["type"] = codedAs(translate.SystemOutput, code)
		raw, err := json.Marshal(value)
		outputs = append(outputs, raw)
		return err
	}
	for _, of := range []struct{ code, day, hour, what string }{
		{translate.OutputArrived, a.Came, a.CameAt, "the person came"}, {translate.OutputWentHome, a.Home, a.HomeAt, "the person went home"},
	} {
		if strings.TrimSpace(of.day+of.hour) == "" {
			continue
		}
		value, err := o.dayOrHour(of.day, of.hour, "say on which day "+of.what, "the hour at which "+of.what+" is not a time of day")
		if err != nil {
			return err
		}
		if err := add(of.code, value); err != nil {
			return err
		}
	}
	if a.NotDone {
		if err := add(translate.OutputNotOperated, map[string]any{"valueBoolean": true}); err != nil {
			return err
		}
	}
	delete(t, "output")
	if len(outputs) == 0 {
		return nil // refused with the reason
	}
	var err error
	t["output"], err = json.Marshal(outputs)
	return err
}

// happenedWords are what the note on the Task says was reported.
func (a *Act) happenedWords() string {
	out := "Reported:"
	if a.NotDone {
		out += " the operation did not take place."
	}
	for _, of := range []struct{ what, day, hour string }{{"came", a.Came, a.CameAt}, {"went home", a.Home, a.HomeAt}} {
		if on := strings.TrimSpace(of.day + " " + of.hour); on != "" {
			out += " " + of.what + " " + on + "."
		}
	}
	return out
}

// Happened reports whether the item asks what became of an operation, and whether of
// the way home alone.
func (v *ItemView) Happened() (asks, homeOnly bool) {
	if v.Step.Trigger != readiness.TriggerUnreported {
		return false, false
	}
	_, homeOnly = readiness.AskedDay(v.Key.Repeat)
	return true, homeOnly
}
