package casework

import (
	"io/fs"
	"strings"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Where the embedded definitions lie: questionnaires, and all.
const (
	ourQuestionnaires = "fhir/Questionnaire-*.json"
	ourDefinitions    = "fhir/*.json"
)

// publishDefinitions stores the definitions of ours, so that whoever meets one of
// our extensions, codes, operations or search parameters, or shows a questionnaire
// to a person, can read it here. A text that changed is a new version.
func (o *Office) publishDefinitions(tx *store.Tx) error {
	names, err := fs.Glob(api.FHIR, ourDefinitions)
	if err != nil {
		return err
	}
	for _, name := range names {
		body, err := fs.ReadFile(api.FHIR, name)
		if err != nil {
			return err
		}
		r, issues := fhir.Parse(body, DefinitionLimit)
		if len(issues) > 0 {
			return issues
		}
		if _, err := o.publish(tx, r, 0); err != nil {
			return err
		}
	}
	return nil
}

// nothingStored stands in every refusal of answers.
const nothingStored = "Nothing was stored, and nobody has been told of these answers. In an emergency call your local emergency number now."

// unreadable refuses a response to a questionnaire of ours whose answers cannot
// be read: what somebody answered must not be passed over in silence.
func (r *receipt) unreadable(q *Request) error {
	forms := r.protocol.Questionnaires()
	form := forms.Of(q.Resource)
	if version := forms.Outdated(q.Resource); version != "" {
		return Refuse(ErrInvalid, fhir.CodeNotSupported, q.path("questionnaire"), "the version "+version+
			" of this questionnaire is none that the protocol in force reads; "+form.URL+"|"+form.Version+" is. "+nothingStored)
	}
	if form == nil || q.Resource.String("status") == "entered-in-error" {
		return nil
	}
	_, issues := form.Read(q.Resource)
	if len(issues) == 0 {
		return nil
	}
	for n := range issues {
		issues[n].Expression = q.path(strings.TrimPrefix(issues[n].Expression, q.Type+"."))
	}
	issues = append(issues, fhir.Issue{
		Severity: fhir.SeverityInformation, Code: "informational",
		Text: nothingStored,
	})
	return &Refusal{Err: ErrInvalid, Issues: issues}
}

// heard says what follows from a response: advice for the person, or why
// nothing does.
func (r *receipt) heard(s store.Stored, res *fhir.Resource) (advice, note string, err error) {
	switch form := r.protocol.Questionnaires().Of(res); {
	case res.Type != "QuestionnaireResponse" || res.String("status") == "entered-in-error":
		return "", "", nil
	case form == nil && !r.protocol.Knows(res):
		return "", "kept, and nothing follows from it: its questionnaire is none that is known here", nil
	case form == nil:
		return "", "", nil
	default:
		sorted, ok := form.Sort(res, r.tx.Now, r.office.facility.Calendar)
		if !ok {
			return "", form.Left(res), nil
		}
		told, err := r.told(s)
		return sorted.Advice + " " + told, "", err
	}
}

// What the sender of a symptom report is told of who else knows of it.
const (
	toldOffice = "The hospital has a task to call back. Do not wait for the call before you do what is said here."
	toldNobody = "The report was kept, but nobody at the hospital has been told of it: no hip or knee replacement is planned here for this person."
)

// told says whether a report reached a case, as it stands.
func (r *receipt) told(s store.Stored) (string, error) {
	if !strings.HasPrefix(s.Patient, "Patient/") {
		return toldNobody, nil
	}
	records, err := r.office.records(r.tx, s.Patient)
	if err != nil {
		return "", err
	}
	cases, err := r.tx.CasesOf(s.Patient)
	if err != nil {
		return "", err
	}
	taken := map[string]bool{}
	for _, b := range translate.Bookings(records, r.protocol, r.office.facility) {
		c := caseOf(cases, &b, taken)
		if c == nil {
			continue
		}
		taken[c.ID] = true
		for _, e := range b.Case.Raised {
			if e.Key == versioned(s) && r.protocol.Raises(e.Trigger) {
				return toldOffice, nil
			}
		}
	}
	return toldNobody, nil
}
