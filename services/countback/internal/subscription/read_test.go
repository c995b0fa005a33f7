package subscription

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// admission is the example subscription-admission of the Subscriptions R5
// Backport 1.1, with one of our topics, its filter and a header.
const admission = `{"resourceType":"Subscription","id":"subscription-admission","status":"requested","end":"2027-12-31T12:00:00Z","reason":"R4/B Example Topic-Based Subscription",
	"criteria":"http://countback.example/fhir/SubscriptionTopic/plan-changed",
	"_criteria":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-filter-criteria","valueString":"CarePlan?patient=Patient/123"}]},
	"channel":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-heartbeat-period","valueUnsignedInt":86400},
	{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-timeout","valueUnsignedInt":60},
	{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-max-count","valuePositiveInt":20},
	{"url":"https://elsewhere.example/what-we-do-not-know","valueBoolean":true}],
	"type":"rest-hook","endpoint":"https://receiver.example/in","payload":"application/fhir+json",
	"_payload":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content","valueCode":"id-only"}]},
	"header":["Authorization: Bearer word"]}}`

func parsed(t *testing.T, text string) *fhir.Resource {
	t.Helper()
	r, issues := fhir.Parse([]byte(text), 1<<20)
	require.Empty(t, issues)
	return r
}

func TestRead(t *testing.T) {
	s, issues := Read(parsed(t, admission), base, Policy{})
	require.Empty(t, issues)
	require.Equal(t, &Subscription{
		Status: Requested, Topic: topics[0], Endpoint: "https://receiver.example/in", Payload: "application/fhir+json",
		Headers: []Header{{"Authorization", "Bearer word"}}, Content: IDOnly, Heartbeat: 24 * time.Hour, Timeout: time.Minute, MaxCount: 20,
		End: time.Date(2027, 12, 31, 12, 0, 0, 0, time.UTC), filters: []filter{{byPatient, []string{"Patient/123"}}},
	}, s)
	for _, c := range []struct{ old, new, element string }{
		{`backport-filter-criteria"`, `something-else"`, "Subscription.criteria.extension[0]"},
		{`"type":"rest-hook"`, `"type":"rest-hook","_type":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-channel-type","valueCoding":{"code":"x"}}]}`, "Subscription.channel.type.extension"},
		{`CarePlan?patient=Patient/123`, `CarePlan?patient=` + strings.Repeat("1,", maxValues) + "1", "Subscription.criteria.extension[0].valueString"},
	} {
		_, issues := Read(parsed(t, strings.Replace(admission, c.old, c.new, 1)), base, Policy{})
		require.Len(t, issues, 1, c.element)
		require.Equal(t, c.element, issues[0].Expression)
	}
	_, issues = Read(parsed(t, strings.Replace(admission, `"type":"rest-hook"`, `"type":"rest-hook","_type":{"extension":[{"url":"https://elsewhere.example/x","valueBoolean":true}]}`, 1)), base, Policy{})
	require.Empty(t, issues)
	// All that is wrong is said at once.
	_, issues = Read(parsed(t, strings.NewReplacer("plan-changed", "x", "CarePlan?", "x?", "rest-hook", "email", "https://receiver", "gopher://receiver", "id-only", "full-resource").Replace(admission)), base, Policy{})
	require.Len(t, issues, 5)
}

func TestHeaders(t *testing.T) {
	for header, want := range map[string]bool{
		"X-Ward-7: a": true, "x_ward: a b": true, "A0Z9!#$%&'*+-.^_`|~az: a": true, "X:a": true, "X: a\tb": true,
		"X Ward: a": false, ": a": false, "X": false, "X:": false, "X: ": false, "X: ä": false, "Ä: a": false, "X(: a": false,
		"X: a\nHost: b": false, "host: a": false, "Content-Length: 0": false, "SIGNATURE: a": false, "Transfer-Encoding: chunked": false,
	} {
		_, issues := Read(parsed(t, strings.Replace(admission, `"Authorization: Bearer word"`, quoted(header), 1)), base, Policy{})
		require.Equal(t, want, len(issues) == 0, header)
		for _, i := range issues {
			require.Empty(t, i.Diagnostics, "it may be a secret")
		}
	}
	many := strings.Repeat(`"X: a",`, maxHeaders) + `"X: a"`
	_, issues := Read(parsed(t, strings.Replace(admission, `"Authorization: Bearer word"`, many, 1)), base, Policy{})
	require.Len(t, issues, 1)
	_, issues = Read(parsed(t, strings.Replace(admission, `"Authorization: Bearer word"`, strings.TrimSuffix(many, `,"X: a"`), 1)), base, Policy{})
	require.Empty(t, issues)
	_, issues = Read(parsed(t, strings.Replace(admission, `Bearer word`, strings.Repeat("x", maxHeaderText), 1)), base, Policy{})
	require.Len(t, issues, 1)
}

func quoted(s string) string {
	return `"` + strings.NewReplacer("\n", `\n`, "\t", `\t`).Replace(s) + `"`
}

// Limits are taken, and what lies beyond is not.
func TestPace(t *testing.T) {
	for _, c := range []struct {
		old, new string
		ok       bool
	}{
		{`"valueUnsignedInt":86400`, `"valueUnsignedInt":10`, true}, {`"valueUnsignedInt":86400`, `"valueUnsignedInt":9`, false},
		{`"valueUnsignedInt":86400`, `"valueUnsignedInt":604800`, true}, {`"valueUnsignedInt":86400`, `"valueUnsignedInt":604801`, false},
		{`"valueUnsignedInt":60`, `"valueUnsignedInt":1`, true}, {`"valueUnsignedInt":60`, `"valueUnsignedInt":0`, false}, {`"valueUnsignedInt":60`, `"valueUnsignedInt":61`, false},
		{`"valuePositiveInt":20`, `"valuePositiveInt":100`, true}, {`"valuePositiveInt":20`, `"valuePositiveInt":101`, false},
		{`"valuePositiveInt":20`, `"valueInteger":20`, false},
	} {
		_, issues := Read(parsed(t, strings.Replace(admission, c.old, c.new, 1)), base, Policy{})
		require.Equal(t, c.ok, len(issues) == 0, c.new)
	}
}

// A notification that is sent again has the same ids, and another one has others.
func TestNotificationIDs(t *testing.T) {
	n := Notice{ID: "1", Kind: EventNotification, Status: Active, Total: 3, Events: []Numbered{{Number: 2}, {Number: 3}}}
	again := n
	again.At = n.At.Add(time.Hour)
	require.Equal(t, n.id(), again.id())
	require.Regexp(t, `^[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`, n.id(), "RFC 9562, 5.8")
	seen := map[string]bool{n.id(): true}
	for _, change := range []func(*Notice){
		func(n *Notice) { n.ID = "2" }, func(n *Notice) { n.Kind = Heartbeat }, func(n *Notice) { n.Status = Off },
		func(n *Notice) { n.Total = 4 }, func(n *Notice) { n.Events = n.Events[1:] },
	} {
		other := n
		change(&other)
		require.False(t, seen[other.id()])
		seen[other.id()] = true
	}
}
