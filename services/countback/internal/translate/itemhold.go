package translate

import (
	"encoding/json"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// itemHolds reads the rules on holds that follow from a case's own items: the
// extensions item-hold of the step that releases holds.
func (rd *definitionReader) itemHolds(a *fhir.Node) {
	for _, e := range extensions(a, "item-hold") {
		str := func(name string) string { return value(part(e, name)).Text() }
		r := readiness.ItemHold{
			Kind: str("kind"), Missed: str("missed"), Later: str("later"), Undecided: str("undecided"), Unsigned: str("unsigned"), Unseen: str("unseen"), Outside: str("outside"), Expired: str("expired"),
			Left: rd.offset(value(part(e, "left")), 1, false).N, Supplied: value(part(e, "supplied")).Bool(),
		}
		for _, p := range e.Get("extension").Items() {
			if p.String("url") == "actionId" {
				r.Steps = append(r.Steps, value(p).Text())
			}
		}
		if r.Kind == "" || r.Missed == "" {
			rd.fault("item-hold needs kind and missed")
		}
		if (r.Expired == "") != (r.Left == 0) {
			rd.fault("item-hold needs both expired and left, or neither")
		}
		rd.watched = append(rd.watched, r)
	}
}

// watchedSteps checks that the steps that item-hold names are there.
func (rd *definitionReader) watchedSteps(p *readiness.Protocol) {
	p.ItemHolds = rd.watched
	known := map[string]bool{}
	for n := range p.Steps {
		known[p.Steps[n].Code] = true
	}
	for _, r := range rd.watched {
		for _, code := range r.Steps {
			if !known[code] {
				rd.faults = append(rd.faults, "item-hold names the step "+code+", which is no action of this protocol")
			}
		}
	}
}

// doneAt is the instant at which something was done, where the Task tells one.
func doneAt(period json.RawMessage) time.Time {
	var p struct{ End string }
	if json.Unmarshal(period, &p) != nil {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339, p.End)
	if err != nil {
		return time.Time{}
	}
	return t
}
