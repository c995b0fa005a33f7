package casework

import (
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// staff reads the Practitioner or PractitionerRole that a reference names; nil: it
// names none that is held here.
func (o *Office) staff(tx *store.Tx, reference string) *fhir.Resource {
	ref, err := fhir.ParseRef(reference, o.facility.Base)
	if err != nil || !ref.IsLocal() {
		return nil
	}
	typ, id, _ := strings.Cut(ref.Unversioned().String(), "/")
	if typ != "Practitioner" && typ != "PractitionerRole" {
		return nil
	}
	s, err := tx.Current(typ, id)
	if err != nil || s.Deleted {
		return nil // not held here: a name that nobody can read is none
	}
	r, err := o.parsed.get(s)
	if err != nil {
		return nil
	}
	return r
}

// professional gives the name of a professional by reference; empty: not known.
func (o *Office) professional(tx *store.Tx) func(reference string) string {
	return func(reference string) string {
		r := o.staff(tx, reference)
		if r != nil && r.String("resourceType") == "PractitionerRole" {
			if name := strings.TrimSpace(r.String("practitioner", "display")); name != "" {
				return name
			}
			r = o.staff(tx, r.String("practitioner", "reference"))
		}
		if r == nil || r.String("resourceType") != "Practitioner" {
			return ""
		}
		return translate.SpokenName(r)
	}
}

// whoIs gives what the records held here say of a professional by reference: of a
// role also what they say of the person in it.
func (o *Office) whoIs(tx *store.Tx) func(reference string) translate.Professional {
	return func(reference string) translate.Professional {
		var out translate.Professional
		r := o.staff(tx, reference)
		if r != nil && r.String("resourceType") == "PractitionerRole" {
			out.Take(r)
			r = o.staff(tx, r.String("practitioner", "reference"))
		}
		if r != nil && r.String("resourceType") == "Practitioner" {
			out.Take(r)
		}
		return out
	}
}
