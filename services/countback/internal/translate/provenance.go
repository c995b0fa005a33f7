package translate

import (
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Act says what the service did and from what.
type Act struct {
	Activity string // code of v3-DataOperation: CREATE, UPDATE, CANCEL, ...
	Why      string
	At       time.Time
	Targets  []string // versioned references to what was written
	Sources  []string // versioned references to what it was written from
	Protocol string   // canonical|version of the rules applied
	// Told says why targets stand as they do, by reference; those that are not
	// in it are told by the protocol and by the target itself.
	Told map[string]Told
}

// Told is why an item stands as it does: what changed, the sentence that its
// Task tells, and where the rule comes from.
type Told struct {
	Change  string
	Rule    string
	Sources []readiness.Source
}

// Tell gives the rule of an item by the protocol that it is rendered by.
func (f Facility) Tell(r *Row, p *Protocol) Told {
	i := r.Item(p, f)
	return Told{Rule: p.Why(&i), Sources: i.Step.Sources}
}

// MostTold is the most items of one change whose rules its Provenance repeats.
// A change by time or of one item fits; a new booking has some eighty items, and
// repeating their sentences would take more room than all the rest of the
// record: there, each target names the version of the Task that tells its rule,
// and policy the version of the protocol.
const MostTold = 8

// Provenance renders the record of one change, without id and meta.
func (f Facility) Provenance(a Act) ([]byte, error) {
	who := r4.Reference{Display: new("Countback, planning by protocol")}
	var targets []r4.Reference
	for _, t := range a.Targets {
		target := *reference(t)
		if told, ok := a.Told[t]; ok {
			target.Extension = told.extensions()
		}
		targets = append(targets, target)
	}
	p := fhir.NewProvenance(a.At.In(f.Calendar.Zone()), who, targets[0], targets[1:]...)
	p.Activity = concept("http://terminology.hl7.org/CodeSystem/v3-DataOperation", a.Activity, "")
	p.Policy = []string{a.Protocol}
	if a.Why != "" {
		p.Reason = []r4.CodeableConcept{{Text: &a.Why}}
	}
	for _, s := range a.Sources {
		p.Entity = append(p.Entity, r4.ProvenanceEntity{Role: r4.ProvenanceEntityRoleSource, What: *reference(s)})
	}
	return fhir.Marshal(p)
}

func (t Told) extensions() []r4.Extension {
	var out []r4.Extension
	if t.Change != "" {
		out = append(out, stringExtension("change", t.Change))
	}
	if t.Rule != "" {
		out = append(out, stringExtension("rule", t.Rule))
	}
	for _, s := range t.Sources {
		out = append(out, sourceExtension(s))
	}
	return out
}
