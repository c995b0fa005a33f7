package translate

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// Questionnaires of ours.
const (
	screeningURL = Base + "/Questionnaire/infection-and-dental-screening"
	homeURL      = Base + "/Questionnaire/coach-and-home"
	symptomURL   = Base + "/Questionnaire/symptom-report"
)

// The codes of the value set yesnodontknow of FHIR R4.
var (
	sayYes     = object{"valueCoding": object{"system": "http://terminology.hl7.org/CodeSystem/v2-0136", "code": "Y"}}
	sayNo      = object{"valueCoding": object{"system": "http://terminology.hl7.org/CodeSystem/v2-0136", "code": "N"}}
	sayUnknown = object{"valueCoding": object{"system": "http://terminology.hl7.org/CodeSystem/data-absent-reason", "code": "asked-unknown"}}
)

func sayDay(day string) object { return object{"valueDate": day} }

func sayCode(system, code string) object {
	return object{"valueCoding": object{"system": Base + "/CodeSystem/" + system, "code": code}}
}

func sayDegrees(value json.Number, unit string) object {
	return object{"valueQuantity": object{"value": value, "system": "http://unitsofmeasure.org", "code": unit}}
}

// says are the answers of a response, by linkId.
type says map[string]object

// but is the same with other answers; nil leaves a question out.
func (s says) but(more says) says {
	out := says{}
	for _, from := range []says{s, more} {
		for k, v := range from {
			if out[k] = v; v == nil {
				delete(out, k)
			}
		}
	}
	return out
}

// questionnaireOf is a questionnaire of ours as it is shipped.
func questionnaireOf(t testing.TB, url string) *Questionnaire {
	t.Helper()
	defs, _ := embedded(t)
	require.NotNil(t, defs.Questionnaires[url], url)
	return defs.Questionnaires[url]
}

// every answers each required question of a questionnaire alike.
func (q *Questionnaire) every(answer object) says {
	out := says{}
	for _, i := range q.order {
		if i.required {
			out[i.linkID] = answer
		}
	}
	return out
}

// response is a completed response, with its items where the questionnaire has
// them.
func response(t testing.TB, q *Questionnaire, id, authored string, s says, more ...object) *Record {
	t.Helper()
	var below func(parent string) []any
	below = func(parent string) []any {
		var out []any
		for _, i := range q.order {
			if i.parent != parent {
				continue
			}
			item := object{"linkId": i.linkID}
			if a := s[i.linkID]; a != nil {
				item["answer"] = []any{a}
			}
			if inner := below(i.linkID); inner != nil {
				item["item"] = inner
			}
			if len(item) > 1 {
				out = append(out, item)
			}
		}
		return out
	}
	body := object{
		"resourceType": "QuestionnaireResponse", "id": id, "meta": object{"versionId": "1"}, "questionnaire": q.URL + "|1.0.0",
		"status": "completed", "subject": ref("Patient/p"), "authored": authored,
	}
	if items := below(""); items != nil {
		body["item"] = items
	}
	for linkID := range s {
		require.Contains(t, q.questions, linkID)
	}
	return record(t, merged(body, more))
}

// Answers that cannot be read are named by their place and never repeated.
func TestUnreadableAnswers(t *testing.T) {
	q := questionnaireOf(t, symptomURL)
	group := func(items ...any) []any { return []any{object{"linkId": "emergency-signs", "item": items}} }
	one := func(linkID string, answers ...any) object { return object{"linkId": linkID, "answer": answers} }
	const at = "QuestionnaireResponse.item[0]"
	for _, r := range []struct {
		name  string
		items []any
		place string
		says  string
	}{
		{"a boolean for a choice", group(one("chest-pain", object{"valueBoolean": true})), at + ".item[0].answer[0]", "chest-pain asks for valueCoding"},
		{"a code of another system", group(one("chest-pain", object{"valueCoding": object{"system": "http://secret.example", "code": "Y"}})), at + ".item[0].answer[0]", "chest-pain was answered with a code that is none of its options"},
		{"a bare code", group(one("chest-pain", object{"valueCoding": object{"code": "Y"}})), at + ".item[0].answer[0]", "none of its options"},
		{"a text for a code", group(one("chest-pain", object{"valueString": "secret yes"})), at + ".item[0].answer[0]", "asks for valueCoding"},
		{"two answers", group(one("chest-pain", sayYes, sayNo)), at + ".item[0].answer", "chest-pain takes one answer only"},
		{"a question twice", group(one("chest-pain", sayNo), one("chest-pain", sayYes)), at + ".item[1].linkId", "chest-pain stands here a second time"},
		{"a question that is none", group(one("secret-pain", sayNo)), at + ".item[0].linkId", "no question with this linkId"},
		{"a question of another group", group(one("fever", sayNo)), at + ".item[0].linkId", "fever does not stand here"},
		{"a question outside its group", []any{one("chest-pain", sayYes)}, at + ".linkId", "chest-pain does not stand here"},
		{"an answer to a group", []any{one("emergency-signs", sayYes)}, at + ".answer", "emergency-signs takes no answer"},
		{"a temperature without a unit", []any{object{"linkId": "signs-for-the-surgeon", "item": []any{one("temperature", object{"valueQuantity": object{"value": 39}})}}}, at + ".item[0].answer[0]", "temperature asks for a number with the unit"},
		{"a temperature that is a weight", []any{object{"linkId": "signs-for-the-surgeon", "item": []any{one("temperature", sayDegrees("39", "kg"))}}}, at + ".item[0].answer[0]", "temperature asks for"},
		{"a temperature of another system", []any{object{"linkId": "signs-for-the-surgeon", "item": []any{one("temperature", object{"valueQuantity": object{
			"value": 39, "system": "http://units.example", "code": "Cel"}})}}}, at + ".item[0].answer[0]", "temperature asks for"},
		{"a question below an answer", group(one("chest-pain", merged(object{"item": []any{one("secret", sayYes)}}, []object{sayNo}))), at + ".item[0].answer[0].item[0].linkId", "no question with this linkId"},
		{"less than a temperature", []any{object{"linkId": "signs-for-the-surgeon", "item": []any{one("temperature", object{"valueQuantity": object{
			"value": 39, "comparator": "<", "system": ucum, "code": "Cel"}})}}}, at + ".item[0].answer[0]", "temperature asks for"},
	} {
		t.Run(r.name, func(t *testing.T) {
			rec := response(t, q, "r", "2026-12-10", nil, object{"item": r.items})
			_, issues := q.Read(rec.Resource)
			require.Len(t, issues, 1, issues.Error())
			require.Equal(t, r.place, issues[0].Expression)
			require.Contains(t, issues[0].Text, r.says)
			require.Equal(t, fhir.CodeBusinessRule, issues[0].Code)
			require.NotContains(t, issues.Error(), "secret")
		})
	}
}

// A choice of several takes their codes only, and "don't know".
func TestOptionsOfAChoice(t *testing.T) {
	q := questionnaireOf(t, screeningURL)
	for name, r := range map[string]struct {
		answer object
		faults int
	}{
		"an option":             {sayCode("dental-work", "extraction"), 0},
		"don't know":            {sayUnknown, 0},
		"no option":             {sayCode("dental-work", "whitening"), 1},
		"of another system":     {sayCode("home", "extraction"), 1},
		"yes is no kind at all": {sayYes, 1},
	} {
		t.Run(name, func(t *testing.T) {
			_, issues := q.Read(response(t, q, "r", "2026-11-18", says{"dental-work-planned-kind": r.answer}).Resource)
			require.Len(t, issues, r.faults)
		})
	}
}

// A boolean question is a yes-or-no question whose answer is never unknown; a
// quantity that is not sorted may have any unit.
func TestBooleanAndQuantity(t *testing.T) {
	q, err := ReadQuestionnaire(parse(t, []byte(`{"resourceType":"Questionnaire","status":"draft","url":"https://forms.example/q","item":[
		{"linkId":"a","type":"boolean"},{"linkId":"b","type":"boolean"},{"linkId":"c","type":"quantity"}]}`)))
	require.NoError(t, err)
	a, issues := q.Read(response(t, q, "r", "2026-11-18", says{
		"a": {"valueBoolean": true}, "b": {"valueBoolean": false}, "c": sayDegrees("70", "kg"),
	}).Resource)
	require.Empty(t, issues)
	require.Equal(t, []Answer{Yes, No, Value, Unanswered}, []Answer{a.To("a"), a.To("b"), a.To("c"), a.To("d")})
}

// What says why there is no answer is read, and is none.
func TestNoAnswerWithAReason(t *testing.T) {
	q := questionnaireOf(t, symptomURL)
	rec := response(t, q, "r", "2026-12-10", says{"chest-pain": {"extension": []any{object{
		"url": "http://hl7.org/fhir/StructureDefinition/data-absent-reason", "valueCode": "asked-declined"}}}})
	a, issues := q.Read(rec.Resource)
	require.Empty(t, issues)
	require.Equal(t, Unanswered, a.To("chest-pain"))
}

// A screening closes the infection checks and the dental checks each for itself,
// and only when everything of it is known.
func TestScreeningShowsChecksDone(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, screeningURL)
	no := q.every(sayNo)
	infections, teeth := []string{"infection-check-1", "infection-check-2", "infection-check-3"}, []string{"dental-check-1", "dental-check-2"}
	both := slices.Concat(teeth, infections)
	for _, r := range []struct {
		name string
		rec  *Record
		want []string
	}{
		{"all no", response(t, q, "r", "2026-11-18", no), both},
		{"all yes: it was asked, what follows is another matter", response(t, q, "r", "2026-11-18", q.every(sayYes)), both},
		{"amended", response(t, q, "r", "2026-11-18", no, status("amended")), both},
		{"in progress", response(t, q, "r", "2026-11-18", no, status("in-progress")), nil},
		{"stopped", response(t, q, "r", "2026-11-18", no, status("stopped")), nil},
		{"entered in error", response(t, q, "r", "2026-11-18", no, status("entered-in-error")), nil},
		{"a tooth is not known", response(t, q, "r", "2026-11-18", no.but(says{"dental-work-planned": sayUnknown})), infections},
		{"teeth left out", response(t, q, "r", "2026-11-18", no.but(says{"dental-work-planned": nil, "dental-work-done": nil})), infections},
		{"skin not known", response(t, q, "r", "2026-11-18", no.but(says{"skin": sayUnknown})), teeth},
		{"skin left out", response(t, q, "r", "2026-11-18", no.but(says{"skin": nil})), teeth},
		{"a question that need not be answered is not known", response(t, q, "r", "2026-11-18", no.but(says{"urine-test-without-symptoms": sayUnknown})), teeth},
		{"nothing answered", response(t, q, "r", "2026-11-18", nil), nil},
		{"no day", response(t, q, "r", "2026-11-18", no, object{"authored": nil}), nil},
		{"of another questionnaire", response(t, q, "r", "2026-11-18", no, object{"questionnaire": "https://forms.example/screening"}), nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			var got []string
			for key := range p.proofsOf([]*Record{r.rec}, f) {
				got = append(got, key.Step)
			}
			slices.Sort(got)
			require.Equal(t, r.want, got)
		})
	}
}

// A step at home is closed only where the answer says that it is done, and a
// later answer takes an earlier one back, whichever came first.
func TestHomeAnswersShowStepsDone(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, homeURL)
	steps := []string{"bathroom-safety", "dressing-aids", "help-at-home", "home-safety", "name-coach", "pet-care", "ride-home", "walking-aids"}
	without := func(gone ...string) []string {
		return slices.DeleteFunc(slices.Clone(steps), func(s string) bool { return slices.Contains(gone, s) })
	}
	yes := q.every(sayYes).but(says{"pets-cared-for": sayYes})
	for linkID, step := range map[string]string{
		"coach-named": "name-coach", "help-first-week": "help-at-home", "ride-arranged": "ride-home", "pets-cared-for": "pet-care",
		"floors-clear": "home-safety", "walker-room": "home-safety", "steady-chair": "home-safety", "night-lights": "home-safety",
		"things-in-reach": "home-safety", "bathroom-strips": "bathroom-safety", "bathroom-bars": "bathroom-safety",
		"walker": "walking-aids", "cane": "walking-aids", "dressing-aids": "dressing-aids",
	} {
		for name, answer := range map[string]object{"no": sayNo, "unknown": sayUnknown, "left out": nil} {
			t.Run(linkID+" "+name, func(t *testing.T) {
				got := stepsShown(p, f, response(t, q, "r", "2026-11-10", yes.but(says{linkID: answer})))
				require.Equal(t, without(step), got)
			})
		}
	}
	all := response(t, q, "a", "2026-11-10T09:00:00-06:00", yes)
	later := response(t, q, "b", "2026-11-10T10:00:00-06:00", says{"coach-named": sayNo})
	unsure := response(t, q, "b", "2026-11-11", says{"cane": sayUnknown, "walker": sayYes})
	require.Equal(t, steps, stepsShown(p, f, all))
	require.Equal(t, without("name-coach"), stepsShown(p, f, all, later))
	require.Equal(t, without("name-coach"), stepsShown(p, f, later, all))
	require.Equal(t, without("walking-aids"), stepsShown(p, f, unsure, all))
	taken := response(t, q, "b", "2026-11-11", says{"coach-named": sayNo}, status("entered-in-error"))
	require.Equal(t, steps, stepsShown(p, f, all, taken))
}

func stepsShown(p *Protocol, f Facility, records ...*Record) []string {
	var out []string
	for key := range p.proofsOf(records, f) {
		out = append(out, key.Step)
	}
	slices.Sort(out)
	return out
}

// The newest answer gives the fact; unknown gives none.
func TestAnswersGiveFacts(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, homeURL)
	told := func(id, authored string, answer object, more ...object) *Record {
		return response(t, q, id, authored, says{"pets": answer}, more...)
	}
	for _, r := range []struct {
		name    string
		records []*Record
		want    any
	}{
		{"none", nil, nil},
		{"yes", []*Record{told("a", "2026-10-05", sayYes)}, true},
		{"no", []*Record{told("a", "2026-10-05", sayNo)}, false},
		{"unknown", []*Record{told("a", "2026-10-05", sayUnknown)}, nil},
		{"yes, later no", []*Record{told("a", "2026-10-05", sayYes), told("b", "2026-10-06", sayNo)}, false},
		{"later no comes first", []*Record{told("b", "2026-10-06", sayNo), told("a", "2026-10-05", sayYes)}, false},
		{"yes, later unknown", []*Record{told("a", "2026-10-05", sayYes), told("b", "2026-10-06", sayUnknown)}, nil},
		{"yes, later not asked", []*Record{told("a", "2026-10-05", sayYes), told("b", "2026-10-06", nil)}, true},
		{"by the hour", []*Record{told("b", "2026-10-05T08:00:00-05:00", sayYes), told("a", "2026-10-05T08:00:01-05:00", sayNo)}, false},
		{"by the hour across zones", []*Record{told("a", "2026-10-05T08:00:00-05:00", sayYes), told("b", "2026-10-05T12:59:00Z", sayNo)}, true},
		{"the same moment: always alike", []*Record{told("a", "2026-10-05", sayNo), told("b", "2026-10-05", sayYes)}, true},
		{"the same moment, other order", []*Record{told("b", "2026-10-05", sayYes), told("a", "2026-10-05", sayNo)}, true},
		{"without a day: older than any", []*Record{told("b", "", sayYes, object{"authored": nil}), told("a", "2020-01-01", sayNo)}, false},
		{"in error", []*Record{told("a", "2026-10-05", sayYes, status("entered-in-error"))}, nil},
		{"in progress", []*Record{told("a", "2026-10-05", sayYes, status("in-progress"))}, nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := only(t, p, f, append([]*Record{appointment(t, "a", "2026-11-30", hipService)}, r.records...)...)
			require.Equal(t, r.want, b.Case.Facts["has_pets"])
		})
	}
}

// Answers open no case and do not change what the booking itself says.
func TestAnswersAreNoBooking(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, homeURL)
	require.Empty(t, Bookings([]*Record{response(t, q, "a", "2026-10-05", q.every(sayYes))}, p, f))
}

// What the booking itself says goes before what a person answered.
func TestBookingGoesBeforeAnswers(t *testing.T) {
	defs, pd := embedded(t)
	p, err := ReadProtocol(parse(t, []byte(strings.ReplaceAll(string(pd), `"valueCode": "has_pets"`, `"valueCode": "joint"`))), defs)
	require.NoError(t, err)
	f, q := chicago(t), questionnaireOf(t, homeURL)
	b := only(t, p, f, appointment(t, "a", "2026-11-30", hipService), response(t, q, "r", "2026-10-05", says{"pets": sayYes}))
	require.Equal(t, "hip", b.Case.Facts["joint"])
}

// What the rules for holds read: every coded question that was answered with yes
// or unknown, with what more was said.
func TestFindings(t *testing.T) {
	p, f, q := defaultProtocol(t), chicago(t), questionnaireOf(t, screeningURL)
	require.Empty(t, p.Findings(response(t, q, "r", "2026-11-18", q.every(sayNo)).Resource, f))
	got := p.Findings(response(t, q, "r", "2026-11-18T21:00:00-06:00", q.every(sayNo).but(says{
		"urinary-with-symptoms": sayYes, "urinary-with-symptoms-began": sayDay("2026-11-15"), "urinary-with-symptoms-ended": sayDay("2026-11"),
		"urine-test-without-symptoms": sayYes, "covid": sayUnknown,
		"antibiotic": sayYes, "antibiotic-reason": sayUnknown, "antibiotic-ended": sayDay("2026-11-20"),
		"dental-work-planned": sayYes, "dental-work-planned-kind": sayCode("dental-work", "extraction"), "dental-work-planned-on": sayDay("2026-11-25"),
	})).Resource, f)
	var words []string
	for _, one := range got {
		require.Equal(t, date(t, "2026-11-18"), one.On)
		require.Len(t, one.Codes, 1)
		require.Equal(t, Base+"/CodeSystem/screening", one.Codes[0].System)
		line := fmt.Sprint(one.Codes[0].Code, " ", one.Answer == Yes)
		for _, role := range []string{"began", "ended", "on", "kind", "reason"} {
			if d, ok := one.Details[role]; ok {
				line += fmt.Sprint("; ", role, " ", d.Day, d.Code.Code, d.Unknown)
			}
		}
		words = append(words, line)
	}
	require.Equal(t, []string{
		"covid false",
		"urinary-with-symptoms true; began 2026-11-15false; ended false",
		"urinary-without-symptoms true",
		"antibiotic true; ended 2026-11-20false; reason true",
		"dental-work-planned true; on 2026-11-25false; kind extractionfalse",
	}, words)
	require.NotEmpty(t, p.Findings(response(t, q, "r", "2026-11-18", q.every(sayYes), status("amended")).Resource, f))
	for _, s := range []string{"in-progress", "stopped", "entered-in-error"} {
		require.Nil(t, p.Findings(response(t, q, "r", "2026-11-18", q.every(sayYes), status(s)).Resource, f), s)
	}
	require.Nil(t, p.Findings(response(t, q, "r", "2026-11-18", q.every(sayYes), object{"questionnaire": "https://forms.example/x"}).Resource, f))
}

// Every code in a questionnaire of ours is in its code system, and each form
// says that it replaces no judgement, and whom to call.
func TestQuestionnairesAreComplete(t *testing.T) {
	defs, _ := embedded(t)
	require.Len(t, defs.Questionnaires, 3)
	for url, q := range defs.Questionnaires {
		coded := 0
		for _, i := range q.order {
			if i.yesNo {
				require.NotEmpty(t, i.codes, "%s %s", url, i.linkID)
			}
			for _, c := range i.codes {
				coded++
				if system, ours := strings.CutPrefix(c.System, Base+"/CodeSystem/"); ours {
					require.Contains(t, codesOf(t, system), c.Code)
				}
			}
		}
		require.Greater(t, coded, 10, url)
		body := shipped(t, url)
		require.Contains(t, body, "does not replace")
		require.Contains(t, body, "local emergency number")
	}
}
