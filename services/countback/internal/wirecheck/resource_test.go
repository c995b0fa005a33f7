package wirecheck

import (
	"bytes"
	"encoding/json"
	"sync"
	"testing"

	"github.com/google/fhir/go/fhirversion"
	"github.com/google/fhir/go/jsonformat"
	"github.com/stretchr/testify/require"
)

// checkResource fails the test with every fault found in one resource or Bundle.
func checkResource(t testing.TB, body []byte) {
	t.Helper()
	require.Empty(t, faults(body), "%s", body)
}

// unmarshaller is built once: that alone takes as long as hundreds of checks.
var unmarshaller = sync.OnceValues(func() (*jsonformat.Unmarshaller, error) {
	return jsonformat.NewUnmarshaller("UTC", fhirversion.R4)
})

// faults says in words what is wrong with a resource.
func faults(body []byte) []string {
	validator, err := unmarshaller()
	if err != nil {
		return []string{err.Error()}
	}
	tree, err := decode(body)
	if err != nil {
		return []string{"no JSON: " + err.Error()}
	}
	found := byHand(tree)
	if _, err := validator.UnmarshalR4(body); err != nil {
		found = append(found, err.Error())
	}
	return found
}

// decode keeps numbers as they are written: 1.10 is not 1.1.
func decode(body []byte) (any, error) {
	decoder := json.NewDecoder(bytes.NewReader(body))
	decoder.UseNumber()
	var tree any
	err := decoder.Decode(&tree)
	return tree, err
}

// soundPlan is a CarePlan without a fault; the cases below spoil it.
const soundPlan = `{
	"resourceType": "CarePlan", "id": "p1", "status": "active", "intent": "plan",
	"text": {"status": "generated", "div": "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p>Two<br/>lines</p></div>"},
	"contained": [{"resourceType": "CareTeam", "id": "team"}],
	"subject": {"reference": "Patient/1"}, "careTeam": [{"reference": "#team"}],
	"period": {"start": "2027-03-01", "end": "2027-03-01"},
	"activity": [{"reference": {"reference": "Task/1"}}]}`

func TestFaultsAreFound(t *testing.T) {
	cases := []struct{ name, old, new, want string }{
		{"sound", "", "", ""},
		{"code outside a required binding", `"active"`, `"ongoing"`, "CarePlan.status"},
		{"required element missing", `"subject": {"reference": "Patient/1"},`, ``, "subject"},
		{"wrong JSON kind", `"id": "p1"`, `"id": 1`, "id"},
		{"unknown element", `"id": "p1"`, `"id": "p1", "stage": "early"`, "unknown field"},
		{"wrong kind of reference", `"Patient/1"`, `"Location/1"`, "Location"},
		{"bad id", `"p1"`, `"p_1"`, "id"},
		{"empty string", `"id": "p1"`, `"id": "p1", "title": ""`, "title: empty string"},
		{"blank string", `"id": "p1"`, `"id": "p1", "title": " "`, "title: empty string"},
		{"empty array", `"id": "p1"`, `"id": "p1", "note": []`, "note: empty array"},
		{"empty object", `"id": "p1"`, `"id": "p1", "author": {}`, "author: empty object"},
		{"null", `"id": "p1"`, `"id": "p1", "title": null`, "title: null"},
		{"period turned round", `"end": "2027-03-01"`, `"end": "2027-02-28"`, "period: ends before it starts"},
		{"reference to nothing", `"#team"`, `"#crew"`, "careTeam[0]: nothing here is called #crew"},
		{"narrative not closed", `</p>`, ``, "text: narrative"},
		{"narrative with a script", `<p>Two`, `<p><script>1</script>Two`, "text: narrative: <script>"},
		{"narrative in no namespace", ` xmlns=\"http://www.w3.org/1999/xhtml\"`, ``, "text: narrative"},
		{"narrative without content", `<p>Two<br/>lines</p>`, ` `, "text: narrative: says nothing"},
		{"no JSON", soundPlan, `{"resourceType":`, "no JSON"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			body := bytes.Replace([]byte(soundPlan), []byte(c.old), []byte(c.new), 1)
			if c.want == "" {
				checkResource(t, body)
				return
			}
			require.NotEqual(t, soundPlan, string(body), "the case spoils nothing")
			found := faults(body)
			require.NotEmpty(t, found)
			require.Contains(t, found[0], c.want)
		})
	}
}

func TestByHand(t *testing.T) {
	cases := []struct{ name, body, want string }{
		{"null beside an extension", `{"given":[null],"_given":[{"id":"a"}]}`, ""},
		{"null in a list without one", `{"given":["A",null]}`, "given[1]: null"},
		{"instants in two zones", `{"start":"2027-03-01T09:00:00-06:00","end":"2027-03-01T15:00:00Z"}`, ""},
		{"instants in two zones, turned round", `{"start":"2027-03-01T09:00:00-06:00","end":"2027-03-01T14:59:00Z"}`, "ends before it starts"},
		{"month and day", `{"start":"2027-03-09","end":"2027-03"}`, ""},
		{"month and day, turned round", `{"start":"2027-04","end":"2027-03-31"}`, "ends before it starts"},
		{"the container itself", `{"resourceType":"A","contained":[{"resourceType":"B","id":"b","focus":{"reference":"#"}}]}`, ""},
		{"a sibling in the container", `{"resourceType":"A","contained":[{"resourceType":"B","id":"b"},{"resourceType":"C","id":"c","focus":{"reference":"#b"}}]}`, ""},
		{"another entry's contained resource", `{"resourceType":"Bundle","entry":[
			{"resource":{"resourceType":"A","contained":[{"resourceType":"B","id":"b"}]}},
			{"resource":{"resourceType":"C","focus":{"reference":"#b"}}}]}`, "entry[1].resource.focus: nothing here is called #b"},
		{"an entry of the bundle", `{"resourceType":"Bundle","entry":[
			{"fullUrl":"urn:uuid:1","resource":{"resourceType":"A"}},
			{"fullUrl":"urn:uuid:2","resource":{"resourceType":"B","focus":{"reference":"urn:uuid:1"}}}]}`, ""},
		{"no entry of the bundle", `{"resourceType":"Bundle","entry":[
			{"fullUrl":"urn:uuid:2","resource":{"resourceType":"B","focus":{"reference":"urn:uuid:1"}}}]}`, "nothing here is called urn:uuid:1"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			tree, err := decode([]byte(c.body))
			require.NoError(t, err)
			found := byHand(tree)
			if c.want == "" {
				require.Empty(t, found)
				return
			}
			require.Len(t, found, 1)
			require.Contains(t, found[0], c.want)
		})
	}
}
