package app

import (
	"fmt"
	"strings"
)

// booking is a transaction as a theatre system sends it: patient, order,
// procedure and appointment number n, an overnight left knee.
func booking(n int, start string) []byte {
	const text = `{"resourceType":"Bundle","type":"transaction","entry":[
{"fullUrl":"urn:uuid:00000000-0000-4000-8000-%[1]012d","resource":{"resourceType":"Patient","identifier":[{"system":"https://registry.meadowfold.example/person","value":"P-%[1]d"}],"name":[{"family":"Testperson","given":["Number%[1]d"]}],"gender":"female","birthDate":"1951-03-02"},"request":{"method":"POST","url":"Patient","ifNoneExist":"identifier=https://registry.meadowfold.example/person|P-%[1]d"}},
{"fullUrl":"urn:uuid:00000000-0000-4000-8001-%[1]012d","resource":{"resourceType":"ServiceRequest","identifier":[{"system":"https://theatre.meadowfold.example/order","value":"O-%[1]d"}],"status":"active","intent":"order","code":{"coding":[{"system":"http://snomed.info/sct","code":"609588000"}],"text":"Total knee replacement"},"subject":{"reference":"urn:uuid:00000000-0000-4000-8000-%[1]012d"}},"request":{"method":"PUT","url":"ServiceRequest?identifier=https://theatre.meadowfold.example/order|O-%[1]d"}},
{"fullUrl":"urn:uuid:00000000-0000-4000-8002-%[1]012d","resource":{"resourceType":"Procedure","identifier":[{"system":"https://theatre.meadowfold.example/case","value":"K-%[1]d"}],"basedOn":[{"reference":"urn:uuid:00000000-0000-4000-8001-%[1]012d"}],"status":"preparation","code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-pcs","code":"0SRD0J9"}],"text":"Left knee"},"subject":{"reference":"urn:uuid:00000000-0000-4000-8000-%[1]012d"}},"request":{"method":"PUT","url":"Procedure?identifier=https://theatre.meadowfold.example/case|K-%[1]d"}},
{"fullUrl":"urn:uuid:00000000-0000-4000-8003-%[1]012d","resource":{"resourceType":"Appointment","extension":[{"url":"http://countback.example/fhir/StructureDefinition/planned-stay","valueCode":"overnight"}],"identifier":[{"system":"https://theatre.meadowfold.example/appointment","value":"A-%[1]d"}],"status":"booked","serviceType":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/service-type","code":"218"}],"text":"Orthopaedic surgery"}],"description":"Left knee replacement","start":"%[2]s","end":"%[3]s","created":"2026-10-05","basedOn":[{"reference":"urn:uuid:00000000-0000-4000-8001-%[1]012d"}],"participant":[{"actor":{"reference":"urn:uuid:00000000-0000-4000-8000-%[1]012d"},"status":"accepted"}]},"request":{"method":"PUT","url":"Appointment?identifier=https://theatre.meadowfold.example/appointment|A-%[1]d"}}
]}`
	return fmt.Appendf(nil, text, n, start, strings.Replace(start, "T07", "T09", 1))
}
