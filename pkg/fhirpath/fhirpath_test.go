package fhirpath

import (
	"testing"

	"github.com/stretchr/testify/require"
)

const bundle = `{"resourceType":"Bundle","type":"searchset","total":2,"link":[{"relation":"self","url":"http://a.example/Task?x=1"}],"entry":[
 {"fullUrl":"http://a.example/Task/1","search":{"mode":"match"},"resource":{"resourceType":"Task","id":"1","status":"requested","restriction":{"period":{"start":"2026-11-01","end":"2026-11-16"}},
   "code":{"coding":[{"code":"a"}]},"input":[{"valueString":"seven","valueSetName":"no choice"}]}},
 {"fullUrl":"http://a.example/Task/2","search":{"mode":"match"},"resource":{"resourceType":"Task","id":"2","status":"draft",
   "extension":[{"url":"http://x.example/one","valueBoolean":true}],"meta":{"lastUpdated":"2026-11-02T09:00:00.000-06:00"}}}]}`

// TestExpressions: what comes out was written down by hand from FHIRPath N1.
func TestExpressions(t *testing.T) {
	resource, err := Decode([]byte(bundle))
	require.NoError(t, err)
	for _, c := range []struct {
		source string
		want   []string
	}{
		{"Bundle.type", []string{"searchset"}},
		{"type", []string{"searchset"}},
		{"Patient.type", []string{}},
		{"Bundle.total.toInteger() >= entry.count()", []string{"true"}},
		{"entry.resource.id", []string{"1", "2"}},
		{"entry.resource.where(status = 'draft').id", []string{"2"}},
		{"entry[1].resource.id", []string{"2"}},
		{"entry[7].resource.id", []string{}},
		{"entry.resource.ofType(Task).count()", []string{"2"}},
		{"entry.resource.ofType(Patient).count()", []string{"0"}},
		{"entry.first().resource is Task", []string{"true"}},
		{"entry.first().resource is Patient", []string{"false"}},
		{"entry.resource.input.value", []string{"seven"}},
		{"entry.resource.restriction.period.end = '2026-11-16'", []string{"true"}},
		{"entry.resource.restriction.period.end = @2026-11-16", []string{"true"}},
		{"entry.resource.restriction.period.end > @2026-11-15", []string{"true"}},
		{"entry.resource.restriction.period.end > @2026-11", []string{}},
		{"entry.resource.meta.lastUpdated = @2026-11-02T15:00:00Z", []string{"true"}},
		{"entry.resource.restriction.period.start < entry.resource.restriction.period.end", []string{"true"}},
		{"entry.all(search.mode = 'match')", []string{"true"}},
		{"entry.all(resource.status = 'draft')", []string{"false"}},
		{"entry.exists(resource.status = 'draft') and entry.exists(resource.status = 'x').not()", []string{"true"}},
		{"entry.resource.status in ('draft' | 'requested')", nil}, // two values: an error
		{"entry.first().resource.status in ('draft' | 'requested')", []string{"true"}},
		{"('draft' | 'requested') contains 'draft'", []string{"true"}},
		{"link.where(relation = 'self').url.startsWith('http')", []string{"true"}},
		{"link.url.endsWith('x=1')", []string{"true"}},
		{"link.url.contains('Task')", []string{"true"}},
		{"link.url.matches('Task.x=[0-9]$')", []string{"true"}},
		{"'Task 2'.endsWith(entry.last().resource.id)", []string{"true"}},
		{"entry.where('1'.contains(resource.id)).resource.id", []string{"1"}},
		{"link.url.length() = 25", []string{"true"}},
		{"link.url.substring(7, 9)", []string{"a.example"}},
		{"'Aa'.lower() & 'Aa'.upper()", []string{"aaAA"}},
		{"entry.resource.id.join(',')", []string{"1,2"}},
		{"entry.resource.extension('http://x.example/one').value", []string{"true"}},
		{"entry.select(resource.id | fullUrl).count()", []string{"4"}},
		{"entry.search.mode.distinct()", []string{"match"}},
		{"entry.search.mode.isDistinct()", []string{"false"}},
		{"entry.tail().resource.id", []string{"2"}},
		{"entry.skip(1).resource.id = entry.last().resource.id", []string{"true"}},
		{"entry.take(1).resource.id.single()", []string{"1"}},
		{"entry.single()", nil},
		{"1 + 2 = 3 and 5 - 7 = -2 and 1.50 = 1.5", []string{"true"}},
		{"2 > 10", []string{"false"}},
		{"'2' > '10'", []string{"true"}},
		{"{} = 1", []string{}},
		{"nothing.exists() or true", []string{"true"}},
		{"nothing = 'a' and false", []string{"false"}},
		{"nothing = 'a' or true", []string{"true"}},
		{"nothing = 'a'", []string{}},
		{"nothing.empty()", []string{"true"}},
		{"false implies nothing", []string{"true"}},
		{"true xor true", []string{"false"}},
		{"iif(total = 2, 'two', 'more')", []string{"two"}},
		{"iif(total = 3, 'three', 'more')", []string{"more"}},
		{"%resource.total", []string{"2"}},
		{"entry.resource.status.where($this = 'draft')", []string{"draft"}},
		{"`type`", []string{"searchset"}},
		{"total.toString()", []string{"2"}},
		{"(true | false).anyTrue() and (true | false).allTrue().not()", []string{"true"}},
		{"entry and true", nil},
		{"entry > 1", nil},
		{"total > 'a'", nil},
		{"total is Quantity", nil},
	} {
		t.Run(c.source, func(t *testing.T) {
			e, err := Parse(c.source)
			require.NoError(t, err)
			got, err := e.Texts(resource)
			if c.want == nil {
				require.ErrorIs(t, err, ErrEvaluation)
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.want, got)
		})
	}
}

// TestRefusals: what is not known is an error, and not an empty collection.
func TestRefusals(t *testing.T) {
	for source, want := range map[string]error{
		"entry.resolve()": ErrUnsupported, "today()": ErrUnsupported, "descendants().id": ErrUnsupported, "a ~ b": ErrUnsupported,
		"1 * 2": ErrUnsupported, "4 mod 2": ErrUnsupported, "%ucum": ErrUnsupported, "$index": ErrUnsupported, "'\\u0041'": ErrUnsupported,
		"memberOf('x')": ErrUnsupported, "-a": ErrUnsupported,
		"": ErrSyntax, "a.": ErrSyntax, "a..b": ErrSyntax, "a b": ErrSyntax, "(a": ErrSyntax, "a[1": ErrSyntax, "'a": ErrSyntax,
		"where()": ErrSyntax, "a = ": ErrSyntax, "a is 1": ErrSyntax, "a ? b": ErrSyntax, "where(a b)": ErrSyntax, "a)": ErrSyntax,
	} {
		_, err := Parse(source)
		require.ErrorIs(t, err, want, source)
	}
}

func TestHolds(t *testing.T) {
	resource, err := Decode([]byte(bundle))
	require.NoError(t, err)
	for source, want := range map[string]bool{"total = 2": true, "total = 3": false, "nothing": false} {
		e, err := Parse(source)
		require.NoError(t, err)
		is, err := e.Holds(resource)
		require.NoError(t, err)
		require.Equal(t, want, is, source)
	}
	for _, source := range []string{"total", "entry", "entry.resource.status = 'x' and entry"} {
		e, err := Parse(source)
		require.NoError(t, err)
		_, err = e.Holds(resource)
		require.ErrorIs(t, err, ErrEvaluation, "%s is no condition, and may not count as true", source)
	}
}
