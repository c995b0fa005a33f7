package search

import (
	"fmt"
	"math"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/fhir"
)

func options(t testing.TB) Options {
	return Options{Zone: chicago(t), Base: testBase}
}

func parse(t testing.TB, typ, query string, change ...func(*Options)) (Query, fhir.Issues) {
	t.Helper()
	values, err := url.ParseQuery(query)
	require.NoError(t, err)
	o := options(t)
	for _, c := range change {
		c(&o)
	}
	return Parse(typ, values, o)
}

func strict(o *Options) { o.Strict = true }

// Escapes: FHIR R4 Search, "Escaping Search Parameters".
func TestParseValues(t *testing.T) {
	tok := func(value string) Match { return Match{HasValue: true, Value: value} }
	both := func(system, value string) Match {
		return Match{HasSystem: true, System: system, HasValue: true, Value: value}
	}
	tests := map[string]struct {
		typ, query string
		want       []Match
	}{
		"code":                    {"Procedure", "code=1", []Match{tok("1")}},
		"system and code":         {"Procedure", "code=s|1", []Match{both("s", "1")}},
		"no system":               {"Procedure", "code=|1", []Match{both("", "1")}},
		"system only":             {"Procedure", "code=s|", []Match{{HasSystem: true, System: "s"}}},
		"alternatives":            {"Procedure", "code=s|1,2", []Match{both("s", "1"), tok("2")}},
		"escaped comma":           {"Procedure", `code=a\,b`, []Match{tok("a,b")}},
		"escaped bar":             {"Procedure", `code=a\|b`, []Match{tok("a|b")}},
		"escaped bar in a system": {"Procedure", `code=a\|b|c`, []Match{both("a|b", "c")}},
		"escaped dollar":          {"Procedure", `code=a\$b`, []Match{tok("a$b")}},
		"escaped backslash":       {"Procedure", `code=a\\,b`, []Match{tok(`a\`), tok("b")}},
		"other backslash":         {"Procedure", `code=a\nb`, []Match{tok(`a\nb`)}},
		"reference by id":         {"Procedure", "subject=p", []Match{tok("p")}},
		"reference":               {"Procedure", "subject=Patient/p", []Match{both("Patient", "p")}},
		"own absolute reference":  {"Procedure", "subject=" + testBase + "/Patient/p", []Match{both("Patient", "p")}},
		"reference with version":  {"Procedure", "subject=Patient/p/_history/2", []Match{both("Patient", "p")}},
		"foreign reference":       {"Procedure", "subject=https://other.example/Patient/p", []Match{both("", "https://other.example/Patient/p")}},
		"typed reference":         {"Procedure", "subject:Patient=p", []Match{both("Patient", "p")}},
		"reference by identifier": {"Procedure", "subject:identifier=s|v", []Match{both("s", "v")}},
		"canonical":               {"CarePlan", "instantiates-canonical=http://a.example/P", []Match{tok("http://a.example/P")}},
		"canonical with version":  {"CarePlan", "instantiates-canonical=http://a.example/P|1", []Match{both("1", "http://a.example/P")}},
		"text is folded":          {"Patient", "family=MÜLLER", []Match{tok("muller")}},
		"exact text is not":       {"Patient", "family:exact=MÜLLER", []Match{tok("MÜLLER")}},
		"part of a text":          {"Patient", "family:contains=ÜLL", []Match{tok("ull")}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			q, issues := parse(t, tt.typ, url.PathEscape(tt.query))
			require.NoError(t, issues.Err())
			require.Len(t, q.Clauses, 1)
			require.Equal(t, tt.want, q.Clauses[0].Matches)
		})
	}
}

func TestParseDates(t *testing.T) {
	tests := map[string]struct {
		prefix    Prefix
		low, high string
	}{
		"2026":                           {Equal, "2026-01-01T06:00:00Z", "2027-01-01T06:00:00Z"},
		"eq2026-11":                      {Equal, "2026-11-01T05:00:00Z", "2026-12-01T06:00:00Z"},
		"ne2026-11-01":                   {NotEqual, "2026-11-01T05:00:00Z", "2026-11-02T06:00:00Z"},
		"gt2026-11-03T10:00":             {Greater, "2026-11-03T16:00:00Z", "2026-11-03T16:01:00Z"},
		"lt2026-11-03T10:00:00Z":         {Less, "2026-11-03T10:00:00Z", "2026-11-03T10:00:01Z"},
		"ge2026-11-03T10:00:00.5+02:00":  {AtLeast, "2026-11-03T08:00:00.5Z", "2026-11-03T08:00:00.6Z"},
		"le2026-11-03T10:00:00.1234567Z": {AtMost, "2026-11-03T10:00:00.123456Z", "2026-11-03T10:00:00.123457Z"},
		"sa2028-02-29":                   {StartsPast, "2028-02-29T06:00:00Z", "2028-03-01T06:00:00Z"},
		"eb2026-03-08":                   {EndsBefore, "2026-03-08T06:00:00Z", "2026-03-09T05:00:00Z"},
		"ap2026-11-03":                   {Near, "2026-11-02T06:00:00Z", "2026-11-05T06:00:00Z"}, // 10 days ahead of now
	}
	for value, tt := range tests {
		t.Run(value, func(t *testing.T) {
			q, issues := parse(t, "Procedure", "date="+url.QueryEscape(value), func(o *Options) {
				o.Now = time.Date(2026, 10, 24, 6, 0, 0, 0, time.UTC)
			})
			require.NoError(t, issues.Err())
			require.Equal(t, []Match{{Prefix: tt.prefix, Low: us(tt.low), High: us(tt.high)}}, q.Clauses[0].Matches)
		})
	}
}

// The examples of fhir R4 Search, 3.1.1.4.7, and the comparisons of the table
// of prefixes at their edges. Times are hours.
func TestDateMatches(t *testing.T) {
	const inf = math.MaxInt64
	search := [2]int64{10, 20}
	tests := map[string]struct {
		low, high int64
		want      string // the prefixes that match
	}{
		"the same":            {10, 20, "eq ge le ap"},
		"within":              {12, 15, "eq ge le ap"},
		"around":              {5, 25, "ne gt lt ge le ap"},
		"before, touching":    {5, 10, "ne lt le eb"},
		"before":              {5, 9, "ne lt le eb"},
		"after, touching":     {20, 25, "ne gt ge sa"},
		"after":               {21, 25, "ne gt ge sa"},
		"over the start":      {5, 15, "ne lt le ap"},
		"over the end":        {15, 25, "ne gt ge ap"},
		"from within onwards": {15, inf, "ne gt ge ap"},
		"from before onwards": {5, inf, "ne gt lt ge le ap"},
		"up to within":        {math.MinInt64, 15, "ne lt le ap"},
		"always":              {math.MinInt64, inf, "ne gt lt ge le ap"},
		"point within":        {10, 11, "eq ge le ap"},
		"point at the end":    {20, 21, "ne gt ge sa"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var got []string
			for _, p := range prefixes {
				if (Match{Prefix: p, Low: search[0], High: search[1]}).Matches(tt.low, tt.high) {
					got = append(got, string(p))
				}
			}
			require.ElementsMatch(t, strings.Fields(tt.want), got)
		})
	}
}

var (
	long = strings.Repeat("1,", maxMatches) + "1"
	many = strings.TrimSuffix(strings.Repeat("code=1&", maxClauses+1), "&")
)

var badSearches = map[string]struct {
	typ, query, code, names string
}{
	"bad date":                      {"Appointment", "date=2026-13", fhir.CodeValue, "date"},
	"date with bad prefix":          {"Appointment", "date=xx2026", fhir.CodeValue, "date"},
	"date with prefix only":         {"Appointment", "date=ge", fhir.CodeValue, "date"},
	"day that does not exist":       {"Appointment", "date=2026-02-29", fhir.CodeValue, "date"},
	"one bad alternative":           {"Appointment", "date=2026,nonsense", fhir.CodeValue, "date"},
	"empty alternative":             {"Appointment", "status=booked,", fhir.CodeValue, "status"},
	"bar alone":                     {"Appointment", "identifier=|", fhir.CodeValue, "identifier"},
	"two bars":                      {"Appointment", "identifier=a|b|c", fhir.CodeValue, "identifier"},
	"id with system":                {"Appointment", "_id=a|b", fhir.CodeValue, "_id"},
	"reference of no type":          {"Appointment", "patient=Nobody/1", fhir.CodeValue, "patient"},
	"reference with blanks":         {"Appointment", "patient=a b", fhir.CodeValue, "patient"},
	"conditional reference":         {"Appointment", "patient=Patient?name=x", fhir.CodeValue, "patient"},
	"type against the modifier":     {"Procedure", "subject:Group=Patient/1", fhir.CodeValue, "subject"},
	"canonical without url":         {"CarePlan", "instantiates-canonical=|1", fhir.CodeValue, "instantiates-canonical"},
	"missing maybe":                 {"Appointment", "status:missing=maybe", fhir.CodeValue, "status"},
	"not of a date":                 {"Appointment", "date:not=2026", fhir.CodeNotSupported, "date"},
	"exact token":                   {"Appointment", "status:exact=booked", fhir.CodeNotSupported, "status"},
	"text of a code without words":  {"Procedure", "status:text=done", fhir.CodeNotSupported, "status"},
	"a set where none can be named": {"Procedure", "code:in=http://a.example/v", fhir.CodeNotSupported, "code"},
	"a quantity that is none":       {"Observation", "value-quantity=high", fhir.CodeValue, "value-quantity"},
	"a quantity with half a unit":   {"Observation", "value-quantity=5|mg", fhir.CodeValue, "value-quantity"},
	"a quantity beyond all":         {"Observation", "value-quantity=1e99", fhir.CodeValue, "value-quantity"},
	"half of a composite":           {"Observation", "code-value-quantity=1", fhir.CodeValue, "code-value-quantity"},
	"a composite of no quantity":    {"Observation", "code-value-quantity=1$high", fhir.CodeValue, "code-value-quantity"},
	"a modifier of a quantity":      {"Observation", "value-quantity:exact=5", fhir.CodeNotSupported, "value-quantity"},
	"contains of a reference":       {"Appointment", "patient:contains=1", fhir.CodeNotSupported, "patient"},
	"identifier of an item column":  {"Task", "patient:identifier=1", fhir.CodeNotSupported, "patient"},
	"type of an identifier alone":   {"Patient", "identifier:of-type=s|MR", fhir.CodeValue, "identifier"},
	"type of no identifier":         {"Procedure", "code:of-type=s|MR|1", fhir.CodeNotSupported, "code"},
	"type of an item column":        {"Task", "identifier:of-type=s|MR|1", fhir.CodeNotSupported, "identifier"},
	"chain of two steps":            {"Encounter", "appointment.patient.name=x", fhir.CodeNotSupported, "appointment"},
	"chain along a date":            {"Appointment", "date.name=x", fhir.CodeNotSupported, "date"},
	"chain along a canonical":       {"CarePlan", "instantiates-canonical.name=x", fhir.CodeNotSupported, "instantiates-canonical"},
	"chain to another type":         {"Appointment", "patient:Location.name=x", fhir.CodeValue, "patient"},
	"chain to nothing":              {"Appointment", "patient.colour=x", fhir.CodeNotSupported, "patient"},
	"chain with a bad value":        {"Appointment", "patient.birthdate=x", fhir.CodeValue, "birthdate"},
	"chain with a bad modifier":     {"Appointment", "patient.birthdate:not=2026", fhir.CodeNotSupported, "birthdate"},
	"has too little":                {"Patient", "_has:Task:patient=x", fhir.CodeValue, "_has"},
	"has what does not refer":       {"Appointment", "_has:Task:owner:status=x", fhir.CodeNotSupported, "_has"},
	"has what is not held":          {"Patient", "_has:Basic:patient:code=x", fhir.CodeNotSupported, "_has"},
	"has with a bad value":          {"Patient", "_has:Task:patient:due=x", fhir.CodeValue, "due"},
	"text with includes":            {"Appointment", "_summary=text&_include=Appointment:patient", fhir.CodeInvariant, "_summary"},
	"a summary of another kind":     {"Appointment", "_summary=some", fhir.CodeValue, "_summary"},
	"count not a number":            {"Appointment", "_count=many", fhir.CodeValue, "_count"},
	"negative count":                {"Appointment", "_count=-1", fhir.CodeValue, "_count"},
	"count twice":                   {"Appointment", "_count=1&_count=2", fhir.CodeValue, "_count"},
	"sort by a reference":           {"Appointment", "_sort=patient", fhir.CodeNotSupported, "_sort"},
	"sort by the unknown":           {"Appointment", "_sort=nothing", fhir.CodeNotSupported, "_sort"},
	"sort twice by the same":        {"Appointment", "_sort=date,-date", fhir.CodeValue, "_sort"},
	"sort by too many":              {"ServiceRequest", "_sort=occurrence,authored,_lastUpdated,_id", fhir.CodeTooCostly, "_sort"},
	"total of another kind":         {"Appointment", "_total=many", fhir.CodeValue, "_total"},
	"page of nothing":               {"Appointment", "_page=AAAA", fhir.CodeValue, "_page"},
	"page that is not base64":       {"Appointment", "_page=***", fhir.CodeValue, "_page"},
	"too many alternatives":         {"Procedure", "code=" + long, fhir.CodeTooCostly, "code"},
	"too many parameters":           {"Procedure", many, fhir.CodeTooCostly, "at most"},
	"a type not searched":           {"Basic", "_id=1", fhir.CodeNotSupported, "resource type"},
	"text of marks only":            {"Patient", "name=%CC%81", fhir.CodeValue, "name"},
}

func TestParseIssues(t *testing.T) {
	for name, tt := range badSearches {
		t.Run(name, func(t *testing.T) {
			_, issues := parse(t, tt.typ, strings.ReplaceAll(tt.query, "|", "%7C"))
			require.Len(t, issues, 1)
			require.Equal(t, tt.code, issues[0].Code)
			require.Contains(t, issues[0].Text, tt.names)
			require.Equal(t, fhir.SeverityError, issues[0].Severity)
		})
	}
}

// What may be logged never repeats what was sent.
func TestIssuesDoNotLeak(t *testing.T) {
	const canary = "canary7319"
	for _, query := range []string{"date=" + canary, canary + "=1", "date:" + canary + "=1", "_sort=" + canary, "_count=" + canary,
		"status:missing=" + canary, "patient." + canary + "=1", "_total=" + canary, "_page=" + canary, "identifier=a|b|" + canary} {
		_, issues := parse(t, "Appointment", query, strict)
		require.NotEmpty(t, issues, query)
		require.NotContains(t, issues.Error(), canary)
	}
}

func TestUnknownParameters(t *testing.T) {
	const query = "status=booked&colour=red&tint:exact=x&name=&patient="
	q, issues := parse(t, "Appointment", query)
	require.NoError(t, issues.Err())
	require.Equal(t, []Pair{{"status", "booked"}}, q.Used)
	require.Equal(t, "status=booked", q.SelfLink())
	_, issues = parse(t, "Appointment", query, strict)
	require.Len(t, issues, 2)
	require.Contains(t, issues[0].Diagnostics, "colour")
	q, issues = parse(t, "Appointment", "_include=Appointment:patient:Location&_revinclude=Encounter:appointment:Appointment", strict)
	require.NoError(t, issues.Err())
	require.Len(t, q.Includes, 1, "a patient is no place")
	require.Contains(t, q.SelfLink(), "Location")
	_, issues = parse(t, "Location", "_revinclude=Procedure:based-on&_revinclude=Encounter:location:Nothing", strict)
	require.Len(t, issues, 2)
	const mixed = "_include=Appointment:patient&_include=Appointment:status&_include=Task:owner&_include=x&_format=json"
	q, issues = parse(t, "Appointment", mixed, func(o *Options) { o.Handled = []string{"_format"} })
	require.NoError(t, issues.Err())
	require.Equal(t, "_format=json&_include=Appointment%3Apatient", q.SelfLink(), "what cannot be followed is left out")
	require.Len(t, q.Includes, 1)
	_, issues = parse(t, "Appointment", mixed, strict, func(o *Options) { o.Handled = []string{"_format"} })
	require.Len(t, issues, 3)
}

func TestCountAndSort(t *testing.T) {
	for query, want := range map[string]int{"": 50, "_count=0": 0, "_count=7": 7, "_count=1000": 200} {
		q, issues := parse(t, "Appointment", query)
		require.NoError(t, issues.Err())
		require.Equal(t, want, q.Count, query)
	}
	q, _ := parse(t, "Appointment", "_count=90", func(o *Options) { o.MaxCount = 20 })
	require.Equal(t, 20, q.Count)
	q, _ = parse(t, "Appointment", "", func(o *Options) { o.MaxCount = 20 })
	require.Equal(t, 20, q.Count)

	for query, want := range map[string]string{
		"":                        "_lastUpdated _id",
		"_sort=date":              "date _id",
		"_sort=-date,_id":         "-date _id",
		"_sort=-_id,date":         "-_id",
		"_sort=-_lastUpdated":     "-_lastUpdated _id",
		"_sort=date,-_id":         "date -_id",
		"_sort=date&status=x":     "date _id",
		"_sort=_lastUpdated,date": "_lastUpdated date _id",
	} {
		q, issues := parse(t, "Appointment", query)
		require.NoError(t, issues.Err())
		var got []string
		for _, o := range q.Sort {
			got = append(got, map[bool]string{true: "-"}[o.Desc]+o.Param.Code)
		}
		require.Equal(t, want, strings.Join(got, " "), query)
	}
}

func TestCursor(t *testing.T) {
	query := "status=booked&_sort=-date&_count=2"
	q, _ := parse(t, "Appointment", query)
	cursor := q.Cursor([]Key{{At: -5}, {Text: "abc"}})
	next, issues := parse(t, "Appointment", q.NextLink(cursor))
	require.NoError(t, issues.Err())
	require.Equal(t, []Key{{At: -5}, {Text: "abc"}}, next.After)
	require.Equal(t, q.NextLink(cursor), next.SelfLink(), "the page's own link has its cursor")

	_, issues = parse(t, "Appointment", "status=booked&_sort=-date&_count=9&_page="+cursor)
	require.NoError(t, issues.Err(), "the size of a page may change")
	for _, other := range []string{"status=pending&_sort=-date", "status=booked&_sort=date", "_sort=-date", "status=booked"} {
		_, issues = parse(t, "Appointment", other+"&_page="+cursor)
		require.Len(t, issues, 1, other)
	}
	_, issues = parse(t, "Encounter", query+"&_page="+cursor)
	require.Len(t, issues, 1)
}

func TestCursorRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := Query{Type: "Task", Sort: []Order{{Param: Param{Kind: Date}}, {Param: Param{Kind: Token}}},
			Used: []Pair{{rapid.String().Draw(t, "name"), rapid.String().Draw(t, "value")}}}
		keys := []Key{{At: rapid.Int64().Draw(t, "at")}, {Text: rapid.StringMatching(`[A-Za-z0-9\-.]{1,64}`).Draw(t, "id")}}
		got, err := q.parseCursor(q.Cursor(keys))
		require.NoError(t, err)
		require.Equal(t, keys, got)
	})
}

// Whatever is sent, Parse answers with a query that holds what it promises, and
// its own link reads as the same query.
func FuzzParse(f *testing.F) {
	for _, seed := range []string{"status=booked", "date=ge2026-11-03T10:00&date=lt2027", "identifier=a%7Cb,%5C,c", "patient:missing=true",
		"_sort=-date,_id&_count=0", "_page=AAAA", "patient:Patient=1", "_lastUpdated=ap2026", "status:not=a,b", "date=0001", "date=9999-12-31T23:59:60Z"} {
		f.Add("Appointment", seed)
	}
	f.Add("Patient", "name:contains=%C3%9C&family:exact=x")
	f.Add("Task", "due=le2026-11-03&owner=Practitioner/1&_sort=due")
	zone := chicago(f)
	f.Fuzz(func(t *testing.T, typ, query string) {
		values, err := url.ParseQuery(query)
		if err != nil {
			return
		}
		o := Options{Zone: zone, Base: testBase, Now: time.Unix(1e9, 0)}
		q, issues := Parse(typ, values, o)
		if len(issues) > 0 {
			for _, i := range issues {
				if i.Code == "" || i.Text == "" {
					t.Fatal("an issue without code or text")
				}
			}
			return
		}
		if q.Count < 0 || q.Count > maxCount || len(q.Sort) == 0 || len(q.Clauses) > maxClauses {
			t.Fatalf("query out of bounds: %+v", q)
		}
		for _, c := range q.Clauses {
			if c.Modifier != Missing && len(c.Matches) == 0 {
				t.Fatal("a clause without alternatives matches nothing")
			}
			for _, m := range c.Matches {
				if c.Param.Kind == Date && m.Low >= m.High {
					t.Fatalf("empty interval %d %d", m.Low, m.High)
				}
			}
		}
		self, err := url.ParseQuery(q.SelfLink())
		if err != nil {
			t.Fatal(err)
		}
		again, issues := Parse(typ, self, o)
		if len(issues) > 0 || fmt.Sprintf("%+v", shown(q)) != fmt.Sprintf("%+v", shown(again)) {
			t.Fatalf("the own link reads differently: %s", q.SelfLink())
		}
	})
}

// shown is a query without the functions of its parameters.
func shown(q Query) string {
	var b strings.Builder
	for _, c := range q.Clauses {
		fmt.Fprintf(&b, "%s %s %d %t %+v\n", c.Param.Code, c.Rows, c.Modifier, c.Want, c.Matches)
	}
	for _, o := range q.Sort {
		fmt.Fprintf(&b, "%s %t\n", o.Param.Code, o.Desc)
	}
	fmt.Fprintf(&b, "%d %+v %+v", q.Count, q.After, q.Used)
	return b.String()
}

// A cursor is either refused or exactly one that we would write.
func FuzzCursor(f *testing.F) {
	q := Query{Type: "Task", Sort: []Order{{Param: Param{Kind: Date}}, {Param: Param{Kind: Token}}}}
	f.Add(q.Cursor([]Key{{At: 1}, {Text: "a"}}))
	f.Add("")
	f.Add("AAAA")
	f.Add("Mz\rE5cWtyZmZ6ajBqdCA0IA0")
	f.Fuzz(func(t *testing.T, s string) {
		keys, err := q.parseCursor(s)
		if err == nil && q.Cursor(keys) != s {
			t.Fatalf("%q reads as %+v, which is written %q", s, keys, q.Cursor(keys))
		}
	})
}
