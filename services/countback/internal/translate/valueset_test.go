package translate

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const (
	snomed   = "http://snomed.info/sct"
	pcsCMS   = "http://www.cms.gov/Medicare/Coding/ICD10"
	pcsHL7   = "http://hl7.org/fhir/sid/icd-10-pcs"
	icd10cm  = "http://hl7.org/fhir/sid/icd-10-cm"
	icd10    = "http://hl7.org/fhir/sid/icd-10"
	opcs     = "https://fhir.hl7.org.uk/Id/opcs-4"
	service  = "http://terminology.hl7.org/CodeSystem/service-type"
	actCode  = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
	bookType = "http://terminology.hl7.org/CodeSystem/v2-0276"
)

// Which codes belong to which of the shipped value sets: public code lists
// (Synthea's modules, the published value sets of primary total hip and knee
// replacement, descriptions of ICD-10-PCS 0SR), marked where from memory.
func TestMembership(t *testing.T) {
	defs, _ := embedded(t)
	sets := []string{
		"total-hip-replacement", "total-knee-replacement", "partial-hip-replacement", "partial-knee-replacement",
		"revision-of-joint-replacement", "left-side", "right-side", "both-sides", "left-side-diagnosis",
		"right-side-diagnosis", "hip-fracture", "emergency-booking", "orthopaedic-surgery", "same-day-stay", "overnight-stay",
	}
	shown := []string{
		"joint-class", "medical-evaluation", "anaesthesia-assessment", "screening-bloods", "laboratory-tests", "further-tests", "device-check",
		"nasal-screen", "type-and-screen", "baseline-questionnaire", "therapy-start", "wound-check", "clinic-visit",
	}
	sets = append(sets, "infection-skin", "infection-flu-like", "infection-covid", "infection-dental", "infection-urinary", "infection-fever",
		"infection-other", "dental-oral-surgery", "dental-minor-work", "joint-injection", "systemic-antibiotic", "body-temperature")
	for _, step := range shown {
		sets = append(sets, "evidence-"+step)
	}
	sets = append(sets, "hip-site", "knee-site", "smoking-now", "opioid")
	for _, r := range []struct {
		name         string
		system, code string
		in           []string
	}{
		{"total hip", snomed, "52734007", []string{"total-hip-replacement"}},
		{"total knee", snomed, "609588000", []string{"total-knee-replacement"}},
		{"total knee of the published set", snomed, "179344006", []string{"total-knee-replacement"}},
		{"unicompartmental knee", snomed, "313064000", []string{"partial-knee-replacement"}},
		{"total right hip", pcsHL7, "0SR90JZ", []string{"total-hip-replacement", "right-side"}},
		{"total left hip", pcsHL7, "0SRB0JZ", []string{"total-hip-replacement", "left-side"}},
		{"total right knee", pcsHL7, "0SRC0J9", []string{"total-knee-replacement", "right-side"}},
		{"total left knee", pcsHL7, "0SRD0JZ", []string{"total-knee-replacement", "left-side"}},
		{"the older address of the same system", pcsCMS, "0SRD0JZ", []string{"total-knee-replacement", "left-side"}},
		{"unicondylar left knee", pcsHL7, "0SRD0LA", []string{"partial-knee-replacement", "left-side"}},
		{"unicondylar left knee, older address", pcsCMS, "0SRD0LA", []string{"partial-knee-replacement", "left-side"}},
		{"unicondylar right knee, letter from memory", pcsHL7, "0SRC0MZ", []string{"partial-knee-replacement", "right-side"}},
		{"acetabular surface right", pcsHL7, "0SRA00Z", []string{"partial-hip-replacement", "right-side"}},
		{"femoral surface of the left hip", pcsHL7, "0SRS01Z", []string{"partial-hip-replacement", "left-side"}},
		{"tibial surface of the right knee", pcsHL7, "0SRV0JZ", []string{"partial-knee-replacement", "right-side"}},
		{"revision of a right hip", pcsHL7, "0SW90JZ", []string{"revision-of-joint-replacement"}},
		{"removal of a left hip implant", pcsHL7, "0SPB0JZ", []string{"revision-of-joint-replacement"}},
		{"a drain removed is no revision", pcsHL7, "0SP900Z", nil},
		{"a shoulder", pcsHL7, "0RRK0JZ", nil},
		{"too short", pcsHL7, "0SRD0L", nil},
		{"lower case", pcsHL7, "0srd0la", nil},
		{"total hip, England", opcs, "W37.1", []string{"total-hip-replacement"}},
		{"total knee, England", opcs, "W40.1", []string{"total-knee-replacement"}},
		{"revision, England, from memory", opcs, "W40.3", []string{"revision-of-joint-replacement"}},
		{"left", snomed, "7771000", []string{"left-side"}},
		{"right", snomed, "24028007", []string{"right-side"}},
		{"both", snomed, "51440002", []string{"both-sides"}},
		{"arthrosis of the right knee", icd10cm, "M17.11", []string{"right-side-diagnosis"}},
		{"arthrosis of the left knee", icd10cm, "M17.12", []string{"left-side-diagnosis"}},
		{"arthrosis of both knees", icd10cm, "M17.0", nil},
		{"fracture of the femur", icd10cm, "S72.001A", []string{"hip-fracture"}},
		{"fracture of the femur, no dot", icd10cm, "S72001A", []string{"hip-fracture"}},
		{"fracture of the femur, international", icd10, "S72.0", []string{"hip-fracture"}},
		{"fracture of the lower leg", icd10cm, "S82.001A", nil},
		{"emergency", bookType, "EMERGENCY", []string{"emergency-booking"}},
		{"routine", bookType, "ROUTINE", nil},
		{"orthopaedic surgery", service, "218", []string{"orthopaedic-surgery"}},
		{"ambulatory", actCode, "AMB", []string{"same-day-stay"}},
		{"inpatient", actCode, "IMP", []string{"overnight-stay"}},
		{"pre-admission says nothing of the stay", actCode, "PRENC", nil},
		{"the class, by our own code", SystemStep, "joint-class", []string{"evidence-joint-class"}},
		{"evaluation before surgery", snomed, "110466009", []string{"evidence-medical-evaluation"}},
		{"swab for resistant staphylococci, from memory", "http://loinc.org", "13317-3", []string{"evidence-nasal-screen"}},
		{"blood group and antibody screen, from memory", "http://loinc.org", "34532-2", []string{"evidence-type-and-screen"}},
		{"questionnaire", systemURI, Base + "/Questionnaire/baseline-questionnaire", []string{"evidence-baseline-questionnaire"}},
		{"cellulitis of a leg", icd10cm, "L03.115", []string{"infection-skin"}},
		{"open wound of the lower leg", icd10cm, "S81.801A", []string{"infection-skin"}},
		{"wound infection after an operation", icd10cm, "T81.41XA", []string{"infection-skin"}},
		{"influenza", icd10cm, "J11.1", []string{"infection-flu-like"}},
		{"pneumonia, international", icd10, "J18.9", []string{"infection-flu-like"}},
		{"chronic bronchitis is none", icd10cm, "J42", nil},
		{"COVID-19", icd10cm, "U07.1", []string{"infection-covid"}},
		{"abscess of a tooth", icd10cm, "K04.7", []string{"infection-dental"}},
		{"caries is none", icd10cm, "K02.9", nil},
		{"cystitis", icd10cm, "N30.00", []string{"infection-urinary"}},
		{"bacteria in the urine without symptoms", icd10cm, "R82.71", nil},
		{"fever", icd10cm, "R50.9", []string{"infection-fever"}},
		{"sepsis, from memory", icd10cm, "A41.9", []string{"infection-other"}},
		{"infected joint replacement, from memory", icd10cm, "T84.53XA", []string{"infection-other"}},
		{"lifelong carriage is none, from memory", icd10cm, "B20", nil},
		{"chronic viral hepatitis is none, from memory", icd10cm, "B18.1", nil},
		{"late effects are none, from memory", icd10cm, "B91", nil},
		{"extraction", snomed, "55162003", []string{"dental-oral-surgery"}},
		{"range of oral surgery", "http://www.ada.org/cdt", "D7140", []string{"dental-oral-surgery"}},
		{"range of fillings", "http://www.ada.org/cdt", "D2391", []string{"dental-minor-work"}},
		{"dentist", service, "314", []string{"dental-minor-work"}},
		{"oral surgeon", service, "90", []string{"dental-oral-surgery"}},
		{"injection into a joint, from memory", pcsHL7, "3E0U33Z", []string{"joint-injection"}},
		{"systemic antibiotic", "http://www.whocc.no/atc", "J01CA04", []string{"systemic-antibiotic"}},
		{"antibiotic for the skin is none", "http://www.whocc.no/atc", "D06AX09", nil},
		{"hip as a site, from memory", snomed, "24136001", []string{"hip-site"}},
		{"left knee as a site, from memory", snomed, "82169009", []string{"left-side", "knee-site"}},
		{"smokes every day, from memory", snomed, "449868002", []string{"smoking-now"}},
		{"smoked once is none, from memory", snomed, "8517006", nil},
		{"strong pain medicine, from memory", "http://www.whocc.no/atc", "N02AA05", []string{"opioid"}},
		{"mild pain medicine is none, from memory", "http://www.whocc.no/atc", "N02BE01", nil},
		{"body temperature", "http://loinc.org", "8310-5", []string{"body-temperature"}},
		{"bare number", "", "218", nil},
		{"right number, other system", bookType, "218", nil},
		{"right code, other system", icd10cm, "0SRD0LA", nil},
		{"right code, system in another case", "HTTP://snomed.info/sct", "52734007", nil},
		{"nothing", snomed, "", nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			var in []string
			for _, s := range sets {
				set := defs.ValueSets[Base+"/ValueSet/"+s]
				require.NotNil(t, set, s)
				if set.Has(Coding{r.system, r.code}) {
					in = append(in, s)
				}
			}
			require.Equal(t, r.in, in)
		})
	}
	medicines := medicineSets(defs)
	for name := range defs.ValueSets {
		stands := slices.Contains(sets, strings.TrimPrefix(name, Base+"/ValueSet/")) || medicines[name]
		require.True(t, stands, "every shipped value set stands in this table or in that of medicines: %s", name)
	}
}

// What cannot be decided without a terminology server is refused with its place.
func TestReadValueSetRefuses(t *testing.T) {
	for _, r := range []struct{ name, compose, says string }{
		{"a hierarchy", `{"include":[{"system":"http://snomed.info/sct","filter":[{"property":"concept","op":"is-a","value":"1"}]}]}`,
			"ValueSet http://hospital.example/v: compose.include[0]: filter[0]: only a regex on code can be decided here"},
		{"another value set", `{"include":[{"system":"http://snomed.info/sct"},{"valueSet":["http://hospital.example/w"]}]}`,
			"compose.include[1]: only codes of a named system can be decided here"},
		{"a pattern that is none", `{"include":[{"system":"http://snomed.info/sct"}],"exclude":[{"system":"http://snomed.info/sct","filter":[{"property":"code","op":"regex","value":"("}]}]}`,
			"compose.exclude[0]: filter[0].value: error parsing regexp"},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, err := ReadValueSet(parse(t, []byte(`{"resourceType":"ValueSet","status":"active","url":"http://hospital.example/v","compose":`+r.compose+`}`)))
			require.ErrorContains(t, err, r.says)
		})
	}
}

func TestValueSetOfAWholeSystem(t *testing.T) {
	v, err := ReadValueSet(parse(t, []byte(`{"resourceType":"ValueSet","status":"active","url":"http://hospital.example/v","compose":{
		"include":[{"system":"http://hospital.example/all"}],
		"exclude":[{"system":"http://hospital.example/all","concept":[{"code":"b"}],"filter":[{"property":"code","op":"regex","value":"c.*"}]}]}}`)))
	require.NoError(t, err)
	for code, in := range map[string]bool{"a": true, "b": false, "c": false, "cc": false, "bc": true} {
		require.Equal(t, in, v.Has(Coding{"http://hospital.example/all", code}), code)
	}
	require.False(t, v.Has(Coding{"http://hospital.example/other", "a"}))
}
