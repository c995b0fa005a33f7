package translate

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// A record is corrected after a person released the hold that rests on it:
// whether that asks again. Surgery is on 30 November 2026, looked at on the 20th.
// The days of each class as in TestGroundsOfHolds.
func TestWhichCorrectionsAskAgain(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	ill := func(code string, more object) object { return illness(code, "active", "confirmed", more) }
	over := func(code, day string) object {
		return illness(code, "resolved", "confirmed", object{"abatementDateTime": day})
	}
	named := func(o object, text string, more ...object) object {
		o["code"].(object)["text"] = text
		for _, c := range more {
			o["code"].(object)["coding"] = append(o["code"].(object)["coding"].([]any), c["coding"].([]any)...)
		}
		return o
	}
	visit := func(day string, more object) object {
		out := dentist("http://terminology.hl7.org/CodeSystem/service-type", "90", "booked", day)
		for k, v := range more {
			out[k] = v
		}
		return out
	}
	until := func(day string) object { return object{"effectivePeriod": object{"end": day}} }
	for _, r := range []struct {
		name     string
		was, now object
		another  bool
	}{
		{"other words for the code", ill("J06.9", nil), named(ill("J06.9", nil), "a cold"), false},
		{"a code that is in no set besides", ill("J06.9", nil), named(ill("J06.9", nil), "a cold", coded(snomed, "1")), false},
		{"a cold that is COVID-19", ill("J06.9", nil), ill("U07.1", object{"onsetDateTime": "2026-11-20"}), true},
		{"a cold that is COVID-19 as well", ill("J06.9", nil), named(ill("J06.9", nil), "both", coded(icd10cm, "U07.1")), true},
		{"skin that is urinary", ill("L03.115", nil), ill("N39.0", nil), true},
		{"one joint infection that is another", ill("M00.051", nil), ill("M00.061", nil), true},
		{"a cold that is no infection", ill("J06.9", nil), ill("E11.9", nil), false},
		{"over, 14 days before", ill("J06.9", nil), over("J06.9", "2026-11-16"), false},
		{"over, 13 days before", ill("J06.9", nil), over("J06.9", "2026-11-17"), true},
		{"over by the 16th, as was to come", ill("J06.9", object{"abatementDateTime": "2026-11-21"}), ill("J06.9", object{"abatementDateTime": "2026-11-21", "note": []any{object{"text": "better"}}}), false},
		{"came back", illness("J06.9", "resolved", "confirmed", object{"recordedDate": "2026-11-10"}), illness("J06.9", "relapse", "confirmed", nil), true},
		{"over, nobody knows when", ill("J06.9", nil), illness("J06.9", "resolved", "confirmed", nil), false},
		{"the surgeon decides, and it is over", ill("M00.051", nil), over("M00.051", "2026-11-19"), false},
		{"COVID-19 gets a day of two weeks before", ill("U07.1", nil), ill("U07.1", object{"onsetDateTime": "2026-11-16"}), true},
		{"COVID-19 gets a day of seven weeks before", ill("U07.1", nil), ill("U07.1", object{"onsetDateTime": "2026-10-12"}), false},

		{"a course for another illness", course("active", coded(icd10cm, "N39.0"), nil), course("active", coded(icd10cm, "L03.115"), nil), true},
		{"a course gets an end that is clear", course("active", coded(icd10cm, "N39.0"), nil), course("active", coded(icd10cm, "N39.0"), until("2026-11-23")), false},
		{"and one that blocks", course("active", coded(icd10cm, "N39.0"), nil), course("active", coded(icd10cm, "N39.0"), until("2026-11-24")), true},
		{"a course that is finished", course("active", coded(icd10cm, "N39.0"), nil), course("completed", coded(icd10cm, "N39.0"), nil), false},
		{"a course that goes on after all", course("completed", coded(icd10cm, "N39.0"), nil), course("active", coded(icd10cm, "N39.0"), nil), true},

		{"a visit gets its reason", visit("2026-11-25", nil), visit("2026-11-25", object{"reasonCode": []any{coded(snomed, "55162003")}}), false},
		{"a visit gets a day", visit("", object{"status": "proposed"}), visit("2026-11-25", nil), true},
		{"a visit is moved", visit("2026-11-25", nil), visit("2026-11-26", nil), true},
		{"a visit is moved to three months after", visit("2026-11-25", nil), visit("2027-02-28", nil), false},
		{"an extraction that is an implant", dentalWork(cdt, "D7140", "preparation", "2026-11-25"), dentalWork(cdt, "D6010", "preparation", "2026-11-25"), true},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := readiness.Case{Day: date(t, "2026-11-30")}
			now, today := f.clock(t, "2026-11-20 10:00"), date(t, "2026-11-20")
			grounds := func(o object) []readiness.Ground { return p.groundsOf([]*Record{record(t, o)}, nil, f, today) }
			held := readiness.Holds(nil, grounds(r.was), &c, p.Protocol, now)
			require.Len(t, held, 1)
			c.Entries = map[readiness.Key]readiness.Entry{{Step: "clear-hold", Repeat: held[0].Key, Round: 1}: {Outcome: readiness.Done}}
			released := readiness.Holds(held, grounds(r.was), &c, p.Protocol, now)
			require.Len(t, released, 1)
			require.Equal(t, readiness.Released, released[0].How)

			text, err := json.Marshal(HoldRowOf("flag", released[0])) // as it is stored
			require.NoError(t, err)
			var row HoldRow
			require.NoError(t, json.Unmarshal(text, &row))
			back := row.Hold()
			require.Equal(t, []any{released[0].For, released[0].Seen, released[0].Was}, []any{back.For, back.Seen, back.Was})
			require.Equal(t, r.another, len(readiness.Holds([]readiness.Hold{row.Hold()}, grounds(r.now), &c, p.Protocol, now)) == 2)
		})
	}
}

// An answer that is corrected: the same response says otherwise.
func TestWhichCorrectedAnswersAskAgain(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	q := p.questionnaires[Base+"/Questionnaire/infection-and-dental-screening"]
	planned := func(kind, day string) says {
		out := says{"dental-work-planned": sayYes, "dental-work-planned-on": sayDay(day)}
		if kind != "" {
			out["dental-work-planned-kind"] = sayCode("dental-work", kind)
		}
		return out
	}
	for _, r := range []struct {
		name     string
		was, now says
		another  bool
	}{
		{"the same", planned("extraction", "2026-11-25"), planned("extraction", "2026-11-25"), false},
		{"the kind is known now", planned("", "2026-11-25"), planned("extraction", "2026-11-25"), false},
		{"the kind is known now, and is of another class", planned("", "2026-11-30"), planned("filling", "2026-11-30"), true},
		{"another kind", planned("extraction", "2026-11-25"), planned("implant", "2026-11-25"), true},
		{"another class", planned("extraction", "2026-11-30"), planned("filling", "2026-11-30"), true},
		{"a cold that is over since a day that is clear", says{"flu-like": sayYes}, says{"flu-like": sayYes, "flu-like-ended": sayDay("2026-11-16")}, false},
		{"a cold that is over since a day that blocks", says{"flu-like": sayYes}, says{"flu-like": sayYes, "flu-like-ended": sayDay("2026-11-17")}, true},
		{"another illness", says{"flu-like": sayYes}, says{"fever": sayYes}, true},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := readiness.Case{Day: date(t, "2026-11-30")}
			now, today := f.clock(t, "2026-11-20 10:00"), date(t, "2026-11-20")
			grounds := func(a says) []readiness.Ground {
				return p.groundsOf([]*Record{response(t, q, "r", "2026-11-20T09:00:00-06:00", a)}, nil, f, today)
			}
			held := readiness.Holds(nil, grounds(r.was), &c, p.Protocol, now)
			require.Len(t, held, 1)
			c.Entries = map[readiness.Key]readiness.Entry{{Step: "clear-hold", Repeat: held[0].Key, Round: 1}: {Outcome: readiness.Done}}
			released := readiness.Holds(held, grounds(r.was), &c, p.Protocol, now)
			require.Equal(t, r.another, len(readiness.Holds(released, grounds(r.now), &c, p.Protocol, now)) == 2)
		})
	}
}

// What an earlier version of the service stored knows days only, and means what it
// meant: the day that was seen, or none.
func TestAReleaseFromBeforeMeansWhatItDid(t *testing.T) {
	const stored = `{"id":"f","k":"infection","c":"infection","at":"2026-11-18T15:00:00Z","r":["a","b"],"e":"2026-11-19T15:00:00Z","h":"released","for":"2026-11-30","s":{"a":"2026-11-25","b":""}}`
	var row HoldRow
	require.NoError(t, json.Unmarshal([]byte(stored), &row))
	h := row.Hold()
	require.Nil(t, h.Was)
	require.Equal(t, map[string]calendar.Date{"a": date(t, "2026-11-25"), "b": 0}, h.Seen)
	again, err := json.Marshal(HoldRowOf("f", h))
	require.NoError(t, err)
	require.JSONEq(t, stored, string(again))

	p := defaultProtocol(t)
	c := readiness.Case{Day: date(t, "2026-11-30"), Entries: map[readiness.Key]readiness.Entry{{Step: "clear-hold", Repeat: "infection", Round: 1}: {Outcome: readiness.Done}}}
	for _, r := range []struct {
		record, day string
		another     bool
	}{{"a", "2026-11-25", false}, {"a", "2026-11-26", true}, {"b", "", false}, {"b", "2026-11-26", false}} {
		g := readiness.Ground{Kind: "infection", Record: r.record, Class: "covid", Codes: []string{"x"}, Active: true, After: readiness.Offset{N: 14}}
		if r.day != "" {
			g.Day = date(t, r.day)
		}
		after := readiness.Holds([]readiness.Hold{h}, []readiness.Ground{g}, &c, p.Protocol, time.Date(2026, 11, 20, 9, 0, 0, 0, time.UTC))
		require.Equal(t, r.another, len(after) == 2, "%s on %s", r.record, r.day)
	}
}

// What a record is about is told by the rules of its own kind and type alone.
func TestWhatARecordIsAbout(t *testing.T) {
	p := defaultProtocol(t)
	for _, r := range []struct {
		name, kind string
		record     object
		class      string
		codes      []string
	}{
		{"a visit", "pending-dental-work", dentalWork(snomed, "55162003", "preparation", ""), Base + "/ValueSet/dental-oral-surgery", []string{snomed + "|55162003"}},
		{"of another kind", "recent-infection", dentalWork(snomed, "55162003", "preparation", ""), "", nil},
		{"of another type", "pending-dental-work", object{"resourceType": "Condition", "id": "c", "subject": ref("Patient/p"), "code": coded(snomed, "55162003")}, "", nil},
		{"no matter", "recent-infection", illness("E11.9", "active", "confirmed", nil), "", nil},
	} {
		class, codes := p.matter(r.kind, record(t, r.record))
		require.Equal(t, r.class, class, r.name)
		require.Equal(t, r.codes, codes, r.name)
	}
	require.Equal(t, []string{"a", "b"}, unique([]string{"b", "a", "b"}))
}
