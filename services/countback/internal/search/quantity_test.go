package search

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

func observed(t *testing.T, value string) []Value {
	t.Helper()
	var out []Value
	for _, v := range Index(parsed(t, `{"resourceType":"Observation","status":"final","code":{"text":"t"},"valueQuantity":`+value+`}`), testBase, chicago(t)) {
		if v.Param == "value-quantity" {
			out = append(out, v)
		}
	}
	return out
}

// Source: HL7 FHIR R4 (4.0.1), Search, 3.1.1.4.9: the table of what a number with
// this many digits finds, and 3.1.1.4.13: value-quantity=5.4|http://unitsofmeasure.org|mg,
// 5.4||mg, 5.40e-3, ap5.4.
func TestQuantity(t *testing.T) {
	for _, c := range []struct {
		query string
		value string
		found bool
	}{
		{"100", "99.5", true}, {"100", "100.4999", true}, {"100", "100.5", false}, {"100", "99.4999", false},
		{"100.00", "100.0049", true}, {"100.00", "100.005", false}, {"100.00", "99.995", true},
		{"1e2", "149", true}, {"1e2", "150", false}, {"1e2", "50", true}, {"1e2", "49.9", false},
		{"5.40e-3", "0.005395", true}, {"5.40e-3", "0.0054", true}, {"5.40e-3", "0.005405", false},
		{"-5", "-5.4", true}, {"-5", "-5.6", false}, {"0", "0.4", true},
		{"ne100", "100.2", false}, {"ne100", "101", true},
		{"lt100", "99.999", true}, {"lt100", "100", false}, {"le100", "100", true}, {"le100", "100.001", false},
		{"gt100", "100.001", true}, {"gt100", "100", false}, {"ge100", "100", true}, {"ge100", "99.999", false},
		{"sa100", "100.001", true}, {"sa100", "100", false}, {"eb100", "99.999", true}, {"eb100", "100", false},
		{"ap100", "110", true}, {"ap100", "110.1", false}, {"ap100", "90", true}, {"ap100", "89.9", false},
		{"ap-10", "-10.9", true}, {"ap-10", "-8.9", false},
	} {
		t.Run(fmt.Sprintf("%s of %s", c.query, c.value), func(t *testing.T) {
			q, issues := parse(t, "Observation", "value-quantity="+c.query)
			require.Empty(t, issues)
			held := observed(t, `{"value":`+c.value+`}`)
			require.Len(t, held, 1)
			require.Equal(t, c.found, q.Clauses[0].Matches[0].Matches(held[0].Low, held[0].High))
		})
	}
}

// A value such as "<5" stands for all that it may be.
func TestQuantityWithComparator(t *testing.T) {
	for _, c := range []struct {
		query, comparator string
		found             bool
	}{
		{"lt5", "<", true}, {"gt5", "<", false}, {"ge5", "<", false}, {"le5", "<=", true}, {"ge5", "<=", false}, {"gt5", ">", true}, {"lt5", ">", false}, {"lt5", ">=", false}, {"gt5", ">=", true}, {"le5", ">=", false},
	} {
		q, issues := parse(t, "Observation", "value-quantity="+c.query)
		require.Empty(t, issues)
		held := observed(t, `{"value":5,"comparator":"`+c.comparator+`"}`)[0]
		require.Equal(t, c.found, q.Clauses[0].Matches[0].Matches(held.Low, held.High), "%s of %s5", c.query, c.comparator)
	}
}

func TestQuantityUnits(t *testing.T) {
	held := observed(t, `{"value":5.4,"unit":"milligrams","system":"http://unitsofmeasure.org","code":"mg"}`)
	require.Equal(t, []Value{
		{Param: "value-quantity", Kind: Quantity, System: "http://unitsofmeasure.org", Value: "mg", Low: 5_400_000, High: 5_400_001},
		{Param: "value-quantity", Kind: Quantity, Value: "milligrams", Low: 5_400_000, High: 5_400_001},
	}, held)
	require.Len(t, observed(t, `{"value":5.4,"unit":"mg","code":"mg"}`), 1)
	require.Empty(t, observed(t, `{"unit":"mg"}`))
	for query, want := range map[string]Match{
		"gt5.4|http://unitsofmeasure.org|mg": {Prefix: Greater, Low: 5_400_000, High: 5_400_001, HasSystem: true, System: "http://unitsofmeasure.org", HasValue: true, Value: "mg"},
		"5.4||mg":                            {Prefix: Equal, Low: 5_350_000, High: 5_450_000, HasValue: true, Value: "mg"},
	} {
		q, issues := parse(t, "Observation", "value-quantity="+query)
		require.Empty(t, issues)
		require.Equal(t, []Match{want}, q.Clauses[0].Matches)
	}
}

func TestComposite(t *testing.T) {
	q, issues := parse(t, "Observation", `code-value-quantity=http://loinc.org|2160-0$gt1.5,718-7$lt12||g/dL`)
	require.Empty(t, issues)
	require.Len(t, q.Clauses, 1)
	require.Len(t, q.Clauses[0].Pairs, 2)
	first := q.Clauses[0].Pairs[0]
	require.Equal(t, []string{"code", "value-quantity"}, []string{first[0].Rows, first[1].Rows})
	require.Equal(t, Match{HasSystem: true, System: "http://loinc.org", HasValue: true, Value: "2160-0"}, first[0].Matches[0])
	require.Equal(t, Greater, first[1].Matches[0].Prefix)
	missing, issues := parse(t, "Observation", `code-value-quantity:missing=true`)
	require.Empty(t, issues)
	require.Equal(t, "value-quantity", missing.Clauses[0].Rows)
}

func TestSets(t *testing.T) {
	named := func(o *Options) {
		o.Set = func(url string) ([]Code, string) {
			switch url {
			case "http://a.example/two":
				return []Code{{"s", "1"}, {"s", "2"}}, ""
			case "http://a.example/many":
				return make([]Code, maxSet+1), ""
			}
			return nil, "no value set with this url is held here"
		}
	}
	for modifier, want := range map[string]Modifier{"in": Plain, "not-in": Not} {
		q, issues := parse(t, "Condition", "code:"+modifier+"=http://a.example/two", named)
		require.Empty(t, issues)
		require.Equal(t, want, q.Clauses[0].Modifier)
		require.Equal(t, []Match{{HasSystem: true, System: "s", HasValue: true, Value: "1"}, {HasSystem: true, System: "s", HasValue: true, Value: "2"}}, q.Clauses[0].Matches)
	}
	_, issues := parse(t, "Condition", "code:in=http://a.example/none", named)
	require.ErrorContains(t, issues, "search parameter code: no value set with this url is held here")
	_, issues = parse(t, "Condition", "code:in=http://a.example/many", named)
	require.ErrorContains(t, issues, "search parameter code: the value set has too many codes")
}
