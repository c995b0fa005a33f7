package fhir

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var noon = time.Date(2026, 10, 2, 12, 0, 0, 0, time.FixedZone("", -6*3600))

func parsed(t require.TestingT, body string) *Resource {
	r, issues := Parse([]byte(body), len(body)+1)
	require.Nil(t, issues)
	return r
}

func TestWithMeta(t *testing.T) {
	for _, tc := range []struct{ name, in, want string }{
		{"neither id nor meta", `{"resourceType":"Basic","code":{"text":"<b> 1.10"}}`,
			`{"resourceType":"Basic","id":"n1","meta":{"versionId":"2","lastUpdated":"2026-10-02T12:00:00.000-06:00"},"code":{"text":"<b> 1.10"}}`},
		{"id only, type last", `{ "id" : "old", "code": {"text":"x"}, "resourceType":"Basic" }`,
			`{ "id" : "n1", "code": {"text":"x"}, "resourceType":"Basic","meta":{"versionId":"2","lastUpdated":"2026-10-02T12:00:00.000-06:00"} }`},
		{"meta with other content", `{"resourceType":"Basic","meta":{ "profile":["http://p.example"],"versionId":"77","source":"urn:a" },"code":{"text":"x"}}`,
			`{"resourceType":"Basic","id":"n1","meta":{"lastUpdated":"2026-10-02T12:00:00.000-06:00", "profile":["http://p.example"],"versionId":"2","source":"urn:a" },"code":{"text":"x"}}`},
		{"escapes and number texts", `{"resourceType":"Basic","code":{"text":"\u00e9\/\n"},"extension":[{"url":"u","valueDecimal":1.10},{"url":"u","valueDecimal":-0.0E+2}]}`,
			`{"resourceType":"Basic","id":"n1","meta":{"versionId":"2","lastUpdated":"2026-10-02T12:00:00.000-06:00"},"code":{"text":"\u00e9\/\n"},"extension":[{"url":"u","valueDecimal":1.10},{"url":"u","valueDecimal":-0.0E+2}]}`},
		{"id of a contained resource stays", `{"resourceType":"Basic","contained":[{"resourceType":"Patient","id":"p","meta":{"profile":["http://p.example"]}}],"code":{"text":"x"}}`,
			`{"resourceType":"Basic","id":"n1","meta":{"versionId":"2","lastUpdated":"2026-10-02T12:00:00.000-06:00"},"contained":[{"resourceType":"Patient","id":"p","meta":{"profile":["http://p.example"]}}],"code":{"text":"x"}}`},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := parsed(t, tc.in)
			require.Equal(t, tc.want, string(r.WithMeta("n1", "2", noon)))
			require.Equal(t, tc.in, string(r.Raw), "the received bytes are not touched")
			require.Equal(t, tc.want, string(parsed(t, tc.want).WithMeta("n1", "2", noon)), "twice is once")
			require.Equal(t, tc.in, string(r.Apply(Patch{})), "an empty patch changes nothing")
		})
	}
}

func TestWithMetaKeepsContainedSiblingsAndDecimals(t *testing.T) {
	for _, in := range []string{booked, patient, procedure, task} {
		r := parsed(t, in)
		requireSameButMeta(t, r, parsed(t, string(r.WithMeta("other", "9", noon))))
	}
}

func requireSameButMeta(t require.TestingT, before, after *Resource) {
	for name, n := range before.Root().Members() {
		if name != "id" && name != "meta" {
			require.Equal(t, string(before.Bytes(n)), string(after.Bytes(after.Get(name))), name)
			require.True(t, n.Equal(after.Get(name)), name)
		}
	}
	for name, n := range before.Get("meta").Members() {
		if name != "versionId" && name != "lastUpdated" {
			require.Equal(t, string(before.Bytes(n)), string(after.Bytes(after.Get("meta", name))), name)
		}
	}
}

func TestRewriteReferences(t *testing.T) {
	r := parsed(t, bundle("transaction", entry(urn1, strings.Replace(procedure, "Patient/pat-204", urn3, 1), "POST", "Procedure")))
	b, issues := r.Bundle(0)
	require.Nil(t, issues)
	inner := b.Entries[0].Resource
	out := inner.RewriteReferences(func(ref string) string {
		if ref == urn3 {
			return `Patient/"1`
		}
		return ref
	})
	require.Equal(t, strings.Replace(procedure, "Patient/pat-204", `Patient/\"1`, 1), string(out))

	body := `{"resourceType":"CarePlan","status":"active","intent":"plan","subject":{"reference":"Patient?identifier=s|1"},
		"instantiatesUri":["` + urn1 + `","https://a.example"],"instantiatesCanonical":["` + urn1 + `"],"title":"` + urn1 + `",
		"note":[{"authorReference":{"reference":"` + urn1 + `","display":"` + urn1 + `"},"text":"` + urn1 + `"}],
		"extension":[{"url":"u","valueUuid":"` + urn1 + `"},{"url":"u","valueCanonical":"` + urn1 + `"},{"url":"u","valueReference":{"reference":"` + urn1 + `"}}]}`
	var seen []string
	out = parsed(t, body).RewriteReferences(func(ref string) string { seen = append(seen, ref); return "X/1" })
	after := parsed(t, strings.Replace(string(out), `"valueUuid":"X/1"`, `"valueUuid":"`+urn2+`"`, 1))
	require.Len(t, seen, 5)
	require.NotContains(t, seen, "https://a.example")
	require.Equal(t, "X/1", after.String("subject", "reference"))
	require.Equal(t, "X/1", after.Get("instantiatesUri").Item(0).Text())
	require.Equal(t, urn1, after.String("instantiatesCanonical"), "canonical is left alone")
	require.Equal(t, urn1, after.String("title"), "text is left alone")
	require.Equal(t, "X/1", after.String("note", "authorReference", "reference"))
	require.Equal(t, urn1, after.String("note", "authorReference", "display"))
	require.Equal(t, "X/1", after.Get("extension").Item(2).String("valueReference", "reference"))
	require.Equal(t, urn1, after.Get("extension").Item(1).String("valueCanonical"))
}

func TestApplyDoesAllInOnePass(t *testing.T) {
	r := parsed(t, procedure)
	out := parsed(t, string(r.Apply(Patch{ID: "p9", VersionID: "4", LastUpdated: noon,
		Reference: func(string) string { return "Patient/other" }})))
	require.Equal(t, "p9", out.ID())
	require.Equal(t, "4", out.String("meta", "versionId"))
	require.Equal(t, "2026-10-02T12:00:00.000-06:00", out.String("meta", "lastUpdated"))
	require.Equal(t, "Patient/other", out.String("subject", "reference"))
}

// However the members are ordered and spaced, a patch keeps the bytes of all
// that it does not concern.
func TestWithMetaProperty(t *testing.T) {
	source := parsed(t, booked)
	var names []string
	for name := range source.Root().Members() {
		names = append(names, name)
	}
	rapid.Check(t, func(t *rapid.T) {
		space := rapid.StringMatching(`[ \n\t]{0,3}`)
		optional := map[string]bool{"id": true, "meta": true, "text": true, "_description": true, "extension": true}
		var b strings.Builder
		b.WriteString(space.Draw(t, "space") + "{")
		first := true
		for _, name := range rapid.Permutation(names).Draw(t, "order") {
			if optional[name] && rapid.Bool().Draw(t, "without "+name) {
				continue
			}
			if !first {
				b.WriteString("," + space.Draw(t, "space"))
			}
			first = false
			b.WriteString(`"` + name + `"` + space.Draw(t, "space") + ":" + space.Draw(t, "space") + string(source.Bytes(source.Get(name))))
		}
		b.WriteString(space.Draw(t, "space") + "}")
		before := parsed(t, b.String())
		out := before.WithMeta("n1", "2", noon)
		after := parsed(t, string(out))
		require.Equal(t, "n1", after.ID())
		require.Equal(t, "2", after.String("meta", "versionId"))
		requireSameButMeta(t, before, after)
		require.Equal(t, string(out), string(after.WithMeta("n1", "2", noon)))
	})
}
