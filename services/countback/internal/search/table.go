package search

import "slices"

// base of the canonicals of FHIR and of this service.
const (
	hl7    = "http://hl7.org/fhir/"
	own    = "http://countback.example/fhir/"
	params = "SearchParameter/"
)

// Systems of the tokens that an item's columns stand for. The rendered Task
// carries the same ones.
const (
	SystemStep       = own + "CodeSystem/step"
	SystemItemState  = own + "CodeSystem/item-state"
	SystemTaskStatus = hl7 + "task-status"
	SystemTask       = own + "identifier/task" // Task.identifier: the id of the item
	SystemCase       = own + "identifier/case" // Task.groupIdentifier: the id of the case
)

// table has one list for each type that can be searched. Each row is a search
// parameter of R4, by the end of its canonical, but for those of our own.
var table = merged(ownTable, bookingTable, peopleTable, factsTable, definitionTable, subscriptionTable)

func merged(tables ...map[string][]Param) map[string][]Param {
	out := map[string][]Param{}
	for _, t := range tables {
		for typ, params := range t {
			out[typ] = params
		}
	}
	return out
}

// ownTable has the parameters of what this service makes.
var ownTable = map[string][]Param{
	"CarePlan": rows(
		concepts("activity-code", "CarePlan-activity-code", "activity", "detail", "code"),
		dates("activity-date", "CarePlan-activity-date", "activity.detail.scheduledTiming", "activity.detail.scheduledPeriod"),
		Param{Code: "activity-reference", Kind: Reference, Definition: "CarePlan-activity-reference", Column: ColumnActivity, Targets: []string{"Task"}, path: []string{"activity", "reference"}},
		references("based-on", "CarePlan-based-on", []string{"CarePlan"}, "basedOn"),
		references("care-team", "CarePlan-care-team", []string{"CareTeam"}, "careTeam"),
		concepts("category", "CarePlan-category", "category"),
		references("condition", "CarePlan-condition", []string{"Condition"}, "addresses"),
		dates("date", "clinical-date", "period"),
		references("encounter", "CarePlan-encounter", []string{"Encounter"}, "encounter"),
		references("goal", "CarePlan-goal", []string{"Goal"}, "goal"),
		identifiers("clinical-identifier"),
		canonicals("instantiates-canonical", "CarePlan-instantiates-canonical", "instantiatesCanonical"),
		uris("instantiates-uri", "CarePlan-instantiates-uri", "instantiatesUri"),
		codes("intent", "CarePlan-intent", hl7+"request-intent", "intent"),
		references("part-of", "CarePlan-part-of", []string{"CarePlan"}, "partOf"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		references("performer", "CarePlan-performer", []string{"Practitioner", "Organization", "CareTeam", "Device", "Patient", "HealthcareService", "PractitionerRole", "RelatedPerson"}, "activity", "detail", "performer"),
		references("replaces", "CarePlan-replaces", []string{"CarePlan"}, "replaces"),
		codes("status", "CarePlan-status", hl7+"request-status", "status"),
		references("subject", "CarePlan-subject", []string{"Group", "Patient"}, "subject"),
	),
	"Flag": append(rows(
		references("author", "Flag-author", []string{"Practitioner", "Organization", "Device", "Patient", "PractitionerRole"}, "author"),
		dates("date", "clinical-date", "period"),
		references("encounter", "clinical-encounter", []string{"Encounter", "EpisodeOfCare"}, "encounter"),
		identifiers("Flag-identifier"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		references("subject", "Flag-subject", []string{"Practitioner", "Group", "Organization", "Medication", "Patient", "PlanDefinition", "Procedure", "Location"}, "subject"),
	), flagStatus()),
	"Provenance": rows(
		// Whose plan it is about, also where no target says so.
		Param{Code: "patient", Kind: Reference, Definition: "Provenance-patient", Column: ColumnPatient, Targets: []string{"Patient"}},
		references("agent", "Provenance-agent", []string{"Practitioner", "Organization", "Device", "Patient", "PractitionerRole", "RelatedPerson"}, "agent", "who"),
		concepts("agent-role", "Provenance-agent-role", "agent", "role"),
		concepts("agent-type", "Provenance-agent-type", "agent", "type"),
		references("entity", "Provenance-entity", nil, "entity", "what"),
		references("location", "Provenance-location", []string{"Location"}, "location"),
		instants("recorded", "Provenance-recorded", "recorded"),
		codings("signature-type", "Provenance-signature-type", "signature", "type"),
		targets(),
		dates("when", "Provenance-when", "occurredDateTime"),
	),
	"Task": columns(
		column(Token, "identifier", hl7+params+"Task-identifier", ColumnIdentifier, SystemTask),
		column(Token, "group-identifier", hl7+params+"Task-group-identifier", ColumnCase, SystemCase),
		column(Token, "code", hl7+params+"Task-code", ColumnStep, SystemStep),
		column(Token, "status", hl7+params+"Task-status", ColumnStatus, SystemTaskStatus),
		column(Token, "business-status", hl7+params+"Task-business-status", ColumnState, SystemItemState),
		column(Date, "due", own+params+"task-due", ColumnDue, ""),
		column(Date, "opens", own+params+"task-opens", ColumnOpens, ""),
		column(Token, "intent", hl7+params+"Task-intent", ColumnIntent, hl7+"task-intent"),
		column(Date, "authored-on", hl7+params+"Task-authored-on", ColumnAuthored, ""),
		column(Date, "modified", hl7+params+"Task-modified", ColumnUpdated, ""),
		referenceColumn("patient", "Task-patient", ColumnPatient, "for", "Patient"),
		referenceColumn("subject", "Task-subject", ColumnPatient, "for", "Patient"),
		referenceColumn("focus", "Task-focus", ColumnFocus, "focus", "Procedure", "ServiceRequest", "Appointment"),
		referenceColumn("based-on", "Task-based-on", ColumnBasedOn, "basedOn", "ServiceRequest"),
		referenceColumn("owner", "Task-owner", ColumnOwner, "owner", "Practitioner", "PractitionerRole", "Organization",
			"CareTeam", "HealthcareService", "Patient", "Device", "RelatedPerson"),
	),
}

// flagStatus is a parameter of our own: R4 has none for the status of a Flag.
func flagStatus() Param {
	return codes("status", own+params+"flag-status", hl7+"flag-status", "status")
}

// common are the parameters of every type.
var common = []Param{
	{Code: "_id", Kind: Token, Definition: hl7 + params + "Resource-id", Column: ColumnID},
	{Code: "_lastUpdated", Kind: Date, Definition: hl7 + params + "Resource-lastUpdated", Column: ColumnUpdated},
}

// commonRows are the parameters of meta, of every type that is stored as it was
// sent or written. A Task has nothing that they would find.
var commonRows = []Param{
	codings("_tag", "Resource-tag", "meta", "tag"),
	codings("_security", "Resource-security", "meta", "security"),
	uris("_profile", "Resource-profile", "meta", "profile"),
	uris("_source", "Resource-source", "meta", "source"),
}

func rows(own ...Param) []Param {
	out := append([]Param(nil), common...)
	for _, p := range slices.Concat(commonRows, own) {
		p.Definition = hl7 + params + p.Definition
		out = append(out, p)
	}
	return out
}

func columns(own ...Param) []Param {
	return append(append([]Param(nil), common...), own...)
}

func column(kind Kind, code, definition string, c Column, system string) Param {
	return Param{Code: code, Kind: kind, Definition: definition, Column: c, System: system}
}

func referenceColumn(code, definition string, c Column, element string, targets ...string) Param {
	return Param{Code: code, Kind: Reference, Definition: hl7 + params + definition, Column: c, Targets: targets, path: []string{element}}
}

// onlyType is a parameter that sees only the references of other's rows that
// point to one type: R4 defines patient as subject "where resolve() is Patient".
func onlyType(code, definition, target, other string) Param {
	return Param{Code: code, Kind: Reference, Definition: definition, Targets: []string{target}, rows: other, only: target}
}
