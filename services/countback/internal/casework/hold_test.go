package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/translate"
)

const icd10cm = "http://hl7.org/fhir/sid/icd-10-cm"

// infection is a urinary infection with symptoms.
func infection(n, patient, clinical, over string) res {
	out := res{
		"resourceType": "Condition", "identifier": numbered(staySystem, "C-"+n), "subject": ref(patient),
		"code":               coded(icd10cm, "N39.0"),
		"clinicalStatus":     coded("http://terminology.hl7.org/CodeSystem/condition-clinical", clinical),
		"verificationStatus": coded("http://terminology.hl7.org/CodeSystem/condition-ver-status", "confirmed"),
		"onsetDateTime":      "2026-12-30", "note": []res{{"text": "QuillfeatherDiagnosis"}},
	}
	if over != "" {
		out["abatementDateTime"] = over
	}
	return out
}

// extraction is a tooth extraction at a dentist.
func extraction(n, patient, status, day string) res {
	return res{
		"resourceType": "Procedure", "identifier": numbered(staySystem, "X-"+n), "status": status, "subject": ref(patient),
		"code": coded(snomed, "55162003"), "performedDateTime": day,
	}
}

// flags are the Flags of a person, the first first.
func (h *house) flags(patient string) []*fhir.Resource {
	h.t.Helper()
	var out []*fhir.Resource
	for _, s := range h.found("Flag") {
		if s.Patient == patient {
			out = append(out, parse(h.t, s.Body))
		}
	}
	return out
}

// release completes the Task of a hold.
func release(who, why string) edit {
	return func(task res) {
		done("")(task)
		if who != "" {
			task["owner"] = res{"display": who}
		}
		if why != "" {
			task["statusReason"] = res{"text": why}
		}
	}
}

// A urinary infection twelve days before: the case is held by itself, what must
// wait is paused, and only a named person with a reason lets it go on.
func TestInfectionHoldsUntilReleased(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-30 09:00")
	b := h.book("1", surgery)
	mark := h.mark()
	c := infection("1", b.patient, "active", "")
	h.put(by(c), c)

	require.Equal(t, "held", h.onlyCase(b.patient).State)
	plan := h.get("CarePlan/" + b.plan)
	require.Equal(t, "on-hold", plan.String("status"))
	require.Contains(t, plan.String("text", "div"), "Held: recent infection (a urinary infection with symptoms, and nobody has said when it is over: from when surgery may be cannot be computed).")
	flags := h.flags(b.patient)
	require.Len(t, flags, 1)
	require.Equal(t, "active", flags[0].String("status"))
	require.Equal(t, "recent-infection", flags[0].String("code", "coding", "code"))
	require.Equal(t, "clinical", flags[0].String("category", "coding", "code"))
	require.False(t, flags[0].Get("period", "end").Exists())
	require.Equal(t, "paused", h.step(b.plan, "antiseptic-wash-1").State)
	require.NotEqual(t, "paused", h.step(b.plan, "medical-evaluation").State)
	events := h.after(mark)
	held := h.caseData(events, event.CaseHeld)
	require.Len(t, held.Holds, 1)
	require.Equal(t, flags[0].ID(), held.Holds[0].ID)
	for _, e := range events { // thin: no diagnosis, no kind of hold
		body, err := event.Encode(e)
		require.NoError(t, err)
		require.NotContains(t, string(body), "infection\"")
		require.NotContains(t, string(body), "N39")
	}
	task := h.get("Task/" + h.step(b.plan, "clear-hold").ID)
	require.Equal(t, "surgeon", task.String("performerType", "coding", "code"))
	require.Equal(t, 1, task.Get("performerType").Len(), "to the role that may release it")

	// It is over: that releases nothing, but says from when it may be.
	mark = h.mark()
	c = infection("1", b.patient, "resolved", "2027-01-02")
	h.set("2027-01-04 09:00")
	h.put(by(c), c)
	require.Equal(t, "held", h.onlyCase(b.patient).State)
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "surgery from Sat 9 Jan 2027 (7 days)")
	require.NotContains(t, names(h.after(mark)), event.CaseReleased)

	// Whoever releases it is named, and says why.
	for _, bad := range []edit{release("", "symptoms gone"), release("Maud Fennimore", ""), release("", "")} {
		_, err := h.tryWork(h.step(b.plan, "clear-hold").ID, bad)
		require.ErrorIs(t, err, ErrInvalid)
		require.Equal(t, "held", h.onlyCase(b.patient).State)
	}
	mark = h.mark()
	require.Equal(t, "done", h.work(b.plan, "clear-hold", release("Maud Fennimore", "Symptoms gone, course finished.")).State)
	require.NotEqual(t, "held", h.onlyCase(b.patient).State)
	flags = h.flags(b.patient)
	require.Len(t, flags, 1)
	require.Equal(t, "inactive", flags[0].String("status"))
	require.True(t, flags[0].Get("period", "end").Exists())
	require.Contains(t, string(flags[0].Raw), "Released by Maud Fennimore: Symptoms gone, course finished.")
	require.Contains(t, names(h.after(mark)), event.CaseReleased)
	require.Equal(t, "upcoming", h.step(b.plan, "antiseptic-wash-1").State)

	// The same ground again changes nothing; another one holds again.
	h.put(by(c), c)
	require.Len(t, h.flags(b.patient), 1)
	again := infection("2", b.patient, "active", "")
	h.put(by(again), again)
	require.Equal(t, "held", h.onlyCase(b.patient).State)
	require.Len(t, h.flags(b.patient), 2)
	require.Equal(t, []string{"done", "due"}, states(h.rounds(b.plan, "clear-hold")))

	// The release was a mistake and is taken back.
	first := h.rounds(b.plan, "clear-hold")[0]
	_, err := h.tryWork(first.ID, status("requested"), set("statusReason", res{"text": "the wrong person"}))
	require.NoError(t, err)
	require.Equal(t, "active", h.flags(b.patient)[0].String("status"))
}

func states(items []item) []string {
	var out []string
	for _, i := range items {
		out = append(out, i.State)
	}
	return out
}

// What ends a hold and what does not.
func TestWhatEndsAHold(t *testing.T) {
	for _, r := range []struct {
		name string
		then func(h *house, b booked)
		held bool
		says string
	}{
		{"resolved", func(h *house, b booked) {
			c := infection("1", b.patient, "resolved", "2026-12-15")
			h.put(by(c), c)
		}, true, ""},
		{"entered in error", func(h *house, b booked) {
			c := infection("1", b.patient, "active", "").with("clinicalStatus", nil).
				with("verificationStatus", coded("http://terminology.hl7.org/CodeSystem/condition-ver-status", "entered-in-error"))
			h.put(by(c), c)
		}, false, "Withdrawn"},
		{"refuted", func(h *house, b booked) {
			c := infection("1", b.patient, "inactive", "").
				with("verificationStatus", coded("http://terminology.hl7.org/CodeSystem/condition-ver-status", "refuted"))
			h.put(by(c), c)
		}, false, "Withdrawn"},
		{"the date moves far away", func(h *house, b booked) { h.move("1", b.patient, "2027-04-12") }, true, ""},
		{"time passes", func(h *house, b booked) { h.tick("2027-01-08 09:00") }, true, ""},
		{"it was another person's", func(h *house, b booked) {
			p := person("2")
			other := name(h.put(by(p), p).Stored)
			c := infection("1", other, "active", "")
			h.put(by(c), c)
		}, true, "corrected or taken away since"},
		{"corrected into something else", func(h *house, b booked) {
			c := infection("1", b.patient, "active", "").with("code", coded(icd10cm, "I10"))
			h.put(by(c), c)
		}, true, "corrected or taken away since"},
		{"a second ground, and the first withdrawn", func(h *house, b booked) {
			second := infection("2", b.patient, "active", "")
			h.put(by(second), second)
			c := infection("1", b.patient, "active", "").with("clinicalStatus", nil).
				with("verificationStatus", coded("http://terminology.hl7.org/CodeSystem/condition-ver-status", "entered-in-error"))
			h.put(by(c), c)
		}, true, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			h.set("2026-12-12 09:00")
			b := h.book("1", surgery)
			c := infection("1", b.patient, "active", "")
			h.put(by(c), c)
			require.Equal(t, "held", h.onlyCase(b.patient).State)
			r.then(h, b)
			require.Equal(t, r.held, h.onlyCase(b.patient).State == "held")
			flags := h.flags(b.patient)
			require.Len(t, flags, 1, "a new ground of the same kind joins the hold")
			require.Equal(t, r.held, flags[0].String("status") == "active")
			require.True(t, strings.Contains(string(flags[0].Raw), r.says))
		})
	}
}

// The ground that came before the booking holds as one that comes after it.
func TestGroundBeforeTheBooking(t *testing.T) {
	h := newHouse(t)
	p := person("1")
	patient := name(h.put(by(p), p).Stored)
	x := extraction("1", patient, "preparation", "2027-01-06")
	h.put(by(x), x)
	b := h.book("1", surgery)
	require.Equal(t, patient, b.patient)
	require.Equal(t, "held", h.onlyCase(patient).State)
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"),
		"Held: pending dental work (oral surgery planned for Wed 6 Jan 2027: surgery from Wed 27 Jan 2027, or it waits until 3 months after surgery).")
	// Put off until after surgery, but not for long enough; then for long enough:
	// it can be released, and only a person does it.
	for _, day := range []string{"2027-03-01", "2027-06-01"} {
		x = extraction("1", patient, "preparation", day)
		h.put(by(x), x)
		require.Equal(t, "held", h.onlyCase(patient).State)
	}
	h.work(b.plan, "clear-hold", release("Maud Fennimore", "Put off by the dentist."))
	require.NotEqual(t, "held", h.onlyCase(patient).State)
	// And back again: another day is another question.
	x = extraction("1", patient, "preparation", "2027-01-06")
	h.put(by(x), x)
	require.Equal(t, "held", h.onlyCase(patient).State)
	require.Len(t, h.flags(patient), 2)
}

// Once the person has arrived, nothing is held any more; when the case ends, its
// holds end.
func TestNoHoldAfterArrival(t *testing.T) {
	h := newHouse(t)
	h.set("2027-01-11 08:00")
	b := h.book("1", surgery)
	v := stay("1", b.patient, b.appointment, "in-progress", "2027-01-11 07:00", "")
	h.put(by(v), v)
	c := infection("1", b.patient, "active", "")
	h.put(by(c), c)
	require.Empty(t, h.flags(b.patient))

	other := h.book("2", "2027-01-25")
	c = infection("2", other.patient, "active", "")
	h.put(by(c), c)
	require.Equal(t, "held", h.onlyCase(other.patient).State)
	a := appointment("2", other.patient, "2027-01-25").with("status", "cancelled")
	h.put(by(a), a)
	require.Equal(t, "cancelled", h.onlyCase(other.patient).State)
	require.Equal(t, "inactive", h.flags(other.patient)[0].String("status"))
}

// A visit that was called off releases nothing, and what must be known for
// another day names it by what it was last called.
func TestAVisitCalledOffIsStillNamed(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-12 09:00")
	b := h.book("1", surgery)
	x := extraction("1", b.patient, "preparation", "2027-01-06")
	h.put(by(x), x)
	x = extraction("1", b.patient, "not-done", "2027-01-06")
	h.put(by(x), x)
	require.Equal(t, "held", h.onlyCase(b.patient).State)
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "oral surgery, which was called off, settled, corrected or taken away since: a named person may release it")
	safe, err := h.office.EarliestSafe(t.Context(), "CarePlan", b.plan)
	require.NoError(t, err)
	require.Contains(t, string(safe), "whether a named person releases the hold, oral surgery")
}

// A must that was missed holds the case; the date moves, and nothing of it is
// missing for the new one: the hold says no more than that.
func TestWhatAHoldSaysWhenTheDateMoves(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2027-01-10 00:00")
	require.Contains(t, h.kinds(b.patient), "evidence-missing")
	h.move("1", b.patient, "2027-02-15")
	raw := string(h.flags(b.patient)[0].Raw)
	require.Contains(t, raw, "Ended: for the date that stands, nothing that it waited for is missing.")
	require.Contains(t, raw, "it was not done by its last day")
	require.NotContains(t, raw, "is there")
}

// A question about another day meets the holds as they would be on that day, and
// stores nothing.
func TestHoldsInWhatIsOnlyAsked(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-12 09:00")
	b := h.book("1", surgery)
	x := extraction("1", b.patient, "preparation", "2027-01-06")
	h.put(by(x), x)
	before := h.everything()

	safe, err := h.office.EarliestSafe(t.Context(), "CarePlan", b.plan)
	require.NoError(t, err)
	require.Contains(t, string(safe), `"valueDate":"2027-01-27"`)
	require.Contains(t, string(safe), "Oral surgery planned for Wed 6 Jan 2027")
	require.Contains(t, string(safe), "whether a named person releases the hold, oral surgery")

	ask := func(patient, day string) string {
		body, err := h.office.Apply(t.Context(), h.office.Protocol().ID, Question{Subject: patient, Question: translate.Question{Surgery: day}})
		require.NoError(t, err)
		return parse(t, body).String("text", "div")
	}
	require.Contains(t, ask(b.patient, "2027-01-11"), "Held: pending dental work")
	require.Contains(t, ask(b.patient, "2027-05-14"), "Held: pending dental work", "raised before: only a person releases it")
	require.Equal(t, before, h.everything())

	// A day that a ground meets is held, though nothing holds the booking itself.
	other := h.book("2", "2027-05-14")
	x = extraction("2", other.patient, "preparation", "2027-01-06")
	h.put(by(x), x)
	require.Empty(t, h.flags(other.patient))
	require.NotContains(t, ask(other.patient, "2027-05-14"), "Held:")
	require.Contains(t, ask(other.patient, "2027-01-11"), "Held: pending dental work")
	require.Empty(t, h.flags(other.patient))
}

// The ground of a hold is withdrawn when the case is over: the Flag alone is
// written, and its record names it.
func TestGroundWithdrawnAfterTheEnd(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	c := infection("1", b.patient, "active", "")
	h.put(by(c), c)
	a := appointment("1", b.patient, surgery)
	h.put(by(a), a.with("status", "cancelled"))
	c = infection("1", b.patient, "active", "").with("clinicalStatus", nil).
		with("verificationStatus", coded("http://terminology.hl7.org/CodeSystem/condition-ver-status", "entered-in-error"))
	h.put(by(c), c)
	flag := h.flags(b.patient)[0]
	require.Equal(t, "inactive", flag.String("status"))
	targets := ""
	for _, s := range h.found("Provenance") {
		targets += string(s.Body)
	}
	require.Contains(t, targets, "Flag/"+flag.ID()+"/_history/"+flag.String("meta", "versionId"))
}

// An extraction that was planned in good time is asked about on the day after,
// and holds when it could not be made up for any more, both by the clock alone;
// the answer that it was done makes the hold releasable, and releases nothing.
func TestPlannedExtractionIsConfirmed(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-01 09:00")
	b := h.book("1", surgery) // Monday 11 January 2027
	r := extraction("1", b.patient, "preparation", "2026-12-15")
	h.put(by(r), r)
	h.tick("2026-12-15 12:00")
	for _, i := range h.items(b.plan) {
		require.NotEqual(t, "ask-about-record", i.Step)
	}
	h.tick("2026-12-16 00:00")
	require.Equal(t, []string{"due"}, states(h.rounds(b.plan, "ask-about-record")))
	require.Contains(t, string(h.get("Task/"+h.step(b.plan, "ask-about-record").ID).Raw), "Oral surgery was planned for a day that is past")
	require.NotEqual(t, "held", h.onlyCase(b.patient).State)
	h.tick("2026-12-21 23:59")
	require.NotEqual(t, "held", h.onlyCase(b.patient).State)
	h.tick("2026-12-22 00:00")
	require.Equal(t, "held", h.onlyCase(b.patient).State)
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "oral surgery was planned for Tue 15 Dec 2026, and nobody has said that it was done")

	require.Equal(t, "done", h.work(b.plan, "ask-about-record", done("2026-12-22")).State)
	require.Equal(t, "held", h.onlyCase(b.patient).State, "only a person releases it")
	require.NotContains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "nobody has said that it was done")
	h.work(b.plan, "clear-hold", release("Maud Fennimore", "The dentist says that it was done on the 15th."))
	require.NotEqual(t, "held", h.onlyCase(b.patient).State)
}
