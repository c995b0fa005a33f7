package fhir

// elementsAToI lists, for every structure of R4 4.0.1, what the json tags of the samply
// structs do not say: the primitive type of an element where it is not
// string, markdown, boolean, integer or decimal; the codes of a required
// binding where the Go type is a plain string or too wide; and the groups of
// which one alternative may be sent ([x]). Structures are named by their
// samply struct. Elements that every resource has are left out.
//
// Source: HL7 FHIR R4 4.0.1 StructureDefinitions and required ValueSets
// (https://hl7.org/fhir/R4/, CC0), read through the protocol buffer
// definitions that are made from them.
const elementsAToI = `
AccountCoverage priority:positiveInt
ActivityDefinition approvalDate:date date:dateTime lastReviewDate:date library:canonical product:[x] profile:canonical subject:[x] timing:[x] transform:canonical url:uri
AdverseEvent date:dateTime detected:dateTime recordedDate:dateTime
Age code:code system:uri
AllergyIntolerance lastOccurrence:dateTime onset:[x] recordedDate:dateTime
AllergyIntoleranceReaction onset:dateTime
Annotation author:[x] time:dateTime
Appointment created:dateTime end:instant minutesDuration:positiveInt priority:unsignedInt start:instant
AppointmentResponse end:instant start:instant
Attachment contentType:code creation:dateTime data:base64Binary hash:base64Binary language:code size:unsignedInt url:url
AuditEvent recorded:instant
AuditEventAgent policy:uri
AuditEventEntity query:base64Binary
AuditEventEntityDetail value:[x]
Basic created:date
Binary contentType:code data:base64Binary
BiologicallyDerivedProductCollection collected:[x]
BiologicallyDerivedProductManipulation time:[x]
BiologicallyDerivedProductProcessing time:[x]
Bundle timestamp:instant total:unsignedInt
BundleEntry fullUrl:uri
BundleEntryRequest ifModifiedSince:instant url:uri
BundleEntryResponse lastModified:instant location:uri
BundleLink url:uri
CapabilityStatement date:dateTime format:code implementationGuide:canonical imports:canonical instantiates:canonical patchFormat:code url:uri
CapabilityStatementDocument profile:canonical
CapabilityStatementImplementation url:url
CapabilityStatementMessaging reliableCache:unsignedInt
CapabilityStatementMessagingEndpoint address:url
CapabilityStatementMessagingSupportedMessage definition:canonical
CapabilityStatementRest compartment:canonical
CapabilityStatementRestInteraction code:code=transaction|batch|search-system|history-system
CapabilityStatementRestResource profile:canonical supportedProfile:canonical
CapabilityStatementRestResourceInteraction code:code=read|vread|update|patch|delete|history-instance|history-type|create|search-type
CapabilityStatementRestResourceOperation definition:canonical
CapabilityStatementRestResourceSearchParam definition:canonical
CapabilityStatementSoftware releaseDate:dateTime
CarePlan created:dateTime instantiatesCanonical:canonical instantiatesUri:uri intent:code=proposal|plan|order|option
CarePlanActivityDetail instantiatesCanonical:canonical instantiatesUri:uri kind:code=Appointment|CommunicationRequest|DeviceRequest|MedicationRequest|NutritionOrder|Task|ServiceRequest|VisionPrescription product:[x] scheduled:[x]
CatalogEntry lastUpdated:dateTime validTo:dateTime
ChargeItem definitionCanonical:canonical definitionUri:uri enteredDate:dateTime occurrence:[x] product:[x]
ChargeItemDefinition approvalDate:date date:dateTime derivedFromUri:uri lastReviewDate:date partOf:canonical replaces:canonical url:uri
Claim created:dateTime
ClaimAccident date:date location:[x]
ClaimCareTeam sequence:positiveInt
ClaimDiagnosis diagnosis:[x] sequence:positiveInt
ClaimInsurance sequence:positiveInt
ClaimItem careTeamSequence:positiveInt diagnosisSequence:positiveInt informationSequence:positiveInt location:[x] procedureSequence:positiveInt sequence:positiveInt serviced:[x]
ClaimItemDetail sequence:positiveInt
ClaimItemDetailSubDetail sequence:positiveInt
ClaimProcedure date:dateTime procedure:[x] sequence:positiveInt
ClaimResponse created:dateTime
ClaimResponseAddItem detailSequence:positiveInt itemSequence:positiveInt location:[x] noteNumber:positiveInt serviced:[x] subdetailSequence:positiveInt
ClaimResponseAddItemDetail noteNumber:positiveInt
ClaimResponseAddItemDetailSubDetail noteNumber:positiveInt
ClaimResponseError detailSequence:positiveInt itemSequence:positiveInt subDetailSequence:positiveInt
ClaimResponseInsurance sequence:positiveInt
ClaimResponseItem itemSequence:positiveInt noteNumber:positiveInt
ClaimResponseItemDetail detailSequence:positiveInt noteNumber:positiveInt
ClaimResponseItemDetailSubDetail noteNumber:positiveInt subDetailSequence:positiveInt
ClaimResponsePayment date:date
ClaimResponseProcessNote number:positiveInt
ClaimSupportingInfo sequence:positiveInt timing:[x] value:[x]
ClinicalImpression date:dateTime effective:[x] protocol:uri status:code=in-progress|completed|entered-in-error
CodeSystem count:unsignedInt date:dateTime supplements:canonical url:uri valueSet:canonical
CodeSystemConcept code:code
CodeSystemConceptDesignation language:code
CodeSystemConceptProperty code:code value:[x]
CodeSystemFilter code:code
CodeSystemProperty code:code uri:uri
Coding code:code system:uri
Communication instantiatesCanonical:canonical instantiatesUri:uri received:dateTime sent:dateTime
CommunicationPayload content:[x]
CommunicationRequest authoredOn:dateTime occurrence:[x]
CommunicationRequestPayload content:[x]
CompartmentDefinition date:dateTime url:uri
Composition confidentiality:code=U|L|M|N|R|V date:dateTime
CompositionAttester time:dateTime
CompositionRelatesTo target:[x]
ConceptMap date:dateTime source:[x] target:[x] url:uri
ConceptMapGroup source:uri target:uri
ConceptMapGroupElement code:code
ConceptMapGroupElementTarget code:code
ConceptMapGroupElementTargetDependsOn property:uri system:canonical
ConceptMapGroupUnmapped code:code url:canonical
Condition abatement:[x] onset:[x] recordedDate:dateTime
Consent dateTime:dateTime source:[x]
ConsentPolicy authority:uri uri:uri
ConsentVerification verificationDate:dateTime
ContactPoint rank:positiveInt
Contract instantiatesUri:uri issued:dateTime legallyBinding:[x] topic:[x] url:uri
ContractContentDefinition publicationDate:dateTime
ContractFriendly content:[x]
ContractLegal content:[x]
ContractRule content:[x]
ContractTerm issued:dateTime topic:[x]
ContractTermAction occurrence:[x] securityLabelNumber:unsignedInt
ContractTermAsset securityLabelNumber:unsignedInt
ContractTermAssetValuedItem effectiveTime:dateTime entity:[x] paymentDate:dateTime securityLabelNumber:unsignedInt
ContractTermOffer securityLabelNumber:unsignedInt
ContractTermOfferAnswer value:[x]
ContractTermSecurityLabel number:unsignedInt
Count code:code system:uri
Coverage order:positiveInt
CoverageCostToBeneficiary value:[x]
CoverageEligibilityRequest created:dateTime serviced:[x]
CoverageEligibilityRequestItem supportingInfoSequence:positiveInt
CoverageEligibilityRequestItemDiagnosis diagnosis:[x]
CoverageEligibilityRequestSupportingInfo sequence:positiveInt
CoverageEligibilityResponse created:dateTime serviced:[x]
CoverageEligibilityResponseInsuranceItem authorizationUrl:uri
CoverageEligibilityResponseInsuranceItemBenefit allowed:[x] used:[x]
DataRequirement limit:positiveInt profile:canonical subject:[x] type:code
DataRequirementCodeFilter valueSet:canonical
DataRequirementDateFilter value:[x]
DetectedIssue identified:[x] reference:uri
DetectedIssueMitigation date:dateTime
Device expirationDate:dateTime manufactureDate:dateTime url:uri
DeviceDefinition manufacturer:[x] onlineInformation:uri url:uri
DeviceDefinitionUdiDeviceIdentifier issuer:uri jurisdiction:uri
DeviceMetricCalibration time:instant
DeviceRequest authoredOn:dateTime code:[x] instantiatesCanonical:canonical instantiatesUri:uri occurrence:[x]
DeviceRequestParameter value:[x]
DeviceUdiCarrier carrierAIDC:base64Binary issuer:uri jurisdiction:uri
DeviceUseStatement recordedOn:dateTime timing:[x]
DiagnosticReport effective:[x] issued:instant
Distance code:code system:uri
DocumentManifest created:dateTime source:uri
DocumentReference date:instant
Dosage asNeeded:[x]
DosageDoseAndRate dose:[x] rate:[x]
Duration code:code system:uri
EffectEvidenceSynthesis approvalDate:date date:dateTime lastReviewDate:date url:uri
ElementDefinition condition:id contentReference:uri defaultValue:[x] fixed:[x] maxValue:[x] min:unsignedInt minValue:[x] pattern:[x]
ElementDefinitionBase min:unsignedInt
ElementDefinitionBinding valueSet:canonical
ElementDefinitionConstraint key:id source:canonical
ElementDefinitionExample value:[x]
ElementDefinitionMapping identity:id language:code
ElementDefinitionType code:uri profile:canonical targetProfile:canonical
EncounterDiagnosis rank:positiveInt
Endpoint address:url payloadMimeType:code
EnrollmentRequest created:dateTime
EnrollmentResponse created:dateTime
EpisodeOfCareDiagnosis rank:positiveInt
EventDefinition approvalDate:date date:dateTime lastReviewDate:date subject:[x] url:uri
Evidence approvalDate:date date:dateTime lastReviewDate:date url:uri
EvidenceVariable approvalDate:date date:dateTime lastReviewDate:date url:uri
EvidenceVariableCharacteristic definition:[x] participantEffective:[x]
ExampleScenario date:dateTime url:uri workflow:canonical
ExplanationOfBenefit created:dateTime precedence:positiveInt
ExplanationOfBenefitAccident date:date location:[x]
ExplanationOfBenefitAddItem detailSequence:positiveInt itemSequence:positiveInt location:[x] noteNumber:positiveInt serviced:[x] subDetailSequence:positiveInt
ExplanationOfBenefitAddItemDetail noteNumber:positiveInt
ExplanationOfBenefitAddItemDetailSubDetail noteNumber:positiveInt
ExplanationOfBenefitBenefitBalanceFinancial allowed:[x] used:[x]
ExplanationOfBenefitCareTeam sequence:positiveInt
ExplanationOfBenefitDiagnosis diagnosis:[x] sequence:positiveInt
ExplanationOfBenefitItem careTeamSequence:positiveInt diagnosisSequence:positiveInt informationSequence:positiveInt location:[x] noteNumber:positiveInt procedureSequence:positiveInt sequence:positiveInt serviced:[x]
ExplanationOfBenefitItemDetail noteNumber:positiveInt sequence:positiveInt
ExplanationOfBenefitItemDetailSubDetail noteNumber:positiveInt sequence:positiveInt
ExplanationOfBenefitPayment date:date
ExplanationOfBenefitProcedure date:dateTime procedure:[x] sequence:positiveInt
ExplanationOfBenefitProcessNote number:positiveInt
ExplanationOfBenefitSupportingInfo sequence:positiveInt timing:[x] value:[x]
Expression language:code name:id reference:uri
Extension url:uri value:[x]
FamilyMemberHistory age:[x] born:[x] date:dateTime deceased:[x] instantiatesCanonical:canonical instantiatesUri:uri
FamilyMemberHistoryCondition onset:[x]
Goal start:[x] statusDate:date
GoalTarget detail:[x] due:[x]
GraphDefinition date:dateTime profile:canonical url:uri
GraphDefinitionLinkTarget profile:canonical
Group quantity:unsignedInt
GroupCharacteristic value:[x]
GuidanceResponse module:[x] occurrenceDateTime:dateTime
HealthcareServiceAvailableTime availableEndTime:time availableStartTime:time
Identifier system:uri
ImagingStudy numberOfInstances:unsignedInt numberOfSeries:unsignedInt started:dateTime
ImagingStudySeries number:unsignedInt numberOfInstances:unsignedInt started:dateTime uid:id
ImagingStudySeriesInstance number:unsignedInt uid:id
Immunization expirationDate:date occurrence:[x] recorded:dateTime status:code=completed|entered-in-error|not-done
ImmunizationEducation presentationDate:dateTime publicationDate:dateTime reference:uri
ImmunizationEvaluation date:dateTime doseNumber:[x] seriesDoses:[x] status:code=completed|entered-in-error
ImmunizationProtocolApplied doseNumber:[x] seriesDoses:[x]
ImmunizationReaction date:dateTime
ImmunizationRecommendation date:dateTime
ImmunizationRecommendationRecommendation doseNumber:[x] seriesDoses:[x]
ImmunizationRecommendationRecommendationDateCriterion value:dateTime
ImplementationGuide date:dateTime packageId:id url:uri
ImplementationGuideDefinitionPage name:[x]
ImplementationGuideDefinitionResource example:[x] groupingId:id
ImplementationGuideDefinitionTemplate code:code
ImplementationGuideDependsOn packageId:id uri:canonical
ImplementationGuideGlobal profile:canonical
ImplementationGuideManifest rendering:url
ImplementationGuideManifestResource example:[x] relativePath:url
InsurancePlanPlanGeneralCost groupSize:positiveInt
Invoice date:dateTime
InvoiceLineItem chargeItem:[x] sequence:positiveInt
`
