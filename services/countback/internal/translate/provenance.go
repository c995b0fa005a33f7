package translate

import (
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
)

// Act says what the service did and from what.
type Act struct {
	Activity string // code of v3-DataOperation: CREATE, UPDATE, CANCEL, ...
	Why      string
	At       time.Time
	Targets  []string // versioned references to what was written
	Sources  []string // versioned references to what it was written from
	Protocol string   // canonical|version of the rules applied
}

// Provenance renders the record of one change, without id and meta.
func (f Facility) Provenance(a Act) ([]byte, error) {
	who := r4.Reference{Display: new("Countback, planning by protocol")}
	var targets []r4.Reference
	for _, t := range a.Targets {
		targets = append(targets, *reference(t))
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
