package store

import (
	"math"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
)

const base = "https://countback.example/fhir"

func chicago(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	return zone
}

func query(t testing.TB, typ, text string) search.Query {
	t.Helper()
	values, err := url.ParseQuery(strings.ReplaceAll(text, "|", "%7C"))
	require.NoError(t, err)
	q, issues := search.Parse(typ, values, search.Options{Zone: chicago(t), Base: base, Now: start})
	require.NoError(t, issues.Err())
	return q
}

// put stores a resource the way the service does: parsed, indexed, saved.
func put(t testing.TB, db *DB, id, body string) {
	t.Helper()
	r, issues := fhir.Parse([]byte(body), 0)
	require.NoError(t, issues.Err())
	write(t, db, func(tx *Tx) error {
		return tx.Save(Stored{Type: r.Type, ID: id, Version: 1, Body: r.Raw}, search.Index(r, base, chicago(t)))
	})
}

// stock is what the search tests look through: every kind of value once.
func stock(t testing.TB, db *DB) {
	t.Helper()
	procedure := func(id, rest string) {
		put(t, db, id, `{"resourceType":"Procedure",`+rest+`}`)
	}
	p := `"subject":{"reference":"Patient/p"}`
	procedure("day", `"status":"preparation",`+p+`,"performedDateTime":"2013-01-14","code":{"coding":[{"system":"http://snomed.info/sct","code":"52734007"}]},
		"identifier":[{"system":"urn:case","value":"1"}]`)
	procedure("onwards", `"status":"in-progress",`+p+`,"performedPeriod":{"start":"2013-01-21"},"code":{"coding":[{"code":"52734007"}]},
		"identifier":[{"value":"1"},{"system":"urn:case","value":"a|b,c"}]`)
	procedure("until", `"status":"completed","subject":{"reference":"Group/p"},"performedPeriod":{"end":"2013-01-10T12:00:00Z"}`)
	procedure("moment", `"status":"completed","subject":{"reference":"Patient/q","identifier":{"system":"urn:mrn","value":"7"}},"performedDateTime":"2013-01-14T10:00:00-06:00"`)
	procedure("never", `"status":"unknown","subject":{"identifier":{"system":"urn:mrn","value":"7"}}`)
	procedure("far", `"status":"unknown","subject":{"reference":"https://other.example/fhir/Patient/p"},"performedDateTime":"2020"`)
	procedure("gone", `"status":"completed",`+p+`,"performedDateTime":"2013-01-14"`)
	write(t, db, func(tx *Tx) error {
		return tx.Save(Stored{Type: "Procedure", ID: "gone", Version: 2, Deleted: true}, nil)
	})
	put(t, db, "a", `{"resourceType":"Patient","name":[{"family":"Müller","given":["Zoë"]}]}`)
	put(t, db, "b", `{"resourceType":"Patient","name":[{"family":"Mullen"}],"gender":"male","birthDate":"1950-02"}`)
	put(t, db, "c", `{"resourceType":"Patient","name":[{"text":"Anna 100% Mu_ller"}]}`)
	put(t, db, "w", `{"resourceType":"CarePlan","status":"active","intent":"plan",`+p+`,"instantiatesCanonical":["http://a.example/P|1"]}`)
	put(t, db, "x", `{"resourceType":"CarePlan","status":"revoked","intent":"plan",`+p+`,"instantiatesCanonical":["http://a.example/P|2"]}`)
	put(t, db, "k", `{"resourceType":"Appointment","status":"booked","start":"2026-11-03T07:30:00-06:00","end":"2026-11-03T09:00:00-06:00",
		"participant":[{"actor":{"reference":"Patient/p"},"status":"accepted"},{"actor":{"reference":"Location/p"},"status":"accepted"}]}`)
}

// Rules: FHIR R4 (4.0.1) Search. The two rows marked "example" are the
// examples of its section on date parameters. Without a zone: Chicago, -06:00.
var searches = []struct{ name, typ, query, want string }{
	{"all, without the deleted", "Procedure", "", "day far moment never onwards until"},
	{"id", "Procedure", "_id=day", "day"},
	{"ids", "Procedure", "_id=day,far,nothing", "day far"},
	{"not an id", "Procedure", "_id:not=day,far", "moment never onwards until"},
	{"unknown id", "Procedure", "_id=nothing", ""},
	{"last updated", "Procedure", "_lastUpdated=2026-11-02", "day far moment never onwards until"},
	{"last updated to the microsecond", "Procedure", "_lastUpdated=2026-11-02T08:00:00.000000Z", "day far moment never onwards until"},
	{"last updated, nothing later", "Procedure", "_lastUpdated=gt2026-11-02T08:00:00.000000Z", ""},
	{"last updated, from then", "Procedure", "_lastUpdated=ge2026-11-02T08:00:00.000000Z", "day far moment never onwards until"},
	{"last updated, before", "Procedure", "_lastUpdated=lt2026-11-02T08:00:00.000000Z", ""},
	{"last updated, not then", "Procedure", "_lastUpdated=ne2026-11-02", ""},

	{"code of any system", "Procedure", "code=52734007", "day onwards"},
	{"code of a system", "Procedure", "code=http://snomed.info/sct|52734007", "day"},
	{"code without system", "Procedure", "code=|52734007", "onwards"},
	{"anything of a system", "Procedure", "code=http://snomed.info/sct|", "day"},
	{"unknown code", "Procedure", "code=nothing", ""},
	{"not a code: also those without", "Procedure", "code:not=http://snomed.info/sct|52734007", "far moment never onwards until"},
	{"status by its system", "Procedure", "status=http://hl7.org/fhir/event-status|unknown", "far never"},
	{"one of two", "Procedure", "status=unknown,completed", "far moment never until"},
	{"none of two", "Procedure", "status:not=unknown,completed", "day onwards"},
	{"both", "Procedure", "status=unknown&date:missing=true", "never"},
	{"the same twice must hold twice", "Procedure", "identifier=|1&identifier=urn:case|", "onwards"},
	{"case of a code matters", "Procedure", "status=Completed", ""},
	{"escaped separators", "Procedure", `identifier=a\|b\,c`, "onwards"},
	{"code missing", "Procedure", "code:missing=true", "far moment never until"},
	{"code not missing", "Procedure", "code:missing=false", "day onwards"},

	{"subject by id, any type", "Procedure", "subject=p", "day onwards until"},
	{"subject by type and id", "Procedure", "subject=Group/p", "until"},
	{"subject by modifier", "Procedure", "subject:Patient=p", "day onwards"},
	{"own absolute reference", "Procedure", "subject=https://countback.example/fhir/Patient/p", "day onwards"},
	{"foreign absolute reference", "Procedure", "subject=https://other.example/fhir/Patient/p", "far"},
	{"patient is a subject that is one", "Procedure", "patient=p", "day onwards"},
	{"patient is no group", "Procedure", "patient=Group/p", ""},
	{"patient missing", "Procedure", "patient:missing=true", "far never until"},
	{"subject missing: an identifier is one", "Procedure", "subject:missing=true", ""},
	{"subject by identifier", "Procedure", "subject:identifier=urn:mrn|7", "moment never"},
	{"actor of a type", "Appointment", "location=p", "k"},
	{"no such actor", "Appointment", "practitioner=p", ""},

	{"example: lt a time matches the day", "Procedure", "date=lt2013-01-14T10:00", "day until"},
	{"example: ge matches what goes on", "Procedure", "date=ge2013-03-14", "far onwards"},
	{"day", "Procedure", "date=2013-01-14", "day moment"},
	{"month", "Procedure", "date=2013-01", "day moment"},
	{"minute", "Procedure", "date=2013-01-14T10:00", "moment"},
	{"minute in another zone", "Procedure", "date=2013-01-14T16:00Z", "moment"},
	{"not that day", "Procedure", "date=ne2013-01-14", "far onwards until"},
	{"gt the day", "Procedure", "date=gt2013-01-14", "far onwards"},
	{"gt within the day", "Procedure", "date=gt2013-01-14T09:00", "day far moment onwards"},
	{"le the day", "Procedure", "date=le2013-01-14", "day moment until"},
	{"sa", "Procedure", "date=sa2013-01-20", "far onwards"},
	{"sa the day it starts", "Procedure", "date=sa2013-01-21", "far"},
	{"eb", "Procedure", "date=eb2013-01-11", "until"},
	{"eb the day it ends", "Procedure", "date=eb2013-01-10", ""},
	{"between", "Procedure", "date=ge2013-01-12&date=le2013-01-15", "day moment"},
	{"one of two years", "Procedure", "date=2013,2020", "day far moment"},
	{"near: within 10 % of the distance", "Procedure", "date=ap2019-06-01", "far onwards"},
	{"date missing", "Procedure", "date:missing=true", "never"},
	{"date not missing", "Procedure", "date:missing=false", "day far moment onwards until"},
	{"instant is a point", "Appointment", "date=2026-11-03T07:30:00-06:00", "k"},
	{"nothing of a point is later", "Appointment", "date=gt2026-11-03T13:30:00.000000Z", ""},

	{"starts with, whatever the case and accents", "Patient", "family=mul", "a b"},
	{"not in the middle", "Patient", "family=uller", ""},
	{"any part of the name", "Patient", "name=zoe", "a"},
	{"exact", "Patient", "family:exact=Müller", "a"},
	{"exact with another accent", "Patient", "family:exact=Muller", ""},
	{"contains", "Patient", "name:contains=ULLE", "a b"},
	{"signs of patterns are letters", "Patient", "name:contains=0%25 mu_", "c"},
	{"no wildcards", "Patient", "name=%25", ""},
	{"name missing", "Patient", "family:missing=true", "c"},
	{"birth month", "Patient", "birthdate=1950-02", "b"},
	{"not a day of the month", "Patient", "birthdate=1950-02-03", ""},

	{"canonical in any version", "CarePlan", "instantiates-canonical=http://a.example/P", "w x"},
	{"canonical in one version", "CarePlan", "instantiates-canonical=http://a.example/P|2", "x"},
	{"canonical missing", "CarePlan", "instantiates-canonical:missing=true", ""},
	{"SQL is text", "Procedure", "code=') OR 1=1 --", ""},
}

func TestSearch(t *testing.T) {
	db := open(t)
	stock(t, db)
	for _, tt := range searches {
		t.Run(tt.name, func(t *testing.T) {
			read(t, db, func(tx *Tx) error {
				page, err := tx.Search(query(t, tt.typ, tt.query+"&_sort=_id"))
				var got []string
				for _, s := range page.Items {
					got = append(got, s.ID)
				}
				require.Equal(t, tt.want, strings.Join(got, " "))
				require.Equal(t, len(got), page.Total)
				require.Empty(t, page.Next)
				return err
			})
		})
	}
}

func TestSearchOrder(t *testing.T) {
	db := open(t)
	stock(t, db)
	tests := []struct{ name, query, want string }{
		{"id", "_sort=_id", "day far moment never onwards until"},
		{"id downwards", "_sort=-_id", "until onwards never moment far day"},
		{"date, without one last", "_sort=date", "until day moment onwards far never"},
		{"date downwards, without one last", "_sort=-date", "far onwards moment day until never"},
		{"equal keys by id", "", "day far moment never onwards until"},
		{"equal keys by id downwards", "_sort=_lastUpdated,-_id", "until onwards never moment far day"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for _, count := range []string{"1", "2", "50"} {
				var got []string
				link := tt.query + "&_count=" + count
				for link != "" {
					q := query(t, "Procedure", link)
					read(t, db, func(tx *Tx) error {
						page, err := tx.Search(q)
						for _, s := range page.Items {
							got = append(got, s.ID)
						}
						require.Equal(t, 6, page.Total, "the total is that of all pages")
						link = ""
						if page.Next != "" {
							link = q.NextLink(page.Next)
						}
						return err
					})
				}
				require.Equal(t, tt.want, strings.Join(got, " "), "pages of "+count)
			}
		})
	}
}

func TestSearchCountOnly(t *testing.T) {
	db := open(t)
	stock(t, db)
	read(t, db, func(tx *Tx) error {
		page, err := tx.Search(query(t, "Procedure", "_count=0&status=unknown"))
		require.Equal(t, Page{Total: 2}, page)
		return err
	})
}

// The SQL of a comparison says the same as the rule in Go.
func TestDatesAsTheRule(t *testing.T) {
	db := open(t)
	at := func(t *rapid.T, label string) int64 { return rapid.Int64Range(-3, 8).Draw(t, label) }
	rapid.Check(t, func(t *rapid.T) {
		low := at(t, "low")
		value := search.Value{Param: "date", Kind: search.Date, Low: low, High: low + rapid.Int64Range(1, 6).Draw(t, "width")}
		if rapid.Bool().Draw(t, "no start") {
			value.Low = math.MinInt64
		}
		if rapid.Bool().Draw(t, "no end") {
			value.High = math.MaxInt64
		}
		from := at(t, "from")
		m := search.Match{Low: from, High: from + rapid.Int64Range(1, 6).Draw(t, "search width"),
			Prefix: rapid.SampledFrom([]search.Prefix{"eq", "ne", "gt", "lt", "ge", "le", "sa", "eb", "ap"}).Draw(t, "prefix")}
		date, _ := search.Lookup("Procedure", "date")
		due, _ := search.Lookup("Task", "due")
		updated, _ := search.Lookup("Procedure", "_lastUpdated")
		ask := func(typ string, p search.Param) search.Query {
			q := search.Query{Type: typ, Clauses: []search.Clause{{Param: p, Rows: p.Rows(), Matches: []search.Match{m}}}}
			return q
		}
		err := db.Write(never, func(tx *Tx) error {
			s := saved("Procedure", "x", 1, "")
			s.Updated = time.UnixMicro(low)
			require.NoError(t, tx.Save(s, []search.Value{value}))
			require.NoError(t, tx.SaveCase(Case{ID: "x"}))
			require.NoError(t, tx.SaveItems([]Item{{CaseID: "x", N: 1, Version: 1, DueFrom: time.UnixMicro(value.Low), DueTo: time.UnixMicro(value.High)}}))
			byRow, err := tx.Search(ask("Procedure", date))
			require.NoError(t, err)
			require.Equal(t, m.Matches(value.Low, value.High), byRow.Total == 1, "index row")
			byItem, err := tx.SearchItems(ask("Task", due))
			require.NoError(t, err)
			require.Equal(t, m.Matches(value.Low, value.High), byItem.Total == 1, "item column")
			byPoint, err := tx.Search(ask("Procedure", updated))
			require.NoError(t, err)
			require.Equal(t, m.Matches(low, low+1), byPoint.Total == 1, "point column")
			return errRefused
		})
		require.ErrorIs(t, err, errRefused)
	})
}
