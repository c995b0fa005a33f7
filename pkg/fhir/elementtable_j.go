package fhir

// elementsJToZ lists, for every structure of R4 4.0.1, what the json tags of the samply
// structs do not say: the primitive type of an element where it is not
// string, markdown, boolean, integer or decimal; the codes of a required
// binding where the Go type is a plain string or too wide; and the groups of
// which one alternative may be sent ([x]). Structures are named by their
// samply struct. Elements that every resource has are left out.
//
// Source: HL7 FHIR R4 4.0.1 StructureDefinitions and required ValueSets
// (https://hl7.org/fhir/R4/, CC0), read through the protocol buffer
// definitions that are made from them.
const elementsJToZ = `
Library approvalDate:date date:dateTime lastReviewDate:date subject:[x] url:uri
List date:dateTime
ListEntry date:dateTime
LocationHoursOfOperation closingTime:time openingTime:time
MarketingStatus restoreDate:dateTime
Measure approvalDate:date date:dateTime lastReviewDate:date library:canonical subject:[x] url:uri
MeasureReport date:dateTime measure:canonical
Media created:[x] frames:positiveInt height:positiveInt issued:instant width:positiveInt
Medication status:code=active|inactive|entered-in-error
MedicationAdministration effective:[x] instantiates:uri medication:[x] status:code=in-progress|not-done|on-hold|completed|entered-in-error|stopped|unknown
MedicationAdministrationDosage rate:[x]
MedicationBatch expirationDate:dateTime
MedicationDispense medication:[x] status:code=preparation|in-progress|cancelled|on-hold|completed|entered-in-error|stopped|declined|unknown statusReason:[x] whenHandedOver:dateTime whenPrepared:dateTime
MedicationIngredient item:[x]
MedicationKnowledge status:code=active|inactive|entered-in-error
MedicationKnowledgeAdministrationGuidelines indication:[x]
MedicationKnowledgeAdministrationGuidelinesPatientCharacteristics characteristic:[x]
MedicationKnowledgeDrugCharacteristic value:[x]
MedicationKnowledgeIngredient item:[x]
MedicationRequest authoredOn:dateTime instantiatesCanonical:canonical instantiatesUri:uri intent:code=proposal|plan|order|original-order|reflex-order|filler-order|instance-order|option medication:[x] reported:[x] status:code=active|on-hold|cancelled|completed|entered-in-error|stopped|draft|unknown
MedicationRequestDispenseRequest numberOfRepeatsAllowed:unsignedInt
MedicationRequestSubstitution allowed:[x]
MedicationStatement dateAsserted:dateTime effective:[x] medication:[x] status:code=active|completed|entered-in-error|intended|stopped|on-hold|unknown|not-taken
MedicinalProductAuthorization dateOfFirstAuthorization:dateTime internationalBirthDate:dateTime restoreDate:dateTime statusDate:dateTime
MedicinalProductAuthorizationProcedure date:[x]
MedicinalProductContraindicationOtherTherapy medication:[x]
MedicinalProductIndicationOtherTherapy medication:[x]
MedicinalProductInteractionInteractant item:[x]
MedicinalProductManufacturingBusinessOperation effectiveDate:dateTime
MedicinalProductSpecialDesignation date:dateTime indication:[x]
MessageDefinition base:canonical date:dateTime event:[x] graph:canonical parent:canonical replaces:canonical responseRequired:code=always|on-error|never|on-success url:uri
MessageDefinitionAllowedResponse message:canonical
MessageDefinitionFocus min:unsignedInt profile:canonical
MessageHeader definition:canonical event:[x]
MessageHeaderDestination endpoint:url
MessageHeaderResponse identifier:id
MessageHeaderSource endpoint:url
Meta lastUpdated:instant profile:canonical source:uri versionId:id
MolecularSequence type:code=aa|dna|rna
MolecularSequenceQuality type:code=indel|snp|unknown
MolecularSequenceReferenceSeq orientation:code=sense|antisense strand:code=watson|crick
MolecularSequenceRepository type:code=directlink|openapi|login|oauth|other url:uri
Money currency:code
NamingSystem date:dateTime
NutritionOrder dateTime:dateTime instantiates:uri instantiatesCanonical:canonical instantiatesUri:uri
NutritionOrderEnteralFormulaAdministration rate:[x]
Observation effective:[x] issued:instant value:[x]
ObservationComponent value:[x]
OperationDefinition base:canonical code:code date:dateTime inputProfile:canonical outputProfile:canonical url:uri
OperationDefinitionParameter name:code targetProfile:canonical type:code
OperationDefinitionParameterBinding valueSet:canonical
ParameterDefinition name:code profile:canonical type:code
ParametersParameter value:[x]
Patient birthDate:date deceased:[x] multipleBirth:[x]
PaymentNotice created:dateTime paymentDate:date
PaymentReconciliation created:dateTime paymentDate:date
PaymentReconciliationDetail date:date
Period end:dateTime start:dateTime
Person birthDate:date
PlanDefinition approvalDate:date date:dateTime lastReviewDate:date library:canonical subject:[x] url:uri
PlanDefinitionAction definition:[x] goalId:id subject:[x] timing:[x] transform:canonical
PlanDefinitionActionRelatedAction actionId:id offset:[x]
PlanDefinitionGoalTarget detail:[x]
Population age:[x]
Practitioner birthDate:date
PractitionerRoleAvailableTime availableEndTime:time availableStartTime:time
Procedure instantiatesCanonical:canonical instantiatesUri:uri performed:[x]
Provenance occurred:[x] policy:uri recorded:instant
Quantity code:code system:uri
Questionnaire approvalDate:date date:dateTime derivedFrom:canonical lastReviewDate:date url:uri
QuestionnaireItem answerValueSet:canonical definition:uri
QuestionnaireItemAnswerOption value:[x]
QuestionnaireItemEnableWhen answer:[x]
QuestionnaireItemInitial value:[x]
QuestionnaireResponse authored:dateTime questionnaire:canonical
QuestionnaireResponseItem definition:uri
QuestionnaireResponseItemAnswer value:[x]
Reference type:uri
RelatedArtifact resource:canonical url:url
RelatedPerson birthDate:date
RequestGroup authoredOn:dateTime instantiatesCanonical:canonical instantiatesUri:uri
RequestGroupAction timing:[x]
RequestGroupActionRelatedAction actionId:id offset:[x]
ResearchDefinition approvalDate:date date:dateTime lastReviewDate:date library:canonical subject:[x] url:uri
ResearchElementDefinition approvalDate:date date:dateTime lastReviewDate:date library:canonical subject:[x] url:uri
ResearchElementDefinitionCharacteristic definition:[x] participantEffective:[x] studyEffective:[x]
RiskAssessment occurrence:[x]
RiskAssessmentPrediction probability:[x] when:[x]
RiskEvidenceSynthesis approvalDate:date date:dateTime lastReviewDate:date url:uri
SampledData dimensions:positiveInt
SearchParameter code:code date:dateTime derivedFrom:canonical url:uri
SearchParameterComponent definition:canonical
ServiceRequest asNeeded:[x] authoredOn:dateTime instantiatesCanonical:canonical instantiatesUri:uri occurrence:[x] quantity:[x]
Signature data:base64Binary sigFormat:code targetFormat:code when:instant
Slot end:instant start:instant
Specimen receivedTime:dateTime
SpecimenCollection collected:[x] fastingStatus:[x]
SpecimenContainer additive:[x]
SpecimenDefinitionTypeTestedContainer minimumVolume:[x]
SpecimenDefinitionTypeTestedContainerAdditive additive:[x]
SpecimenProcessing time:[x]
StructureDefinition baseDefinition:canonical date:dateTime type:uri url:uri
StructureDefinitionMapping identity:id uri:uri
StructureMap date:dateTime import:canonical url:uri
StructureMapGroup extends:id name:id
StructureMapGroupInput name:id
StructureMapGroupRule name:id
StructureMapGroupRuleDependent name:id
StructureMapGroupRuleSource context:id defaultValue:[x] variable:id
StructureMapGroupRuleTarget context:id listRuleId:id variable:id
StructureMapGroupRuleTargetParameter value:[x]
StructureMapStructure url:canonical
Subscription end:instant
SubscriptionChannel endpoint:url payload:code
SubstanceAmount amount:[x]
SubstanceIngredient substance:[x]
SubstanceInstance expiry:dateTime
SubstanceReferenceInformationTarget amount:[x]
SubstanceSpecificationCode statusDate:dateTime
SubstanceSpecificationMoiety amount:[x]
SubstanceSpecificationNameOfficial date:dateTime
SubstanceSpecificationProperty amount:[x] definingSubstance:[x]
SubstanceSpecificationRelationship amount:[x] substance:[x]
SupplyDelivery occurrence:[x]
SupplyDeliverySuppliedItem item:[x]
SupplyRequest authoredOn:dateTime item:[x] occurrence:[x]
SupplyRequestParameter value:[x]
Task authoredOn:dateTime instantiatesCanonical:canonical instantiatesUri:uri intent:code=unknown|proposal|plan|order|original-order|reflex-order|filler-order|instance-order|option lastModified:dateTime
TaskInput value:[x]
TaskOutput value:[x]
TaskRestriction repetitions:positiveInt
TerminologyCapabilities date:dateTime url:uri
TerminologyCapabilitiesCodeSystem uri:canonical
TerminologyCapabilitiesCodeSystemVersion language:code property:code
TerminologyCapabilitiesCodeSystemVersionFilter code:code op:code
TerminologyCapabilitiesExpansionParameter name:code
TerminologyCapabilitiesImplementation url:url
TestReport issued:dateTime
TestReportParticipant uri:uri
TestReportSetupActionOperation detail:uri
TestScript date:dateTime url:uri
TestScriptMetadataCapability capabilities:canonical link:uri
TestScriptMetadataLink url:uri
TestScriptSetupActionAssert contentType:code resource:code sourceId:id validateProfileId:id
TestScriptSetupActionOperation accept:code contentType:code requestId:id resource:code responseId:id sourceId:id targetId:id
TestScriptVariable sourceId:id
Timing event:dateTime
TimingRepeat bounds:[x] count:positiveInt countMax:positiveInt durationUnit:code=s|min|h|d|wk|mo|a frequency:positiveInt frequencyMax:positiveInt offset:unsignedInt periodUnit:code=s|min|h|d|wk|mo|a timeOfDay:time when:code=MORN|MORN.early|MORN.late|NOON|AFT|AFT.early|AFT.late|EVE|EVE.early|EVE.late|NIGHT|PHS|HS|WAKE|C|CM|CD|CV|AC|ACM|ACD|ACV|PC|PCM|PCD|PCV
TriggerDefinition timing:[x]
UsageContext value:[x]
ValueSet date:dateTime url:uri
ValueSetCompose lockedDate:date
ValueSetComposeInclude system:uri valueSet:canonical
ValueSetComposeIncludeConcept code:code
ValueSetComposeIncludeConceptDesignation language:code
ValueSetComposeIncludeFilter property:code
ValueSetExpansion identifier:uri timestamp:dateTime
ValueSetExpansionContains code:code system:uri
ValueSetExpansionParameter value:[x]
VerificationResult lastPerformed:dateTime nextScheduled:date status:code=attested|validated|in-process|req-revalid|val-fail|reval-fail statusDate:dateTime
VerificationResultAttestation date:date
VerificationResultPrimarySource validationDate:dateTime
VisionPrescription created:dateTime dateWritten:dateTime
`
