package fhirapi

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Systems of the invented hospital.
const (
	personSystem  = "https://registry.canary.example/person"
	bookingSystem = "https://northwing.canary.example/booking"
	orderSystem   = "https://orders.canary.example/surgery"
)

// patient is a person; n tells people apart.
func patient(n string) string {
	return `{"resourceType":"Patient","identifier":[{"system":"` + personSystem + `","value":"canary-p` + n + `"}],` +
		`"name":[{"family":"Canaryfeather","given":["Canarina` + n + `"]}],"gender":"female","birthDate":"1958-03-17",` +
		`"telecom":[{"system":"phone","value":"555-0100 canary"}]}`
}

// order asks for a replacement of the right hip.
func order(n, subject string) string {
	return `{"resourceType":"ServiceRequest","identifier":[{"system":"` + orderSystem + `","value":"canary-o` + n + `"}],` +
		`"status":"active","intent":"order","code":{"coding":[{"system":"http://snomed.info/sct","code":"52734007"}],"text":"canary right hip"},` +
		`"subject":{"reference":"` + subject + `"},"bodySite":[{"text":"canary right hip"}]}`
}

// booking is an operation on 11 January 2027.
func booking(n, subject, basedOn string) string {
	return `{"resourceType":"Appointment","meta":{"source":"https://canary.example/feed"},` +
		`"identifier":[{"system":"` + bookingSystem + `","value":"canary-b` + n + `"}],"status":"booked",` +
		`"description":"canary right hip","start":"2027-01-11T10:00:00-06:00","end":"2027-01-11T12:30:00-06:00",` +
		`"basedOn":[{"reference":"` + basedOn + `"}],` +
		`"participant":[{"actor":{"reference":"` + subject + `"},"status":"accepted"}]}`
}

// entry is one entry of a transaction or batch. more is the rest of request.
func entry(fullURL, method, url, resource string, more ...string) string {
	var parts []string
	if fullURL != "" {
		parts = append(parts, `"fullUrl":"`+fullURL+`"`)
	}
	if resource != "" {
		parts = append(parts, `"resource":`+resource)
	}
	request := append([]string{`"method":"` + method + `"`, `"url":"` + url + `"`}, more...)
	return "{" + strings.Join(append(parts, `"request":{`+strings.Join(request, ",")+"}"), ",") + "}"
}

func bundleOf(kind string, entries ...string) string {
	return `{"resourceType":"Bundle","type":"` + kind + `","entry":[` + strings.Join(entries, ",") + `]}`
}

// Names that entries of a fixture have for each other.
const (
	patientURN = "urn:uuid:1c3b5a1e-7c1c-4a53-9d2f-3f4de0a6b001"
	orderURN   = "urn:uuid:1c3b5a1e-7c1c-4a53-9d2f-3f4de0a6b002"
	bookingURN = "urn:uuid:1c3b5a1e-7c1c-4a53-9d2f-3f4de0a6b003"
)

// operation is how a theatre system sends a booking: person, order, appointment.
func operation(n string) string {
	return bundleOf("transaction",
		entry(patientURN, "POST", "Patient", patient(n), `"ifNoneExist":"identifier=`+personSystem+"|canary-p"+n+`"`),
		entry(orderURN, "PUT", "ServiceRequest?identifier="+orderSystem+"|canary-o"+n, order(n, patientURN)),
		entry(bookingURN, "PUT", "Appointment?identifier="+bookingSystem+"|canary-b"+n, booking(n, patientURN, orderURN)))
}

// told are the addresses of what a booking led to.
type told struct{ patient, order, booking, carePlan string }

// book sends an operation and checks that a case was opened for it.
func (h *house) book(n string) told {
	h.t.Helper()
	r := h.must(200, "POST", root, operation(n))
	var out told
	for i, into := range []*string{&out.patient, &out.order, &out.booking} {
		location := r.entries()[i].String("response", "location")
		*into, _, _ = strings.Cut(local(location), "/_history/")
	}
	plans := h.must(200, "GET", root+"/CarePlan?patient="+strings.TrimPrefix(out.patient, root+"/"), "")
	require.Equal(h.t, "1", plans.String("total"))
	out.carePlan = root + "/CarePlan/" + plans.String("entry", "resource", "id")
	return out
}

// task reads the one Task of a step of a person.
func (h *house) task(who told, step string) response {
	h.t.Helper()
	found := h.must(200, "GET", root+"/Task?code="+step+"&patient="+strings.TrimPrefix(who.patient, root+"/"), "")
	require.Equal(h.t, "1", found.String("total"), step)
	return h.must(200, "GET", root+"/Task/"+found.String("entry", "resource", "id"), "")
}

// with replaces one piece of a text, which must be there.
func with(t *testing.T, text, old, new string) string {
	t.Helper()
	require.Contains(t, text, old)
	return strings.Replace(text, old, new, 1)
}
