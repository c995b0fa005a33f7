package casework

import (
	"context"
	"errors"
	"maps"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

const questionnaireType = "Questionnaire"

// addVersions reads a questionnaire in a version of its resource and all before
// it, so that answers to an earlier one are read by that.
func addVersions(tx *store.Tx, forms translate.Questionnaires, id string, last int64) error {
	for version := int64(1); version <= last; version++ {
		s, err := tx.Version(questionnaireType, id, version)
		if err != nil {
			return err
		}
		r, issues := fhir.Parse(s.Body, len(s.Body)+1)
		if len(issues) > 0 {
			return issues
		}
		q, err := translate.ReadQuestionnaire(r)
		if err != nil {
			return err
		}
		forms.Add(q)
	}
	return nil
}

// ReplaceQuestionnaire stores a questionnaire in place of the one with its id. It
// counts from the next version of the protocol on that is adopted, like a value
// set. It is refused with all that is wrong: what cannot be read, a condition on
// no question, a language that only some of it has, and every question that the
// protocol in force takes answers from and that it lacks.
func (o *Office) ReplaceQuestionnaire(ctx context.Context, n NewDefinition) (Result, error) {
	form, err := translate.ReadQuestionnaire(n.Resource)
	if err != nil {
		return Result{}, Refuse(ErrInvalid, fhir.CodeBusinessRule, "Questionnaire.item", err.Error())
	}
	var out Result
	err = o.db.Write(ctx, func(tx *store.Tx) error {
		cur, err := tx.Current(questionnaireType, n.ID)
		if errors.Is(err, store.ErrNotFound) {
			return Refuse(ErrNotAllowed, fhir.CodeNotSupported, "Questionnaire.id",
				"a questionnaire is replaced under its id, and no other is added: GET Questionnaire shows those that are here")
		}
		if err != nil {
			return err
		}
		if n.IfMatch != "" && strings.TrimSpace(n.IfMatch) != etag(cur.Version) {
			return Refuse(ErrVersion, "conflict", questionnaireType, "the Questionnaire has changed since the version named in If-Match: read it again")
		}
		if err := o.mayStandIn(tx, cur, form, n); err != nil {
			return err
		}
		received, err := tx.Archive(store.Received{
			At: tx.Now, Source: n.Source, ContentType: n.ContentType, Method: "PUT", Target: n.Target, Body: n.Body,
		})
		if err != nil {
			return err
		}
		out.Stored, err = o.publish(tx, n.Resource, received)
		out.Changed = out.Stored.Version > cur.Version
		return err
	})
	if err != nil {
		return Result{}, err
	}
	return out, nil
}

// mayStandIn refuses a questionnaire that cannot stand in the place of the one
// that is stored.
func (o *Office) mayStandIn(tx *store.Tx, cur store.Stored, form *translate.Questionnaire, n NewDefinition) error {
	forms := translate.Questionnaires{}
	if err := addVersions(tx, forms, n.ID, cur.Version); err != nil {
		return err
	}
	held, issues := fhir.Parse(cur.Body, len(cur.Body)+1)
	if len(issues) > 0 {
		return issues
	}
	url := held.String("url")
	refuse := func(at, text string) {
		issues = append(issues, fhir.Issue{Severity: fhir.SeverityError, Code: fhir.CodeBusinessRule, Expression: "Questionnaire." + at, Text: text})
	}
	switch {
	case n.Resource.ID() != n.ID:
		return Refuse(ErrMalformed, fhir.CodeInvariant, "Questionnaire.id", "Questionnaire.id must be the id that the address names")
	case form.URL != url:
		refuse("url", "the url must stay "+url+", by which protocols and answers name it")
		return &Refusal{Err: ErrInvalid, Issues: issues}
	case form.Version == "":
		refuse("version", "it is missing: answers name what they answer by it")
	case forms[url+"|"+form.Version] != nil && !sameForm(held, n.Resource):
		refuse("version", "this version is stored with another text: a change needs a new version, as answers name what they answer")
	}
	for _, text := range form.Replaces(forms[url], n.Resource) {
		refuse("item", text)
	}
	lacking, err := o.lacking(tx, forms[url], form)
	if err != nil {
		return err
	}
	for _, text := range lacking {
		refuse("item", "the protocol in force needs it otherwise: "+text)
	}
	if len(issues) > 0 {
		return &Refusal{Err: ErrInvalid, Issues: issues}
	}
	return nil
}

// sameForm reports whether two texts of a questionnaire differ in what the
// service writes into meta at most.
func sameForm(a, b *fhir.Resource) bool { return plainText(a) == plainText(b) }

// lacking is what the protocol in force would miss with a questionnaire in the
// place of another.
func (o *Office) lacking(tx *store.Tx, old, form *translate.Questionnaire) ([]string, error) {
	f, err := tx.InForce()
	if err != nil {
		return nil, err
	}
	p, err := o.protocolOf(tx, f.Canonical())
	if err != nil {
		return nil, err
	}
	out := p.Lacks(old, form)
	body, err := tx.Protocol(f.URL, f.Version)
	if err != nil {
		return nil, err
	}
	r, issues := fhir.Parse(body, DefinitionLimit)
	if len(issues) > 0 {
		return nil, issues
	}
	sets, err := tx.ProtocolSets(f.URL, f.Version)
	if err != nil {
		return nil, err
	}
	defs, err := o.definitions(tx, sets)
	if err != nil {
		return nil, err
	}
	defs.Questionnaires = maps.Clone(defs.Questionnaires)
	defs.Questionnaires.Add(form)
	_, err = translate.ReadProtocol(r, defs)
	faults := translate.Faults(r, err)
	if err != nil && faults == nil {
		return nil, err
	}
	for _, i := range faults {
		out = append(out, i.Text)
	}
	return out, nil
}
