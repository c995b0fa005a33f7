package fhirapi

import (
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

const planDefinition = root + "/PlanDefinition/hip-or-knee-replacement"

// parameters is a Parameters resource; each item is a parameter without braces.
func parameters(items ...string) string {
	return `{"resourceType":"Parameters","parameter":[{` + strings.Join(items, "},{") + "}]}"
}

func valueOf(name, kind, text string) string {
	return `"name":"` + name + `","value` + kind + `":"` + text + `"`
}

// parameter finds a parameter, or a part of one.
func parameterOf(n *fhir.Node, name string) *fhir.Node {
	for _, list := range []string{"parameter", "part"} {
		for _, p := range n.Get(list).Items() {
			if p.String("name") == name {
				return p
			}
		}
	}
	return nil
}

// contained finds what an answer contains: the actions by id, and the Tasks.
func contained(t *testing.T, r response) (actions map[string]*fhir.Node, tasks map[string]*fhir.Resource) {
	t.Helper()
	require.Equal(t, 1, r.body.Get("activity").Len(), "R4: a single activity")
	group := r.body.Contained(strings.TrimPrefix(r.String("activity", "reference", "reference"), "#"))
	require.Equal(t, "RequestGroup", group.Type)
	actions, tasks = map[string]*fhir.Node{}, map[string]*fhir.Resource{}
	for _, a := range group.Get("action").Items() {
		require.NotContains(t, actions, a.String("id"))
		actions[a.String("id")] = a
		task := r.body.Contained(strings.TrimPrefix(a.String("resource", "reference"), "#"))
		require.Equal(t, []string{"Task", "option"}, []string{task.Type, task.String("intent")}, a.String("id"))
		tasks[a.String("id")] = task
	}
	require.Equal(t, len(actions)+1, r.body.Get("contained").Len(), "nothing that no action names")
	return actions, tasks
}

func TestEarliestSafeDate(t *testing.T) {
	h := open(t)
	who := h.book("1")
	before := h.held()
	for _, at := range []string{who.booking, who.carePlan} {
		r := h.must(200, "GET", at+"/$earliest-safe-date", "")
		require.Equal(t, "Parameters", r.String("resourceType"))
		booked := parameterOf(r.body.Root(), "booked-day")
		require.Equal(t, "2027-01-11", parameterOf(booked, "day").String("valueDate"))
		require.Equal(t, "true", parameterOf(booked, "met").String("valueBoolean"))
		day := parameterOf(r.body.Root(), "not-before").String("valueDate")
		require.NotEmpty(t, day)
		require.False(t, parameterOf(r.body.Root(), "day").Exists(), "some steps may apply: it is no day that can be met for certain")
		require.True(t, parameterOf(r.body.Root(), "unknown").Exists())
		require.Less(t, day, "2027-01-11")
		run, _ := parameterOf(r.body.Root(), "run").Get("valueInteger").Int()
		require.Positive(t, run)
		require.Equal(t, "2027-12-07", parameterOf(r.body.Root(), "tried-until").String("valueDate"), "400 days from 2 November 2026")

		require.Equal(t, r.raw, h.must(200, "POST", at+"/$earliest-safe-date", "").raw)
		require.Equal(t, r.raw, h.must(200, "POST", at+"/$earliest-safe-date", `{"resourceType":"Parameters"}`).raw)
		require.Empty(t, h.must(200, "HEAD", at+"/$earliest-safe-date", "").raw)
		require.Empty(t, r.header.Get("ETag"), "it is no version of anything")
	}
	require.Equal(t, before, h.held(), "something was stored")
}

// TestEarliestSafeDateReasons asks about a day that cannot be met: the day that
// can is one that the operation itself calls so, and each reason has its day.
func TestEarliestSafeDateReasons(t *testing.T) {
	h := open(t)
	who := h.book("1")
	near := with(t, with(t, booking("1", local(who.patient)[len(root)+1:], who.order[len(root)+1:]), "2027-01-11T10", "2026-11-03T10"), "2027-01-11T12", "2026-11-03T12")
	h.must(200, "PUT", root+"/Appointment?identifier="+bookingSystem+"|canary-b1", near)
	answer := h.must(200, "GET", who.booking+"/$earliest-safe-date", "")
	r := answer.body.Root()
	booked := parameterOf(r, "booked-day")
	require.Equal(t, "2026-11-03", parameterOf(booked, "day").String("valueDate"))
	require.Equal(t, "false", parameterOf(booked, "met").String("valueBoolean"))
	require.NotEmpty(t, parameterOf(booked, "why").String("valueString"))
	day := parameterOf(r, "not-before").String("valueDate")
	require.NotEmpty(t, day)
	var cleared []string
	for _, p := range r.Get("parameter").Items() {
		if p.String("name") != "obstacle" {
			continue
		}
		clear := parameterOf(p, "clear").String("valueDate")
		cleared = append(cleared, clear)
		require.LessOrEqual(t, clear, day)
		why := parameterOf(p, "why").String("valueString")
		require.Contains(t, why, "With surgery on ")
		require.Contains(t, why, "“"+parameterOf(p, "title").String("valueString")+"”")
		require.NotEmpty(t, parameterOf(p, "step").String("valueCode"))
	}
	require.NotEmpty(t, cleared)
	var done int
	for _, p := range r.Get("parameter").Items() {
		if p.String("name") != "if-done" {
			continue
		}
		done++
		require.NotEmpty(t, parameterOf(p, "step").String("valueCode"))
		by := parameterOf(p, "by").String("valueDate") + parameterOf(p, "by").String("valueDateTime")
		require.GreaterOrEqual(t, by, "2026-11-02", "today")
		require.LessOrEqual(t, by, day+"T~")
		require.Regexp(t, "done in time: .*“"+regexp.QuoteMeta(parameterOf(p, "title").String("valueString"))+"” by ", string(answer.raw))
	}
	require.Positive(t, done, "what is late or soon due must be done")
	require.Equal(t, day, cleared[0], "the binding one comes first")
	require.True(t, slices.IsSortedFunc(cleared, func(a, b string) int { return strings.Compare(b, a) }))

	apply := func(on string) response {
		return h.must(200, "GET", planDefinition+"/$apply?subject="+who.patient[len(root)+1:]+"&surgery="+on, "")
	}
	require.NotContains(t, string(apply(day).raw), `"code":"infeasible"`)
	require.Contains(t, string(apply("2026-11-03").raw), `"code":"infeasible"`)
	require.Contains(t, string(apply("2026-11-03").raw), `"valueDate":"`+day+`"`, "the plan that cannot be met names the day that can")
}

func TestApply(t *testing.T) {
	h := open(t)
	who := h.book("1")
	subject := who.patient[len(root)+1:]
	call := h.task(who, "first-call")
	h.must(200, "PUT", root+"/Task/"+call.String("id"), status(t, call, "completed"))
	before := h.held()

	r := h.must(200, "POST", planDefinition+"/$apply", parameters(
		valueOf("subject", "String", subject), valueOf("surgery", "Date", "2027-05-14"), valueOf("stay", "Code", "same-day")))
	require.Equal(t, "CarePlan", r.String("resourceType"))
	require.Equal(t, []string{"", "draft", "proposal"}, []string{r.String("id"), r.String("status"), r.String("intent")}, "transient")
	require.Equal(t, "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement|"+firstVersion, r.String("instantiatesCanonical"))
	require.Contains(t, r.String("description"), "nothing of it is stored")
	require.Contains(t, r.String("text", "div"), "Friday 14 May 2027, anaesthesia from 10:00 CDT", "at the time of day that is booked")
	actions, tasks := contained(t, r)
	wash := actions["antiseptic-wash-2"]
	require.Equal(t, []string{"2027-05-13", "2027-05-13"}, []string{wash.String("timingPeriod", "start"), wash.String("timingPeriod", "end")})
	require.NotEmpty(t, wash.String("title"))
	require.NotEmpty(t, wash.String("description"))
	require.Equal(t, "2027-05-14", actions["discharge-call"].String("timingPeriod", "start"), "from the day of leaving, which is that of surgery")
	require.Equal(t, "completed", tasks["first-call"].String("status"), "what people recorded counts")
	require.Equal(t, "2026-11-02", tasks["first-call"].String("executionPeriod", "end"))
	doubts := 0
	for id, a := range actions {
		needs := a.String("extension", "valueString")
		require.Equal(t, needs != "", a.Get("condition").Exists(), id)
		if needs != "" {
			doubts++
			require.Contains(t, a.String("textEquivalent"), needs, id)
			require.Equal(t, "draft", tasks[id].String("status"))
		}
	}
	require.Positive(t, doubts, "what is in doubt is carried")

	byType := h.must(200, "POST", root+"/PlanDefinition/$apply", parameters(
		valueOf("planDefinition", "Canonical", "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement|"+firstVersion),
		`"name":"subject","valueReference":{"reference":"`+testBase+"/"+subject+`"}`,
		valueOf("surgery", "Date", "2027-05-14"), valueOf("stay", "Code", "same-day")))
	require.Equal(t, r.raw, byType.raw)
	byGet := h.must(200, "GET", planDefinition+"/$apply?_format=json&stay=same-day&surgery=2027-05-14&subject="+url.QueryEscape(subject), "")
	require.Equal(t, r.raw, byGet.raw)
	require.Empty(t, h.must(200, "HEAD", planDefinition+"/$apply?surgery=2027-05-14&subject="+subject, "").raw)
	require.Equal(t, before, h.held(), "something was stored")
	require.Contains(t, string(h.must(200, "GET", who.carePlan, "").raw), `"valueDate":"2027-01-11"`, "the case stands as it stood")
}

// Of today it is asked before the hour that is booked, and no more after it.
func TestApplyTodayWhoseHourIsPast(t *testing.T) {
	h := open(t)
	who := h.book("1") // at 10:00
	subject := who.patient[len(root)+1:]
	today := planDefinition + "/$apply?surgery=2026-11-02&subject=" + subject
	h.must(200, "GET", today, "")
	h.pass(time.Hour)
	out := h.must(422, "GET", today, "")
	require.Equal(t, "business-rule", out.String("issue", "code"))
	require.Contains(t, out.String("issue", "details", "text"), "surgery: the hour of the operation on that day is past")
	h.must(200, "GET", planDefinition+"/$apply?surgery=2026-11-03&subject="+subject, "")
}

// TestApplyAsStored holds $apply without anything supposed against the plan that
// is stored: the same items, with the same windows.
func TestApplyAsStored(t *testing.T) {
	h := open(t)
	who := h.book("1")
	r := h.must(200, "GET", planDefinition+"/$apply?subject="+who.patient[len(root)+1:], "")
	actions, tasks := contained(t, r)
	stored := h.must(200, "GET", root+"/Task?_count=500&patient="+who.patient[len(root)+1:], "")
	compared := 0
	for _, e := range stored.entries() {
		task := e.Get("resource")
		id := task.String("code", "coding", "code")
		if task.String("status") == "cancelled" {
			require.NotContains(t, actions, id)
			continue
		}
		compared++
		require.Contains(t, actions, id)
		require.True(t, task.Get("restriction", "period").Equal(actions[id].Get("timingPeriod")), id)
		require.Equal(t, task.String("businessStatus", "coding", "code"), tasks[id].String("businessStatus", "coding", "code"), id)
	}
	require.Len(t, actions, compared)
	require.Greater(t, compared, 40)
}

// TestApplyBeforeBooking asks with an Appointment that was never sent.
func TestApplyBeforeBooking(t *testing.T) {
	h := open(t)
	made := h.must(201, "POST", root+"/Patient", patient("1"))
	subject := "Patient/" + made.String("id")
	before := h.held()
	appointment := `{"resourceType":"Appointment","status":"proposed","serviceType":[{"coding":[{"system":"http://snomed.info/sct","code":"609588000"}]}],` +
		`"participant":[{"actor":{"reference":"` + subject + `"},"status":"needs-action"}]}`
	class := `{"resourceType":"Encounter","status":"finished","class":{"code":"AMB"},"subject":{"reference":"` + subject + `"}}`
	ask := func(more ...string) response {
		return h.must(200, "POST", planDefinition+"/$apply", parameters(append([]string{
			valueOf("subject", "String", subject), valueOf("surgery", "DateTime", "2027-05-14T08:15:00-05:00"),
			`"name":"resource","resource":` + appointment, `"name":"resource","resource":` + class,
		}, more...)...))
	}
	r := ask()
	require.Contains(t, r.String("text", "div"), "knee replacement")
	require.Contains(t, r.String("text", "div"), "anaesthesia from 08:15 CDT")
	require.Empty(t, r.String("supportingInfo", "reference"), "what is not held cannot be referred to")
	actions, tasks := contained(t, r)
	require.NotEmpty(t, actions)

	late, lateTasks := contained(t, ask(valueOf("booked", "Date", "2027-05-10")))
	require.Len(t, late, len(actions))
	compressed := func(list map[string]*fhir.Resource) (n int) {
		for _, task := range list {
			n += strings.Count(string(task.Raw), "StructureDefinition/compressed")
		}
		return n
	}
	require.Greater(t, compressed(lateTasks), compressed(tasks), "booked four days before")
	require.Equal(t, before, h.held(), "something was stored")
}

// TestApplyInlineReplaces lets a held booking be asked about as it might become.
func TestApplyInlineReplaces(t *testing.T) {
	h := open(t)
	who := h.book("1")
	subject := who.patient[len(root)+1:]
	moved := with(t, with(t, booking("1", subject, who.order[len(root)+1:]), "2027-01-11T10", "2027-02-08T10"), "2027-01-11T12", "2027-02-08T12")
	before := h.held()
	r := h.must(200, "POST", planDefinition+"/$apply", parameters(
		valueOf("subject", "String", subject), `"name":"resource","resource":`+moved))
	require.Contains(t, r.String("text", "div"), "Monday 8 February 2027")
	require.Equal(t, before, h.held())

	// Two bookings: the sender must say which.
	h.must(200, "POST", root, with(t, bundleOf("transaction",
		entry(orderURN, "PUT", "ServiceRequest?identifier="+orderSystem+"|canary-o2", with(t, order("2", subject), "52734007", "609588000")),
		entry(bookingURN, "PUT", "Appointment?identifier="+bookingSystem+"|canary-b2",
			strings.ReplaceAll(booking("2", subject, orderURN), "2027-01-11", "2027-06-14"))), "canary right hip", "canary knee"))
	refused := h.must(422, "GET", planDefinition+"/$apply?surgery=2027-05-14&subject="+subject, "")
	_, _, text := refused.issue()
	require.Contains(t, text, "booking: the subject has several bookings")
	require.Contains(t, refused.String("issue", "diagnostics"), who.booking[len(root)+1:])
	r = h.must(200, "GET", planDefinition+"/$apply?surgery=2027-05-14&subject="+subject+"&booking="+who.booking[len(root)+1:], "")
	require.Contains(t, r.String("text", "div"), "hip replacement")

	h.pass(80 * 24 * time.Hour) // 21 January: nobody has said what became of the hip, which was held
	h.must(422, "GET", planDefinition+"/$apply?surgery=2027-05-14&subject="+subject, "")
	h.must(201, "POST", root+"/Procedure", `{"resourceType":"Procedure","status":"completed","subject":{"reference":"`+subject+`"},`+
		`"basedOn":[{"reference":"`+who.order[len(root)+1:]+`"}],"code":{"coding":[{"system":"http://snomed.info/sct","code":"52734007"}],"text":"canary right hip"},`+
		`"performedPeriod":{"start":"2027-01-11T10:00:00-06:00","end":"2027-01-11T12:00:00-06:00"}}`)
	r = h.must(200, "GET", planDefinition+"/$apply?surgery=2027-05-14&subject="+subject, "")
	require.Contains(t, r.String("text", "div"), "knee replacement", "the one that is to come")
}

// TestEarliestSafeDateHeld asks about a booking that a recorded infection holds:
// the day is not one that can be met, whatever else is in time.
func TestEarliestSafeDateHeld(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.must(201, "POST", root+"/Condition", `{"resourceType":"Condition","subject":{"reference":"`+who.patient[len(root)+1:]+`"},`+
		`"code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-cm","code":"N39.0"}],"text":"canary"},"onsetDateTime":"2026-10-30",`+
		`"clinicalStatus":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/condition-clinical","code":"active"}]},`+
		`"verificationStatus":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/condition-ver-status","code":"confirmed"}]}}`)
	require.Equal(t, "on-hold", h.must(200, "GET", who.carePlan, "").String("status"))
	before := h.held()
	r := h.must(200, "GET", who.carePlan+"/$earliest-safe-date", "")
	booked := parameterOf(r.body.Root(), "booked-day")
	require.Equal(t, "false", parameterOf(booked, "met").String("valueBoolean"))
	require.NotEmpty(t, parameterOf(booked, "why").String("valueString"))
	// Nobody has said when the infection was over: no date stands anywhere as if
	// surgery could be from then on.
	require.Contains(t, parameterOf(parameterOf(r.body.Root(), "unknown"), "needs").String("valueString"), "was over by Mon 2 Nov 2026, as is counted here, which nobody has said")
	require.Contains(t, string(r.raw), "releases the hold")
	require.Equal(t, "2026-11-09", parameterOf(r.body.Root(), "not-before").String("valueDate"), "seven days from today")
	require.False(t, parameterOf(r.body.Root(), "day").Exists())
	obstacle := parameterOf(r.body.Root(), "obstacle")
	require.Equal(t, "2026-11-09", parameterOf(obstacle, "not-before").String("valueDate"))
	require.False(t, parameterOf(obstacle, "clear").Exists())
	for _, e := range h.must(200, "GET", who.carePlan, "").body.Root().Get("extension").Items() {
		if strings.HasSuffix(e.String("url"), "/earliest-safe-date") {
			require.False(t, e.Get("valueDate").Exists())
			var parts []string
			for _, part := range e.Get("extension").Items() {
				parts = append(parts, part.String("url")+" "+part.String("valueDate")+part.String("valueString"))
			}
			require.Equal(t, "not-before 2026-11-09", parts[0])
			require.Contains(t, parts[1], "if-known whether ")
			require.Contains(t, parts[1], "was over by")
		}
	}
	require.Contains(t, string(h.must(200, "GET", who.carePlan, "").raw), "not-before")
	require.Equal(t, before, h.held(), "something was stored")
}
