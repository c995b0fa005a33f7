package translate

import (
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func TestFaults(t *testing.T) {
	_, pd := decoded(t)
	err := fmt.Errorf("wrapped: %w", &readiness.ProtocolError{Faults: []string{
		"home-safety: the unit \"mL\" is none of them", "surgery has a fault", "these steps wait for each other: a → b", "action 7 has no id",
	}})
	r := encoded(t, pd)
	place := map[string]string{}
	for n, a := range r.Get("action").Items() {
		place[a.String("id")] = fmt.Sprintf("PlanDefinition.action[%d]", n)
	}
	issues := Faults(r, err)
	require.Len(t, issues, 4)
	for n, want := range []string{place["home-safety"], place["surgery"], "PlanDefinition.action", "PlanDefinition.action"} {
		require.Equal(t, want, issues[n].Expression)
	}
	require.Nil(t, Faults(r, errors.New("something else")))
}

// What cannot be read is told once, with the faults of the whole that do not
// follow from it.
func TestFaultsOfTheWholeAreToldToo(t *testing.T) {
	defs, pd := decoded(t)
	action(t, pd, "home-safety")["relatedAction"].([]any)[0].(object)["actionId"] = "nowhere"
	delete(action(t, pd, "home-safety"), "requiredBehavior")
	delete(action(t, pd, "bag-packed"), "participant")
	_, err := ReadProtocol(encoded(t, pd), defs)
	var refused *readiness.ProtocolError
	require.ErrorAs(t, err, &refused)
	require.Equal(t, []string{
		`home-safety: requiredBehavior "" is none of must, must-unless-documented, could`, "bag-packed has nobody to do it",
	}, refused.Faults)
}

func TestUnapproved(t *testing.T) {
	const approver = `"endorser":[{"telecom":[{"value":"555-0101"}]},{"name":"Dr Wendeline Thatchmarsh"}]`
	for _, r := range []struct {
		name, elements string
		want           []string
	}{
		{"signed", `"status":"active","approvalDate":"2026-11-02",` + approver, nil},
		{"signed in this month", `"status":"active","approvalDate":"2026-11",` + approver, nil},
		{"signed in this year", `"status":"active","approvalDate":"2026",` + approver, nil},
		{"to be signed next month", `"status":"active","approvalDate":"2026-12",` + approver, []string{"approvalDate"}},
		{"nothing said", `"status":"unknown"`, []string{"status", "approvalDate", "endorser"}},
		{"a blank name", `"status":"active","approvalDate":"2026-11-02","endorser":[{"name":" "}]`, []string{"endorser"}},
		{"in its period", `"status":"active","approvalDate":"2026-11-02","effectivePeriod":{"start":"2026-11-02T23:00:00-06:00","end":"2026-11"},` + approver, nil},
		{"before its period", `"status":"active","approvalDate":"2026-11-02","effectivePeriod":{"start":"2026-11-03"},` + approver, []string{"effectivePeriod"}},
		{"after its period", `"status":"active","approvalDate":"2026-11-02","effectivePeriod":{"end":"2026-11-01"},` + approver, []string{"effectivePeriod"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			var got []string
			for _, i := range Unapproved(parse(t, []byte(`{"resourceType":"PlanDefinition",`+r.elements+"}")), "2026-11-02") {
				got = append(got, i.Expression[len("PlanDefinition."):])
			}
			require.Equal(t, r.want, got)
		})
	}
}
