package fhirapi

import (
	"encoding/json"
	"fmt"
	"strings"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
)

const restDocumentation = "JSON in UTF-8 only, no XML and no compressed bodies. " +
	"A condition is any search parameters of the type, an identifier with its system, without chains, _has and what shapes a result; a reference in a transaction may name what it means by identifier=system|value. If-Match is always obeyed and never demanded. " +
	"An Appointment, Procedure, ServiceRequest or Encounter that comes by POST with exactly the identifiers of one that is held updates that one. " +
	"A create or update answers with the resource, and an entry of a Bundle without it, unless Prefer: return says otherwise. " +
	"The GET entries of a transaction are carried out after its commit. " +
	"Unknown search parameters are left out of the link self, or refused under Prefer: handling=strict. " +
	"A PATCH is a JSON Patch, or a FHIRPath Patch (Parameters). " +
	"What the hospital sent can be deleted, and its history stays; a deleted booking counts as entered in error. A Patient of whom something is held cannot be deleted."

// documentation says what is special about a type.
func (o offer) documentation() string {
	switch {
	case o.received:
		return "Sent by the hospital; kept and given back as it was sent, but for id, meta and references that are resolved."
	case o.worked:
		return "Made by this service. People change status, statusReason, owner, note, output and executionPeriod, with PUT or PATCH, by id and outside transactions; meta, text, businessStatus and lastModified of what is sent are ignored, and any other difference is refused."
	case o.asked:
		return "Who cannot use NATS is told by rest-hook, as the Subscriptions R5 Backport has it: criteria is the canonical of a topic, see the extensions here; payload content id-only or empty. A client asks for status requested or off; a handshake must be answered. Notifications are signed (RFC 9421), in order, and come at least once."
	case o.typ == definitionType:
		return "The protocol in force, and the versions before it. A new version that a named approver of the hospital has signed is put in its place by id and outside transactions: from then on it is planned by, and open cases are planned again. What it would change can be seen before, with the operation preview."
	case o.typ == formType:
		return "What persons are asked. A questionnaire is replaced by id and outside transactions, with a new version; its url stays, and so do the questions that the protocol in force takes answers from. A version of the protocol keeps the questionnaires that it was adopted with, and reads answers to earlier versions by those."
	case o.typ == setType:
		return "What the protocol names. A set is made or replaced by id and outside transactions; its url stays. A version of the protocol keeps the sets that it was adopted with: a change counts from the next version on that is adopted. Only compose is read: codes of a named system, and a regex on code."
	}
	return "Made by this service and read only."
}

const productDescription = "Countback: what an elective hip or knee replacement patient must have done, planned from the day of surgery"

// Statement is the CapabilityStatement of the software wherever it runs: what is
// published of it, as of a date. base is where its canonical url lies.
func Statement(base, version, date string) ([]byte, error) {
	cs := fhir.NewCapabilityStatement(r4.PublicationStatusActive, r4.CapabilityStatementKindCapability, date, mediaType, "json")
	cs.Id = new("countback")
	cs.Version = &version
	return stated(cs, base, version, productDescription)
}

// statement is the CapabilityStatement of this server.
func (s *server) statement() ([]byte, error) {
	cs := fhir.NewCapabilityStatement(r4.PublicationStatusActive, r4.CapabilityStatementKindInstance,
		fhir.FormatInstant(s.Now().In(s.Zone)), mediaType, "json")
	description := s.Description
	if description == "" {
		description = productDescription
	}
	cs.Implementation = &r4.CapabilityStatementImplementation{Description: description, Url: &s.Base}
	return stated(cs, s.Base, s.Version, description)
}

// stated fills a CapabilityStatement in, from the tables that serve.
func stated(cs *fhir.CapabilityStatement, base, version, description string) ([]byte, error) {
	cs.Url = new(base + "/metadata")
	cs.PatchFormat = []string{patchType, mediaType}
	cs.Name, cs.Title = new("Countback"), new("Countback")
	cs.Description = &description
	cs.Software = &r4.CapabilityStatementSoftware{Name: "Countback"}
	if version != "" {
		cs.Software.Version = &version
	}
	rest := r4.CapabilityStatementRest{
		Mode: r4.RestfulCapabilityModeServer, Documentation: new(restDocumentation),
		Interaction: []r4.CapabilityStatementRestInteraction{
			{Code: r4.SystemRestfulInteractionTransaction}, {Code: r4.SystemRestfulInteractionBatch},
			{Code: r4.SystemRestfulInteractionHistorySystem},
		},
	}
	rest.Operation = []r4.CapabilityStatementRestResourceOperation{{Name: foreseeOperation, Definition: operationBase + foreseeOperation}}
	for _, o := range offers {
		res, err := o.statement()
		if err != nil {
			return nil, err
		}
		rest.Resource = append(rest.Resource, res)
	}
	cs.Rest = []r4.CapabilityStatementRest{rest}
	body, err := fhir.Marshal(cs)
	if err != nil {
		return nil, err
	}
	if _, issues := fhir.Parse(body, len(body)); len(issues) > 0 {
		return nil, fmt.Errorf("capability statement: %w", issues)
	}
	return body, nil
}

func (o offer) statement() (r4.CapabilityStatementRestResource, error) {
	updates := o.allows(update)
	out := r4.CapabilityStatementRestResource{
		Documentation: new(o.documentation()),
		Operation:     operationsOf(o.typ),
		// Not versioned-update: If-Match is obeyed, and not demanded.
		Versioning:        new(r4.ResourceVersionPolicyVersioned),
		ReadHistory:       new(true), // old versions can be read one by one
		UpdateCreate:      new(updates && (o.received || o.asked || o.typ == setType)),
		ConditionalCreate: new(o.allows(create) && !o.asked),
		ConditionalRead:   new(r4.ConditionalReadStatusFullSupport),
		ConditionalUpdate: new(o.allows(conditionalUpdate)),
		ConditionalDelete: new(r4.ConditionalDeleteStatusNotSupported),
		ReferencePolicy:   []r4.ReferenceHandlingPolicy{r4.ReferenceHandlingPolicyLiteral, r4.ReferenceHandlingPolicyLogical},
	}
	if out.Extension = topicsOf(o); o.asked {
		out.SupportedProfile = []string{backportProfile}
	}
	if o.allows(conditionalDelete) {
		out.ConditionalDelete = new(r4.ConditionalDeleteStatusSingle)
	}
	if err := code(&out.Type, o.typ); err != nil {
		return out, err
	}
	for _, i := range o.interactions() {
		if i.conditional() { // an attribute, not an interaction
			continue
		}
		one := r4.CapabilityStatementRestResourceInteraction{}
		if err := code(&one.Code, string(i)); err != nil {
			return out, err
		}
		out.Interaction = append(out.Interaction, one)
	}
	for _, op := range protocolOperations {
		if op.typ == o.typ {
			out.Operation = append(out.Operation, r4.CapabilityStatementRestResourceOperation{Name: op.name, Definition: op.definition()})
		}
	}
	if o.validated() {
		out.Operation = append(out.Operation, r4.CapabilityStatementRestResourceOperation{Name: validateOperation, Definition: validateDefinition})
	}
	for _, p := range search.For(o.typ) {
		one := r4.CapabilityStatementRestResourceSearchParam{Name: p.Code, Definition: new(p.Definition)}
		if err := code(&one.Type, p.Kind.String()); err != nil {
			return out, err
		}
		if len(p.Targets) > 0 {
			one.Documentation = new("points to " + strings.Join(p.Targets, ", "))
		}
		out.SearchParam = append(out.SearchParam, one)
	}
	out.SearchInclude, out.SearchRevInclude = includes(o.typ)
	return out, nil
}

// includes lists what a search of a type can bring along.
func includes(typ string) (forth, back []string) {
	for _, other := range search.Types() {
		for _, p := range search.For(other) {
			if other == typ && p.Included() {
				forth = append(forth, typ+":"+p.Code)
			}
			if p.IncludedBy(typ) {
				back = append(back, other+":"+p.Code)
			}
		}
	}
	return forth, back
}

// code sets one of the library's enumerations by its FHIR code.
func code(into json.Unmarshaler, text string) error {
	if err := into.UnmarshalJSON([]byte(text)); err != nil {
		return fmt.Errorf("capability statement: no such code as %q: %w", text, err)
	}
	return nil
}
