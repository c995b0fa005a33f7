package fhir

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSubset(t *testing.T) {
	const mark = `{"system":"http://terminology.hl7.org/CodeSystem/v3-ObservationValue","code":"SUBSETTED"}`
	for name, c := range map[string]struct{ sent, want string }{
		"no meta":      {`{"resourceType":"Patient","active":true,"gender":"male"}`, `{"resourceType":"Patient","gender":"male","meta":{"tag":[` + mark + `]}}`},
		"meta":         {`{"gender":"male","resourceType":"Patient","id":"1","meta":{"versionId":"2"}}`, `{"resourceType":"Patient","gender":"male","id":"1","meta":{"versionId":"2","tag":[` + mark + `]}}`},
		"a tag":        {`{"resourceType":"Patient","meta":{"tag":[{"code":"a"}],"versionId":"2"}}`, `{"resourceType":"Patient","meta":{"tag":[{"code":"a"},` + mark + `],"versionId":"2"}}`},
		"an extension": {`{"resourceType":"Patient","_gender":{"extension":[{"url":"http://a.example","valueCode":"x"}]},"_active":{"extension":[{"url":"http://a.example","valueCode":"x"}]}}`, `{"resourceType":"Patient","_gender":{"extension":[{"url":"http://a.example","valueCode":"x"}]},"meta":{"tag":[` + mark + `]}}`},
	} {
		t.Run(name, func(t *testing.T) {
			r, issues := Parse([]byte(c.sent), 0)
			require.Empty(t, issues)
			got := r.Subset(func(element string) bool { return element == "gender" })
			require.Equal(t, c.want, string(got))
			_, issues = Parse(got, 0)
			require.Empty(t, issues)
		})
	}
}
