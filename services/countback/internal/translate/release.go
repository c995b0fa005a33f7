package translate

import "example.org/countback/pkg/fhir"

// released asks that whoever releases a hold is named, and says why; and of one
// that rests on a signature at which nobody else has looked, that it is not
// whoever signed: else the second look could be gone around.
func released(sent *fhir.Resource, o WorkOptions) fhir.Issues {
	switch {
	case !ownedByPerson(sent.Get("owner")):
		return refuse("owner", "required", "Task.owner is missing, or names no person: a hold is released by a named person; give Task.owner as a Practitioner or PractitionerRole, or with the name as its display")
	case reasonText(sent) == "":
		return refuse("statusReason", "required", "Task.statusReason is missing: say in statusReason.text why surgery may go ahead")
	}
	for _, signer := range o.Unseen {
		if issues := another(sent.Bytes(sent.Get("owner")), signer, o, "this hold is for a signature that nobody else has looked at, and another person releases it"); len(issues) > 0 {
			return issues
		}
	}
	return nil
}
