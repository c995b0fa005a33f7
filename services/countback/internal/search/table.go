package search

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

// table has one list for each type that can be searched.
var table = map[string][]Param{
	"Appointment": rows(
		identifiers("Appointment-identifier"),
		references("actor", "Appointment-actor", nil, "participant", "actor"),
		onlyType("patient", "Appointment-patient", "Patient", "actor"),
		onlyType("practitioner", "Appointment-practitioner", "Practitioner", "actor"),
		onlyType("location", "Appointment-location", "Location", "actor"),
		codes("status", "Appointment-status", hl7+"appointmentstatus", "status"),
		instants("date", "Appointment-date", "start"),
		references("based-on", "Appointment-based-on", []string{"ServiceRequest"}, "basedOn"),
	),
	"Procedure": rows(
		identifiers("clinical-identifier"),
		references("subject", "Procedure-subject", []string{"Group", "Patient"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "Procedure-status", hl7+"event-status", "status"),
		concepts("code", "clinical-code", "code"),
		dates("date", "clinical-date", "performedDateTime", "performedPeriod"),
		references("based-on", "Procedure-based-on", []string{"CarePlan", "ServiceRequest"}, "basedOn"),
		references("encounter", "clinical-encounter", []string{"Encounter"}, "encounter"),
	),
	"ServiceRequest": rows(
		identifiers("clinical-identifier"),
		references("subject", "ServiceRequest-subject", []string{"Group", "Device", "Patient", "Location"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "ServiceRequest-status", hl7+"request-status", "status"),
		concepts("code", "clinical-code", "code"),
		dates("occurrence", "ServiceRequest-occurrence", "occurrenceDateTime", "occurrencePeriod", "occurrenceTiming"),
		dates("authored", "ServiceRequest-authored", "authoredOn"),
		references("based-on", "ServiceRequest-based-on", []string{"CarePlan", "MedicationRequest", "ServiceRequest"}, "basedOn"),
	),
	"Patient": rows(
		identifiers("Patient-identifier"),
		names("name", "Patient-name"),
		texts("family", "individual-family", "name", "family"),
		texts("given", "individual-given", "name", "given"),
		codes("gender", "individual-gender", hl7+"administrative-gender", "gender"),
		dates("birthdate", "individual-birthdate", "birthDate"),
	),
	"RelatedPerson": rows(
		identifiers("RelatedPerson-identifier"),
		references("patient", "RelatedPerson-patient", []string{"Patient"}, "patient"),
		names("name", "RelatedPerson-name"),
		concepts("relationship", "RelatedPerson-relationship", "relationship"),
	),
	"Practitioner": rows(
		identifiers("Practitioner-identifier"),
		names("name", "Practitioner-name"),
		texts("family", "individual-family", "name", "family"),
		texts("given", "individual-given", "name", "given"),
	),
	"Location": rows(
		identifiers("Location-identifier"),
		texts("name", "Location-name", "name"),
		codes("status", "Location-status", hl7+"location-status", "status"),
	),
	"Encounter": rows(
		identifiers("clinical-identifier"),
		references("subject", "Encounter-subject", []string{"Group", "Patient"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "Encounter-status", hl7+"encounter-status", "status"),
		dates("date", "clinical-date", "period"),
		references("appointment", "Encounter-appointment", []string{"Appointment"}, "appointment"),
	),
	"CareTeam": rows(
		identifiers("clinical-identifier"),
		references("subject", "CareTeam-subject", []string{"Group", "Patient"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "CareTeam-status", hl7+"care-team-status", "status"),
		references("participant", "CareTeam-participant", nil, "participant", "member"),
	),
	"Condition": rows(
		identifiers("clinical-identifier"),
		references("subject", "Condition-subject", []string{"Group", "Patient"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		concepts("code", "clinical-code", "code"),
		concepts("clinical-status", "Condition-clinical-status", "clinicalStatus"),
	),
	"Observation": rows(
		identifiers("clinical-identifier"),
		references("subject", "Observation-subject", []string{"Group", "Device", "Patient", "Location"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "Observation-status", hl7+"observation-status", "status"),
		concepts("code", "clinical-code", "code"),
		dates("date", "clinical-date", "effectiveDateTime", "effectivePeriod", "effectiveInstant", "effectiveTiming"),
	),
	"DiagnosticReport": rows(
		identifiers("clinical-identifier"),
		references("subject", "DiagnosticReport-subject", []string{"Group", "Device", "Patient", "Location"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "DiagnosticReport-status", hl7+"diagnostic-report-status", "status"),
		concepts("code", "clinical-code", "code"),
		dates("date", "clinical-date", "effectiveDateTime", "effectivePeriod"),
	),
	"QuestionnaireResponse": rows(
		identifiers("QuestionnaireResponse-identifier"),
		references("subject", "QuestionnaireResponse-subject", nil, "subject"),
		onlyType("patient", "QuestionnaireResponse-patient", "Patient", "subject"),
		codes("status", "QuestionnaireResponse-status", hl7+"questionnaire-answers-status", "status"),
		canonicals("questionnaire", "QuestionnaireResponse-questionnaire", "questionnaire"),
		dates("authored", "QuestionnaireResponse-authored", "authored"),
	),
	"Questionnaire": rows(
		uris("url", "Questionnaire-url", "url"),
		codes("status", "Questionnaire-status", hl7+"publication-status", "status"),
		texts("title", "Questionnaire-title", "title"),
	),
	"MedicationStatement": rows(
		identifiers("clinical-identifier"),
		references("subject", "MedicationStatement-subject", []string{"Group", "Patient"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "medications-status", hl7+"CodeSystem/medication-statement-status", "status"),
		concepts("code", "clinical-code", "medicationCodeableConcept"),
		dates("effective", "MedicationStatement-effective", "effectiveDateTime", "effectivePeriod"),
	),
	"MedicationRequest": rows(
		identifiers("clinical-identifier"),
		references("subject", "MedicationRequest-subject", []string{"Group", "Patient"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "medications-status", hl7+"CodeSystem/medicationrequest-status", "status"),
		concepts("code", "clinical-code", "medicationCodeableConcept"),
		dates("authoredon", "MedicationRequest-authoredon", "authoredOn"),
	),
	"AllergyIntolerance": rows(
		identifiers("clinical-identifier"),
		references("patient", "clinical-patient", []string{"Patient"}, "patient"),
		concepts("clinical-status", "AllergyIntolerance-clinical-status", "clinicalStatus"),
		concepts("code", "clinical-code", "code"),
	),
	"PlanDefinition": rows(
		identifiers("PlanDefinition-identifier"),
		uris("url", "PlanDefinition-url", "url"),
		codes("version", "PlanDefinition-version", "", "version"),
		codes("status", "PlanDefinition-status", hl7+"publication-status", "status"),
	),
	"ValueSet": rows(
		identifiers("conformance-identifier"),
		uris("url", "conformance-url", "url"),
		codes("version", "conformance-version", "", "version"),
		codes("status", "conformance-status", hl7+"publication-status", "status"),
	),
	"CarePlan": rows(
		identifiers("clinical-identifier"),
		references("subject", "CarePlan-subject", []string{"Group", "Patient"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		codes("status", "CarePlan-status", hl7+"request-status", "status"),
		dates("date", "clinical-date", "period"),
		canonicals("instantiates-canonical", "CarePlan-instantiates-canonical", "instantiatesCanonical"),
	),
	"Flag": append(rows(
		identifiers("Flag-identifier"),
		references("subject", "Flag-subject", []string{"Group", "Patient", "Location", "Practitioner", "Organization", "Medication", "PlanDefinition", "Procedure"}, "subject"),
		onlyType("patient", "clinical-patient", "Patient", "subject"),
		dates("date", "clinical-date", "period"),
	), flagStatus()),
	"Provenance": rows(
		// Whose plan it is about; what it targets is sixty Tasks at a time, which
		// would be most of the index.
		Param{Code: "patient", Kind: Reference, Definition: "Provenance-patient", Column: ColumnPatient, Targets: []string{"Patient"}},
		instants("recorded", "Provenance-recorded", "recorded"),
	),
	"Task": columns(
		column(Token, "identifier", hl7+params+"Task-identifier", ColumnIdentifier, SystemTask),
		column(Token, "group-identifier", hl7+params+"Task-group-identifier", ColumnCase, SystemCase),
		column(Token, "code", hl7+params+"Task-code", ColumnStep, SystemStep),
		column(Token, "status", hl7+params+"Task-status", ColumnStatus, SystemTaskStatus),
		column(Token, "business-status", hl7+params+"Task-business-status", ColumnState, SystemItemState),
		column(Date, "due", own+params+"task-due", ColumnDue, ""),
		column(Date, "opens", own+params+"task-opens", ColumnOpens, ""),
		referenceColumn("patient", "Task-patient", ColumnPatient, "Patient"),
		referenceColumn("owner", "Task-owner", ColumnOwner, "Practitioner", "PractitionerRole", "Organization",
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

func rows(own ...Param) []Param {
	out := append([]Param(nil), common...)
	for _, p := range own {
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

func referenceColumn(code, definition string, c Column, targets ...string) Param {
	return Param{Code: code, Kind: Reference, Definition: hl7 + params + definition, Column: c, Targets: targets}
}

// onlyType is a parameter that sees only the references of other's rows that
// point to one type: R4 defines patient as subject "where resolve() is Patient".
func onlyType(code, definition, target, other string) Param {
	return Param{Code: code, Kind: Reference, Definition: definition, Targets: []string{target}, rows: other, only: target}
}
