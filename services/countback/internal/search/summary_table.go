package search

// summaryElements are the top-level elements of each type that a summary holds;
// one with a star is mandatory or changes the meaning of the others, and is kept
// whatever is asked for. Of an element with several types each name is listed.
//
// Source: the StructureDefinitions of HL7 FHIR R4 (4.0.1): isSummary, min and
// isModifier.
var summaryElements = map[string]string{
	"AllergyIntolerance": "modifierExtension* identifier clinicalStatus* verificationStatus* type category criticality code patient* " +
		"asserter",
	"Appointment": "modifierExtension* identifier status* cancelationReason serviceCategory serviceType specialty appointmentType " +
		"reasonCode start end participant*",
	"CarePlan": "modifierExtension* identifier instantiatesCanonical instantiatesUri basedOn replaces partOf status* intent* " +
		"category title description subject* encounter period created author addresses",
	"CareTeam": "modifierExtension* identifier status* category name subject encounter period managingOrganization",
	"CodeSystem": "modifierExtension* url identifier version name title status* experimental date publisher contact useContext " +
		"jurisdiction caseSensitive valueSet hierarchyMeaning compositional versionNeeded content* supplements count " +
		"filter property",
	"Condition": "modifierExtension* identifier clinicalStatus* verificationStatus* code bodySite subject* encounter " +
		"onsetDateTime onsetAge onsetPeriod onsetRange onsetString recordedDate recorder asserter",
	"DiagnosticReport": "modifierExtension* identifier status* category code* subject encounter effectiveDateTime effectivePeriod " +
		"issued performer resultsInterpreter media",
	"Encounter": "modifierExtension* identifier status* class* type serviceType subject episodeOfCare participant appointment " +
		"reasonCode reasonReference diagnosis",
	"Flag": "modifierExtension* identifier status* category code* subject* period encounter author",
	"Location": "modifierExtension* identifier status* operationalStatus name description mode type physicalType " +
		"managingOrganization",
	"Measure": "modifierExtension* url identifier version name title status* experimental date publisher contact " +
		"description useContext jurisdiction effectivePeriod disclaimer scoring compositeScoring type riskAdjustment " +
		"rateAggregation rationale clinicalRecommendationStatement improvementNotation definition guidance",
	"MedicationRequest": "modifierExtension* status* intent* priority doNotPerform* reportedBoolean reportedReference " +
		"medicationCodeableConcept* medicationReference* subject* authoredOn requester performerType " +
		"instantiatesCanonical instantiatesUri basedOn groupIdentifier",
	"MedicationStatement": "modifierExtension* identifier basedOn partOf status* category medicationCodeableConcept* medicationReference* " +
		"subject* context effectiveDateTime effectivePeriod dateAsserted",
	"Observation": "modifierExtension* identifier basedOn partOf status* code* subject focus encounter effectiveDateTime " +
		"effectivePeriod effectiveTiming effectiveInstant issued performer valueQuantity valueCodeableConcept " +
		"valueString valueBoolean valueInteger valueRange valueRatio valueSampledData valueTime valueDateTime " +
		"valuePeriod hasMember derivedFrom component",
	"OperationDefinition": "modifierExtension* url version name* title status* kind* experimental date publisher contact useContext " +
		"jurisdiction affectsState code* base resource system* type* instance*",
	"Patient": "modifierExtension* identifier active* name telecom gender birthDate deceasedBoolean* deceasedDateTime* address " +
		"managingOrganization link*",
	"PlanDefinition": "modifierExtension* url identifier version name title type status* experimental date publisher contact " +
		"description useContext jurisdiction effectivePeriod",
	"Practitioner": "modifierExtension* identifier active name telecom address gender birthDate",
	"Procedure": "modifierExtension* identifier instantiatesCanonical instantiatesUri basedOn partOf status* statusReason " +
		"category code subject* encounter performedDateTime performedPeriod performedString performedAge performedRange " +
		"recorder asserter performer location reasonCode reasonReference bodySite outcome",
	"Provenance": "modifierExtension* target* recorded* agent*",
	"Questionnaire": "modifierExtension* url identifier version name title status* experimental subjectType date publisher contact " +
		"useContext jurisdiction effectivePeriod code",
	"QuestionnaireResponse": "modifierExtension* identifier basedOn partOf questionnaire status* subject encounter authored author source",
	"RelatedPerson":         "modifierExtension* identifier active* patient* relationship name telecom gender birthDate address",
	"SearchParameter": "modifierExtension* url* version name* status* experimental date publisher contact description* useContext " +
		"jurisdiction code* base* type*",
	"ServiceRequest": "modifierExtension* identifier instantiatesCanonical instantiatesUri basedOn replaces requisition status* " +
		"intent* category priority doNotPerform* code orderDetail quantityQuantity quantityRatio quantityRange subject* " +
		"encounter occurrenceDateTime occurrencePeriod occurrenceTiming asNeededBoolean asNeededCodeableConcept " +
		"authoredOn requester performerType performer locationCode locationReference reasonCode reasonReference " +
		"specimen bodySite patientInstruction",
	"StructureDefinition": "modifierExtension* url* identifier version name* title status* experimental date publisher contact useContext " +
		"jurisdiction keyword fhirVersion kind* abstract* context contextInvariant type* baseDefinition derivation",
	"Subscription": "modifierExtension* status* contact end reason* criteria* error channel*",
	"Task": "modifierExtension* instantiatesCanonical instantiatesUri basedOn groupIdentifier partOf status* statusReason " +
		"businessStatus intent* code description focus for encounter executionPeriod lastModified requester owner " +
		"location",
	"ValueSet": "modifierExtension* url identifier version name title status* experimental date publisher contact useContext " +
		"jurisdiction immutable",
}
