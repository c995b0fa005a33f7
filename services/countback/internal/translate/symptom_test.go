package translate

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/readiness"
)

// shipped is the text of a questionnaire.
func shipped(t testing.TB, url string) string {
	t.Helper()
	b, err := api.FHIR.ReadFile("fhir/Questionnaire-" + url[strings.LastIndexByte(url, '/')+1:] + ".json")
	require.NoError(t, err)
	return string(b)
}

// Levels of urgency.
const (
	emergency = "emergency-now"
	today     = "surgeon-today"
	nextDay   = "next-working-day"
)

// sign is one question of the symptom report with how urgent a yes is, where
// that comes from and how sure it is.
type sign struct{ linkID, level, source, mark string }

// signs are all questions that are sorted. The lists are common practice, as
// hospitals' pages for people who go home give them; there is no single standard.
func signs() []sign {
	const pages = "what hospitals tell people who go home after a joint replacement"
	out := []sign{
		{"chest-pain", emergency, pages, secondary}, {"short-breath", emergency, pages, secondary},
		{"fainting", emergency, pages, secondary}, {"fast-heart", emergency, pages, secondary},
	}
	for _, id := range []string{"confusion", "stroke-signs", "coughing-blood", "bleeding", "cold-or-blue-foot", "sudden-pain-turned-leg"} {
		out = append(out, sign{id, emergency, "", practice})
	}
	for _, id := range []string{
		"wound-opening", "spreading-redness", "red-streaks", "foul-smell", "heavy-drainage", "fever", "chills", "worse-pain",
		"calf-pain-or-swelling", "calf-warm-or-tender", "tender-lumps", "foot-weakness", "black-stool", "no-urine", "hospital-admission",
	} {
		out = append(out, sign{id, today, "", practice})
	}
	return out
}

// The truth table: each question at each answer, everything else no.
func TestEverySignAtEveryAnswer(t *testing.T) {
	q, f := questionnaireOf(t, symptomURL), chicago(t)
	noon := f.clock(t, "2026-12-09 12:00") // a Wednesday
	no := q.every(sayNo)
	require.Len(t, no, len(signs()), "every required question is in the table")
	for _, s := range signs() {
		for _, a := range []struct {
			name   string
			answer object
			status string
			level  string
		}{
			{"yes", sayYes, "completed", s.level},
			{"unknown goes up", sayUnknown, "completed", s.level},
			{"left out counts as unknown", nil, "completed", s.level},
			{"no", sayNo, "completed", nextDay},
			{"yes, amended", sayYes, "amended", s.level},
			{"left out, stopped", nil, "stopped", s.level},
			{"yes so far", sayYes, "in-progress", s.level},
			{"unknown so far", sayUnknown, "in-progress", s.level},
			{"left out so far", nil, "in-progress", ""},
			{"no so far", sayNo, "in-progress", ""},
			{"yes, in error", sayYes, "entered-in-error", ""},
		} {
			t.Run(s.linkID+" "+a.name, func(t *testing.T) {
				r := response(t, q, "r", "2026-12-09", no.but(says{s.linkID: a.answer}), status(a.status))
				got, ok := q.Sort(r.Resource, noon, f.Calendar)
				require.Equal(t, a.level != "", ok)
				require.Equal(t, a.level, got.Level, "%s (%s)", s.source, s.mark)
			})
		}
	}
}

// The most urgent answer decides, whatever else is said.
func TestTheWorstAnswerDecides(t *testing.T) {
	q, f := questionnaireOf(t, symptomURL), chicago(t)
	noon := f.clock(t, "2026-12-09 12:00")
	no := q.every(sayNo)
	for _, r := range []struct {
		name  string
		says  says
		level string
	}{
		{"nothing is answered at all", nil, emergency},
		{"all no", no, nextDay},
		{"all no, and in words", no.but(says{"in-your-words": {"valueString": "chest pain"}}), nextDay}, // free text is for people to read
		{"both lists", no.but(says{"chills": sayYes, "bleeding": sayYes}), emergency},
		{"both lists, the worse unknown", no.but(says{"chills": sayYes, "bleeding": sayUnknown}), emergency},
		{"all yes", q.every(sayYes), emergency},
	} {
		t.Run(r.name, func(t *testing.T) {
			got, ok := q.Sort(response(t, q, "r", "2026-12-09", r.says).Resource, noon, f.Calendar)
			require.True(t, ok)
			require.Equal(t, r.level, got.Level)
		})
	}
}

// The limit of a temperature: between the thresholds that hospitals give, 38.0 to
// 38.6 °C; no single standard (secondary). 101.0 °F is 38.3 °C.
func TestTemperatureLimit(t *testing.T) {
	q, f := questionnaireOf(t, symptomURL), chicago(t)
	noon := f.clock(t, "2026-12-09 12:00")
	for _, r := range []struct {
		value json.Number
		unit  string
		level string
	}{
		{"38.2", "Cel", nextDay}, {"38.29", "Cel", nextDay}, {"38.3", "Cel", today}, {"38.30", "Cel", today}, {"40", "Cel", today},
		{"100.9", "[degF]", nextDay}, {"100.94", "[degF]", today}, {"101.0", "[degF]", today}, {"98.6", "[degF]", nextDay},
		{"36.6", "Cel", nextDay}, {"30", "Cel", nextDay}, {"45", "Cel", today},
		{"29.9", "Cel", today}, {"101", "Cel", today}, {"38.3", "[degF]", today}, // cannot be true: not known
	} {
		t.Run(string(r.value)+" "+r.unit, func(t *testing.T) {
			rec := response(t, q, "r", "2026-12-09", q.every(sayNo).but(says{"temperature": sayDegrees(r.value, r.unit)}))
			got, ok := q.Sort(rec.Resource, noon, f.Calendar)
			require.True(t, ok)
			require.Equal(t, r.level, got.Level)
		})
	}
	t.Run("a hospital's own limit", func(t *testing.T) {
		own, err := ReadQuestionnaire(parse(t, []byte(strings.Replace(shipped(t, symptomURL), `"value": 38.3`, `"value": 38.0`, 1))))
		require.NoError(t, err)
		rec := response(t, own, "r", "2026-12-09", own.every(sayNo).but(says{"temperature": sayDegrees("38.0", "Cel")}))
		got, _ := own.Sort(rec.Resource, noon, f.Calendar)
		require.Equal(t, today, got.Level)
	})
}

// Outside office hours the person is sent to the on-call line, not to an office
// that is closed. Thanksgiving is 26 November 2026 (5 U.S.C. 6103).
func TestOfficeHours(t *testing.T) {
	q, f := questionnaireOf(t, symptomURL), chicago(t)
	for _, r := range []struct {
		name, at string
		closed   bool
	}{
		{"opening", "2026-12-09 08:00", false},
		{"before it opens", "2026-12-09 07:59", true},
		{"the last minute", "2026-12-09 16:59", false},
		{"closing", "2026-12-09 17:00", true},
		{"evening", "2026-12-09 21:30", true},
		{"midnight", "2026-12-10 00:00", true},
		{"Saturday noon", "2026-12-12 12:00", true},
		{"Sunday noon", "2026-12-13 12:00", true},
		{"Thanksgiving", "2026-11-26 12:00", true},
		{"the day after", "2026-11-27 12:00", false},
		{"the day the clocks change", "2026-11-01 12:00", true}, // a Sunday
	} {
		t.Run(r.name, func(t *testing.T) {
			at := f.clock(t, r.at)
			sorted := func(s says) Sorted {
				got, ok := q.Sort(response(t, q, "r", "2026-12-09", q.every(sayNo).but(s)).Resource, at.UTC(), f.Calendar)
				require.True(t, ok)
				require.Equal(t, r.closed, got.Closed)
				return got
			}
			surgeon := sorted(says{"chills": sayYes})
			require.Equal(t, r.closed, strings.Contains(surgeon.Advice, "on-call line now"), surgeon.Advice)
			require.Equal(t, !r.closed, strings.HasPrefix(surgeon.Advice, "Call the surgeon's office today"), surgeon.Advice)
			now := sorted(says{"chest-pain": sayYes})
			require.True(t, strings.HasPrefix(now.Advice, "Call your local emergency number now."), "at every hour")
			require.NotContains(t, now.Advice, "office")
			rest := sorted(nil)
			require.Contains(t, rest.Advice, "no judgement that all is well")
		})
	}
}

// Each event that a level raises brings in a step of the protocol, and the more
// urgent one is due the sooner.
func TestLevelsReachSteps(t *testing.T) {
	p, q := defaultProtocol(t), questionnaireOf(t, symptomURL)
	for _, l := range q.levels {
		require.True(t, p.Raises(l.trigger), l.trigger)
		require.True(t, p.Raises(l.triggerWhenShut), l.triggerWhenShut)
	}
	require.False(t, p.Raises("symptom-invented"))
	require.Len(t, q.levels, len(codesOf(t, "urgency")))
	for n, code := range codesOf(t, "urgency") {
		require.Equal(t, code, q.levels[n].code)
	}
}

// Which case a report belongs to, and that one before surgery belongs to none.
func TestWhoseCaseAReportIs(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, symptomURL)
	first := appointment(t, "first", "2026-11-30", kneeService)
	second := appointment(t, "second", "2027-03-01", hipService)
	told := appointment(t, "before", "2026-12-05", hipService) // afterwards: it has no case
	told.First = f.clock(t, "2026-12-08 09:00")
	for _, r := range []struct {
		name, at string
		records  []*Record
		want     string
	}{
		{"a later operation that was heard of afterwards has no case", "2026-12-09 12:00", []*Record{first, told}, "Appointment/first"},
		{"before surgery, the nearest", "2026-11-29 23:59", []*Record{second, first}, "Appointment/first"},
		{"on the day, before anaesthesia", "2026-11-30 07:29", []*Record{first, second}, "Appointment/first"},
		{"the nearer one was called off", "2026-11-29 12:00", []*Record{appointment(t, "first", "2026-11-30", kneeService, status("cancelled")), second}, "Appointment/second"},
		{"both were called off, and the later is nearer", "2027-02-20 12:00", []*Record{appointment(t, "first", "2026-11-30", kneeService, status("cancelled")),
			appointment(t, "second", "2027-03-01", hipService, status("cancelled"))}, "Appointment/second"},
		{"both were called off, the nearer", "2026-11-29 12:00", []*Record{appointment(t, "second", "2027-03-01", hipService, status("cancelled")),
			appointment(t, "first", "2026-11-30", kneeService, status("cancelled"))}, "Appointment/first"},
		{"on the day, from anaesthesia on", "2026-11-30 07:30", []*Record{first, second}, "Appointment/first"},
		{"at home", "2026-12-09 12:00", []*Record{first, second}, "Appointment/first"},
		{"the eve of the second", "2027-02-28 12:00", []*Record{second, first}, "Appointment/first"},
		{"after the second", "2027-03-02 12:00", []*Record{first, second}, "Appointment/second"},
		{"after the second, told the other way round", "2027-03-02 12:00", []*Record{second, first}, "Appointment/second"},
		{"the second was called off", "2027-03-02 12:00", []*Record{first, appointment(t, "second", "2027-03-01", hipService, status("cancelled"))}, "Appointment/first"},
		{"the only one was called off", "2026-12-09 12:00", []*Record{appointment(t, "first", "2026-11-30", kneeService, status("cancelled"))}, "Appointment/first"},
		{"sent home before the hour that was booked", "2026-11-30 07:00", []*Record{first, encounter(t, "e", status("finished"), object{
			"appointment": refs("Appointment/first"), "period": object{"start": "2026-11-30T05:00:00-06:00", "end": "2026-11-30T06:45:00-06:00"}})}, "Appointment/first"},
		{"no operation for this protocol", "2026-12-09 12:00", []*Record{appointment(t, "first", "2026-11-30", object{"serviceType": []any{coded(service, "57")}})}, ""},
		{"no operation", "2026-12-09 12:00", nil, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			rec := response(t, q, "r", "2026-12-09", q.every(sayNo).but(says{"chest-pain": sayYes}))
			rec.First, rec.Updated = f.clock(t, r.at), f.clock(t, r.at)
			got := ""
			for _, b := range Bookings(append([]*Record{rec}, r.records...), p, f) {
				for _, e := range b.Case.Raised {
					got += b.Primary
					require.Equal(t, "symptom-reported-now", e.Trigger)
					require.Equal(t, "QuestionnaireResponse/r/_history/1", e.Key)
					require.True(t, e.At.Equal(rec.Updated))
				}
			}
			require.Equal(t, r.want, got)
		})
	}
}

// Several reports of one person are each followed up, in the same order whatever
// came first.
func TestSeveralReports(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, symptomURL)
	at := func(id, when string) *Record {
		rec := response(t, q, id, "2026-12-09", q.every(sayNo))
		rec.First, rec.Updated = f.clock(t, when), f.clock(t, when)
		return rec
	}
	operation := appointment(t, "a", "2026-11-30", hipService)
	one, two := at("1", "2026-12-11 09:00"), at("2", "2026-12-09 09:00")
	first, second := only(t, p, f, operation, one, two), only(t, p, f, operation, two, one)
	require.Len(t, first.Case.Raised, 2)
	require.Equal(t, first.Case.Raised, second.Case.Raised)
}

// The steps of the levels: due in the hour at night, by the end of the next
// working day otherwise; to whom.
func TestStepsOfAReport(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, symptomURL)
	for _, r := range []struct {
		name, at string
		says     says
		step     string
		priority string
		who      string
		due      string
	}{
		{"emergency at night", "2026-12-12 02:00", says{"chest-pain": sayYes}, "symptom-report-now", "stat", "surgeons-office", "Sat 12 Dec 2026 02:15 CST"},
		{"today, open", "2026-12-09 12:00", says{"chills": sayYes}, "symptom-report-today", "urgent", "surgeons-office", "Wed 9 Dec 2026 14:00 CST"},
		{"today, closed", "2026-12-12 02:00", says{"chills": sayYes}, "symptom-report-on-call", "urgent", "on-call", "Sat 12 Dec 2026 03:00 CST"},
		{"the rest, on a Friday evening", "2026-12-11 20:00", nil, "symptom-report", "routine", "surgeons-office", "Mon 14 Dec 2026"},
	} {
		t.Run(r.name, func(t *testing.T) {
			rec := response(t, q, "r", "2026-12-09", q.every(sayNo).but(r.says))
			rec.First, rec.Updated = f.clock(t, r.at), f.clock(t, r.at)
			b := only(t, p, f, appointment(t, "a", "2026-11-30", hipService), rec)
			pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, rec.Updated.Add(time.Minute))
			i := stepItem(t, pl, r.step)
			require.Equal(t, r.due, i.Due.Words())
			require.Equal(t, r.priority, i.Step.Priority)
			require.Equal(t, r.who, i.Step.Performers[0].Role)
		})
	}
}

// A questionnaire that could not be acted on is refused with its place.
func TestQuestionnairesRefused(t *testing.T) {
	for _, r := range []struct{ name, old, new, says string }{
		{"a level that is none", `"valueCode": "surgeon-today"`, `"valueCode": "surgeon-soon"`, "wound-opening: its urgency is none of the levels"},
		{"no office hours", `"valueTime": "08:00:00"`, `"valueString": "eight"`, `office-hours names no time of day as "from"`},
		{"a linkId twice", `"linkId": "fast-heart"`, `"linkId": "chest-pain"`, `linkId "chest-pain" is missing or stands twice`},
		{"a limit in kilograms", `"code": "Cel"`, `"code": "kg"`, "temperature: the limit of its urgency is no temperature"},
		{"a quantity without a limit", `"url": "limit"`, `"url": "ceiling"`, "temperature: only a yes-or-no question is urgent without a limit"},
		{"a limit on a choice", `"type": "quantity"`, `"type": "choice", "answerValueSet": "` + yesNoUnknown + `"`, "temperature: only a yes-or-no question"},
		{"a choice of nothing", `"answerValueSet": "` + yesNoUnknown + `"`, `"readOnly": false`, "chest-pain: a choice needs answerOption"},
	} {
		t.Run(r.name, func(t *testing.T) {
			text := shipped(t, symptomURL)
			if r.name == "a level that is none" { // of the first item that names it
				head, tail, found := strings.Cut(text, `"linkId": "signs-for-the-surgeon"`)
				require.True(t, found)
				text = head + `"linkId": "signs-for-the-surgeon"` + strings.Replace(tail, r.old, r.new, 1)
			} else {
				require.Contains(t, text, r.old)
				text = strings.Replace(text, r.old, r.new, 1)
			}
			_, err := ReadQuestionnaire(parse(t, []byte(text)))
			require.ErrorContains(t, err, r.says)
		})
	}
	t.Run("more about nothing", func(t *testing.T) {
		text := strings.Replace(shipped(t, screeningURL), `"valueString": "skin"`, `"valueString": "skan"`, 1)
		_, err := ReadQuestionnaire(parse(t, []byte(text)))
		require.ErrorContains(t, err, "skin-began says more about skan")
	})
}

// An input that asks for answers that no questionnaire could give is refused.
func TestAskedForInVain(t *testing.T) {
	for _, r := range []struct{ name, old, new, says string }{
		{"no such question", `"valueString":"coach-named"`, `"valueString":"couch-named"`, `has no yes-or-no question "couch-named"`},
		{"no such answer", `"valueCode":"yes"`, `"valueCode":"yeah"`, "none of yes, no, unknown"},
		{"no such group", `"valueString":"infection-questions"`, `"valueString":"skin"`, `has no group "skin"`},
		{"no such questionnaire", homeURL, homeURL + "-2", "which is not known"},
		{"no questionnaire by a code", `"path":"questionnaire"`, `"path":"identifier"`, "names no questionnaire by a code"},
	} {
		t.Run(r.name, func(t *testing.T) {
			defs, pd := embedded(t)
			var tree object
			require.NoError(t, json.Unmarshal(pd, &tree))
			plain, err := json.Marshal(tree)
			require.NoError(t, err)
			require.Contains(t, string(plain), r.old)
			_, err = ReadProtocol(parse(t, []byte(strings.ReplaceAll(string(plain), r.old, r.new))), defs)
			require.ErrorContains(t, err, r.says)
		})
	}
}

// What a report was sorted by is said in plain words: the question as the person
// read it, the answer, and when it came; no reference stands there.
func TestReportedWords(t *testing.T) {
	q, f := questionnaireOf(t, symptomURL), chicago(t)
	for _, c := range []struct {
		name    string
		answers says
		want    []string
		not     []string
	}{
		{"nothing urgent", q.every(sayNo), []string{"None of the answers is on the lists of urgent signs."}, []string{"It says"}},
		{"one", q.every(sayNo).but(says{"chest-pain": sayYes}), []string{"It says: “" + q.questions["chest-pain"].text + "” yes."}, []string{"None"}},
		{"unknown and left out", q.every(sayNo).but(says{"chest-pain": sayUnknown, "fever": nil}), []string{
			"“" + q.questions["chest-pain"].text + "” the person does not know", "“" + q.questions["fever"].text + "” not answered",
		}, nil},
		{"very many", q.every(sayYes), []string{"; and 22 more like these."}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := response(t, q, "r", "2026-12-09", c.answers, status("completed"))
			r.Updated = f.clock(t, "2026-12-09 12:05")
			said := q.reported(r, f)
			for _, want := range append(c.want, "it came on Wednesday 9 December 2026, 12:05.") {
				require.Contains(t, said, want)
			}
			for _, not := range append(c.not, "/_history/", "QuestionnaireResponse", "““") {
				require.NotContains(t, said, not)
			}
		})
	}
}
