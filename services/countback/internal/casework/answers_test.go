package casework

import (
	"context"
	"encoding/json"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/translate"
)

// Answers, by the codes of the value set yesnodontknow of FHIR R4.
var (
	yes     = res{"valueCoding": res{"system": "http://terminology.hl7.org/CodeSystem/v2-0136", "code": "Y"}}
	no      = res{"valueCoding": res{"system": "http://terminology.hl7.org/CodeSystem/v2-0136", "code": "N"}}
	unknown = res{"valueCoding": res{"system": "http://terminology.hl7.org/CodeSystem/data-absent-reason", "code": "asked-unknown"}}
)

// formItem is a question of a shipped questionnaire.
type formItem struct {
	LinkID   string     `json:"linkId"`
	Required bool       `json:"required"`
	Item     []formItem `json:"item"`
}

// filled is a response to a questionnaire of ours: every required question with
// one answer, but for those given.
func filled(t tester, form, patient, authored string, rest res, but map[string]any) res {
	b, err := api.FHIR.ReadFile("fhir/Questionnaire-" + form + ".json")
	require.NoError(t, err)
	var q formItem
	require.NoError(t, json.Unmarshal(b, &q))
	var below func(items []formItem) []res
	below = func(items []formItem) []res {
		var out []res
		for _, i := range items {
			item := res{"linkId": i.LinkID}
			answer, given := but[i.LinkID]
			if !given && i.Required {
				answer = rest
			}
			if answer != nil {
				item["answer"] = []any{answer}
			}
			if inner := below(i.Item); len(inner) > 0 {
				item["item"] = inner
			}
			if len(item) > 1 {
				out = append(out, item)
			}
		}
		return out
	}
	return res{
		"resourceType": "QuestionnaireResponse", "questionnaire": translate.Base + "/Questionnaire/" + form, "status": "completed",
		"identifier": numbered("https://forms.larkspindle.example/filled", form)[0],
		"subject":    ref(patient), "authored": localTime(authored), "item": below(q.Item),
	}
}

const symptoms = "symptom-report"

// reports are the current steps of symptom reports with their states.
func (h *house) reports(plan string) string {
	h.t.Helper()
	var out []string
	for _, i := range h.items(plan) {
		if strings.HasPrefix(i.Step, symptoms) {
			out = append(out, strings.TrimPrefix(i.Step, symptoms)+" "+i.State+" "+i.Status)
		}
	}
	return strings.Join(out, "; ")
}

// A chest pain at night: told at once, a task opened and an event, and nothing of
// what was answered outside.
func TestChestPainAtNight(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2027-01-16 02:10") // a Saturday
	mark := h.mark()
	sent := filled(t, symptoms, b.patient, "2027-01-16 02:05", no, map[string]any{
		"chest-pain": yes, "in-your-words": res{"valueString": "QuillfeatherDiagnosis"},
	})
	to := "QuestionnaireResponse?identifier=https://forms.larkspindle.example/filled|" + symptoms
	r := h.put(to, sent)
	require.True(t, strings.HasPrefix(r.Advice, "Call your local emergency number now."), r.Advice)
	require.Contains(t, r.Advice, "task to call back")
	require.Equal(t, "-now due requested", h.reports(b.plan))
	events := h.after(mark)
	require.Equal(t, []string{"symptom-report-now"}, h.steps(events, event.TasksOpened))
	for _, row := range h.rows()[mark:] {
		require.NotContains(t, string(row.Body), "chest")
		require.NotContains(t, string(row.Body), "Quillfeather")
		require.NotContains(t, string(row.Body), "QuestionnaireResponse")
	}
	task := h.get("Task/" + h.step(b.plan, "symptom-report-now").ID)
	require.Equal(t, "stat", task.String("priority"))
	require.Equal(t, localTime("2027-01-16 02:25"), task.String("restriction", "period", "end"))
	require.Contains(t, string(task.Raw), name(r.Stored)+"/_history/1")
	require.NotContains(t, string(task.Raw), "QuillfeatherDiagnosis")

	h.tick("2027-01-16 02:26")
	require.Equal(t, "-now late requested", h.reports(b.plan))
	// Sent again, it is told again, and opens nothing more.
	mark = h.mark()
	again := h.put(to, sent)
	require.False(t, again.Changed)
	require.Equal(t, r.Advice, again.Advice)
	require.Empty(t, h.after(mark))
}

// What is corrected is read again; what was entered in error asks nothing of
// anybody; what was done stays done.
func TestCorrectedReports(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2027-01-20 10:00") // a Wednesday
	said := func(status string, but map[string]any) Result {
		r := filled(t, symptoms, b.patient, "2027-01-20 09:50", no, but).with("status", status)
		return h.put("QuestionnaireResponse?identifier=https://forms.larkspindle.example/filled|"+symptoms, r)
	}
	require.Contains(t, said("completed", nil).Advice, "next working day")
	require.Equal(t, " due requested", h.reports(b.plan))
	h.work(b.plan, "symptom-report", done("2027-01-20"))
	h.set("2027-01-20 10:30")
	require.Contains(t, said("amended", map[string]any{"chills": yes}).Advice, "surgeon's office today")
	require.Equal(t, " done completed; -today due requested", h.reports(b.plan))
	require.Contains(t, said("amended", map[string]any{"chills": unknown, "fainting": nil}).Advice, "emergency number now")
	require.Equal(t, " done completed; -today not-needed cancelled; -now due requested", h.reports(b.plan))
	mistaken := said("entered-in-error", map[string]any{"fainting": yes})
	require.Empty(t, mistaken.Advice)
	require.Empty(t, mistaken.Note)
	require.Equal(t, " done completed; -today not-needed cancelled; -now not-needed cancelled", h.reports(b.plan))
	require.Contains(t, said("amended", map[string]any{"fainting": yes}).Advice, "emergency number now")
	require.Equal(t, " done completed; -today not-needed cancelled; -now not-needed cancelled; -now due requested", h.reports(b.plan))
}

// Nobody has been told where no operation is known of: the person must know.
func TestReportsThatReachNobody(t *testing.T) {
	h := newHouse(t)
	stranger := h.newPatient("2")
	chest := map[string]any{"chest-pain": yes}
	for _, r := range []struct {
		name string
		to   res
	}{
		{"somebody without a booking", filled(t, symptoms, stranger, "2026-09-08 10:00", no, chest)},
		{"nobody", filled(t, symptoms, stranger, "2026-09-08 10:00", no, chest).with("subject", nil)},
		{"somebody unknown", filled(t, symptoms, stranger, "2026-09-08 10:00", no, chest).with("subject", logical(personSystem, "P-77"))},
	} {
		t.Run(r.name, func(t *testing.T) {
			got := h.put("QuestionnaireResponse", r.to.with("identifier", nil))
			require.True(t, strings.HasPrefix(got.Advice, "Call your local emergency number now."))
			require.Contains(t, got.Advice, "nobody at the hospital has been told")
		})
	}
}

// Whatever is known of the operation, a chest pain is called back: before it, after
// it was called off, and where a person and the booking contradict each other.
func TestReportsWhereNoOperationIsKnown(t *testing.T) {
	report := func(h *house, b booked, at string) {
		t.Helper()
		h.set(at)
		got := h.put("QuestionnaireResponse", filled(t, symptoms, b.patient, at, no, map[string]any{"chest-pain": yes}))
		require.Contains(t, got.Advice, "The hospital has a task to call back.")
		require.Equal(t, "-now due requested", h.reports(b.plan))
		require.Contains(t, extensionTexts(h.get("Task/"+h.step(b.plan, "symptom-report-now").ID), "why"), "no operation that has taken place is known here")
	}
	t.Run("before it", func(t *testing.T) {
		h := newHouse(t)
		b := h.book("1", surgery)
		report(h, b, "2026-09-08 10:00")
		h.plannedAnew()
	})
	t.Run("called off", func(t *testing.T) {
		h := newHouse(t)
		b := h.book("1", surgery)
		a := appointment("1", b.patient, surgery)
		h.put(by(a), a.with("status", "cancelled"))
		report(h, b, "2027-01-14 10:00")
		h.plannedAnew()
	})
	t.Run("moved after somebody said that it took place", func(t *testing.T) {
		h := newHouse(t)
		b := h.byClock()
		h.set("2027-01-14 09:00")
		h.work(b.plan, confirmStep, saysOf("arrived", surgery+" 06:40", "went-home", "2027-01-13 15:00"))
		h.move("1", b.patient, "2027-02-08")
		require.Contains(t, h.sayings(b), "Idony Larkmead reported on Thu 14 Jan 2027 of the operation of Mon 11 Jan 2027 that the person came on "+
			"Mon 11 Jan 2027, 06:40 and went home on Wed 13 Jan 2027, 15:00, and the booking now says Mon 8 Feb 2027: find out which is right, and have it corrected there or here.")
		report(h, b, "2027-01-14 10:00")
	})
	t.Run("called off after somebody said that it took place", func(t *testing.T) {
		h := newHouse(t)
		b := h.byClock()
		h.set("2027-01-14 09:00")
		h.work(b.plan, confirmStep, saysOf("arrived", surgery+" 06:40", "went-home", "2027-01-13 15:00"))
		a := appointment("1", b.patient, surgery)
		h.put(by(a), a.with("status", "cancelled"))
		require.Contains(t, h.sayings(b), ", and the booking says that it was called off: find out which is right")
		report(h, b, "2027-01-14 10:00")
	})
}

// A report about another person, corrected, moves to the right one's case.
func TestReportOfTheWrongPerson(t *testing.T) {
	h := newHouse(t)
	wrong, right := h.book("1", surgery), h.book("2", surgery)
	h.tick("2027-01-20 10:00")
	r := filled(t, symptoms, wrong.patient, "2027-01-20 09:50", no, map[string]any{"chills": yes})
	first := h.put("QuestionnaireResponse", r)
	require.Equal(t, "-today due requested", h.reports(wrong.plan))
	require.Empty(t, h.reports(right.plan))
	h.put(name(first.Stored), r.with("id", first.Stored.ID).with("subject", ref(right.patient)).with("status", "amended"))
	require.Equal(t, "-today not-needed cancelled", h.reports(wrong.plan))
	require.Equal(t, "-today due requested", h.reports(right.plan))
}

// A report that came before its person is known reaches the case as soon as the
// booking is there.
func TestReportBeforeItsPerson(t *testing.T) {
	h := newHouse(t)
	h.set("2027-01-11 12:00") // two hours into the operation
	r := h.put("QuestionnaireResponse", filled(t, symptoms, "", "2027-01-11 11:00", no, nil).with("subject", logical(personSystem, "P-1")))
	require.Contains(t, r.Advice, "nobody at the hospital has been told")
	b := h.book("1", surgery)
	require.Equal(t, " due requested", h.reports(b.plan))
}

// What cannot be read is refused with its place, and nothing of it is stored.
func TestUnreadableResponses(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	odd := map[string]any{"chest-pain": res{"valueString": "Quillfeather says yes"}}
	bad := filled(t, symptoms, b.patient, "2027-01-20 09:50", no, odd)
	got := h.refuses(refusal{ErrInvalid, "business-rule", "QuestionnaireResponse.item[0].item[0].answer[0]"},
		delivery(t, "QuestionnaireResponse", bad.json()))
	require.Contains(t, got.Issues[len(got.Issues)-1].Text, "local emergency number now")
	h.refuses(refusal{ErrInvalid, "business-rule", "Bundle.entry[0].resource.item[0].item[0].answer[0]"},
		delivery(t, "", transaction(entry{target: "QuestionnaireResponse", resource: bad})))
	for _, form := range []string{"coach-and-home", "infection-and-dental-screening"} {
		r := filled(t, form, b.patient, "2026-09-08 10:00", no, nil)
		r["item"] = append(r["item"].([]res), res{"linkId": "Quillfeather", "answer": []any{yes}})
		at := "QuestionnaireResponse.item[" + string(rune('0'+len(r["item"].([]res))-1)) + "].linkId"
		h.refuses(refusal{ErrInvalid, "business-rule", at}, delivery(t, "QuestionnaireResponse", r.json()))
	}
	// Taken back, it need not be readable.
	require.True(t, h.put("QuestionnaireResponse", bad.with("status", "entered-in-error")).Created)
}

// A response to a questionnaire that nobody here knows is kept, does nothing, and
// its sender is told; one that a hospital named as evidence is known.
func TestUnknownQuestionnaire(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	mark := h.mark()
	for name, form := range map[string]any{"another": "https://forms.larkspindle.example/Questionnaire/pain", "none": nil} {
		t.Run(name, func(t *testing.T) {
			r := h.put("QuestionnaireResponse", filled(t, symptoms, b.patient, "2027-01-20 09:50", yes, nil).
				with("questionnaire", form).with("identifier", nil))
			require.True(t, r.Created)
			require.Equal(t, "kept, and nothing follows from it: its questionnaire is none that is known here", r.Note)
			require.Empty(t, r.Advice)
		})
	}
	require.Empty(t, h.after(mark))
	known := h.put("QuestionnaireResponse", filled(t, symptoms, b.patient, "2026-09-08 09:50", yes, nil).
		with("questionnaire", translate.Base+"/Questionnaire/baseline-questionnaire").with("identifier", nil))
	require.Empty(t, known.Note)
}

// A screening in the window closes the check, whatever came first; what is left
// open is said.
func TestScreeningClosesChecks(t *testing.T) {
	h := newHouse(t)
	p := person("1")
	patient := name(h.put(by(p), p).Stored)
	form := func(authored string, but map[string]any) res {
		return filled(t, "infection-and-dental-screening", patient, authored, no, but)
	}
	early := h.put("QuestionnaireResponse", form("2026-09-08 10:22", nil))
	require.Empty(t, early.Note)
	b := h.book("1", surgery)
	require.Equal(t, patient, b.patient)
	require.Equal(t, "done by QuestionnaireResponse of 2026-09-08", h.shown(b.plan, "infection-check-1"))
	require.Equal(t, "done by QuestionnaireResponse of 2026-09-08", h.shown(b.plan, "dental-check-1"))
	require.Equal(t, "upcoming", h.shown(b.plan, "infection-check-3"))

	h.set("2027-01-08 10:00") // the Friday before
	open := h.put("QuestionnaireResponse", form("2027-01-08 09:00", map[string]any{"fever": unknown, "dental-work-done": nil}).with("identifier", nil))
	require.Equal(t, "kept; still to be asked, as it was left out or is not known: fever, dental-work-done", open.Note)
	require.NotContains(t, h.shown(b.plan, "infection-check-3"), "done")
	h.put("QuestionnaireResponse", form("2027-01-08 09:30", map[string]any{"dental-work-done": nil}).with("identifier", nil))
	require.Contains(t, h.shown(b.plan, "infection-check-3"), "done by QuestionnaireResponse of 2027-01-08")
	require.NotContains(t, h.shown(b.plan, "dental-check-2"), "done")

	taken := h.put(name(early.Stored), form("2026-09-08 10:22", nil).with("id", early.Stored.ID).with("status", "entered-in-error"))
	require.Empty(t, taken.Note)
	require.NotContains(t, h.shown(b.plan, "dental-check-1"), "of 2026-09-08", "what was withdrawn shows nothing")
}

// Pets at home: the question is in doubt, then asked, then not needed.
func TestHomeAnswersDecideWhatApplies(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	require.Equal(t, "draft", h.step(b.plan, "pet-care").Status)
	say := func(authored string, pets any, cared any) {
		h.put("QuestionnaireResponse", filled(t, "coach-and-home", b.patient, authored, no, map[string]any{"pets": pets, "pets-cared-for": cared}).with("identifier", nil))
	}
	say("2026-09-08 10:00", yes, no)
	require.Equal(t, "requested", h.step(b.plan, "pet-care").Status)
	say("2026-09-08 10:01", unknown, nil)
	require.Equal(t, "draft", h.step(b.plan, "pet-care").Status)
	say("2026-09-08 10:02", no, nil)
	require.Equal(t, "not-needed", h.step(b.plan, "pet-care").State)
	say("2026-09-08 10:03", yes, yes)
	require.Equal(t, "done by QuestionnaireResponse of 2026-09-08", h.shown(b.plan, "pet-care"))
	say("2026-09-08 09:00", no, nil) // an older one that was under way
	require.Equal(t, "done by QuestionnaireResponse of 2026-09-08", h.shown(b.plan, "pet-care"))
}

// The questionnaires are read and found here, and opening again changes nothing.
func TestQuestionnairesAreServed(t *testing.T) {
	h := newHouse(t)
	h.restart("2026-10-01 09:00")
	for _, id := range []string{"coach-and-home", "infection-and-dental-screening", symptoms} {
		require.Equal(t, translate.Base+"/Questionnaire/"+id, h.get("Questionnaire/"+id).String("url"))
		require.Equal(t, "1", h.get("Questionnaire/"+id).String("meta", "versionId"))
		q, issues := search.Parse("Questionnaire", url.Values{"url": {translate.Base + "/Questionnaire/" + id}}, search.Options{Zone: chicago().Calendar.Zone(), Now: h.clock()})
		require.Empty(t, issues)
		page, err := h.office.Search(context.Background(), q)
		require.NoError(t, err)
		require.Len(t, page.Items, 1)
		require.Equal(t, id, page.Items[0].ID)
	}
}
