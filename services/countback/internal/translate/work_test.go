package translate

import (
	"encoding/json"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// desk is one Task as it stands, and what a person sends back of it.
type desk struct {
	f    Facility
	p    *Protocol
	item *readiness.Item
	row  *Row
	body []byte
}

func newDesk(t testing.TB, step, status string, need readiness.Need, applies readiness.Answer, w *Work) desk {
	t.Helper()
	f, p := chicago(t), keptProtocol(t)
	world := newWorld(t, f, p, "2026-11-20 09:00")
	item := world.item(t, step)
	changed := *item.Step
	changed.Need = need
	item.Step, item.Applies = &changed, applies
	row := rowAt(t, f, item, status, w)
	_, body := rendered(t, f, row, world.task(row), p)
	return desk{f, p, item, row, body}
}

// send puts the Task back with changes; nil takes an element away.
func (d desk) send(t testing.TB, change object) (*Work, fhir.Issues) {
	t.Helper()
	var task object
	require.NoError(t, json.Unmarshal(d.body, &task))
	for k, v := range change {
		if v == nil {
			delete(task, k)
		} else {
			task[k] = v
		}
	}
	return d.f.ReadWork(encoded(t, task), parse(t, d.body), d.row, d.item, WorkOptions{
		Today: date(t, "2026-11-20"), Snapshot: map[string]string{"date": "2026-11-30", "side": "left"},
	})
}

func because(code, text string) object {
	out := object{}
	if code != "" {
		out["coding"] = []any{object{"system": SystemReason, "code": code}}
	}
	if text != "" {
		out["text"] = text
	}
	return object{"statusReason": out}
}

func and(list ...object) object { return merged(object{}, list) }

// entryAt is a standing entry that fits a status.
func entryAt(status string) *Work {
	switch status {
	case "completed":
		return &Work{Outcome: readiness.Done, On: "2026-11-12", For: map[string]string{"date": "2026-11-30"}, ExecutionPeriod: json.RawMessage(`{"end":"2026-11-12"}`)}
	case "cancelled":
		return &Work{Outcome: readiness.Waived, Reason: "before", StatusReason: json.RawMessage(`{"coding":[{"system":"` + SystemReason + `","code":"waived"}],"text":"before"}`)}
	case "failed":
		return &Work{Outcome: readiness.Failed, Reason: "before", StatusReason: json.RawMessage(`{"text":"before"}`)}
	case "received", "accepted", "ready", "in-progress":
		return &Work{Status: status}
	}
	return nil
}

// Every status to every status: which moves are open to people.
func TestStatusMoves(t *testing.T) {
	all := []string{"draft", "requested", "received", "accepted", "rejected", "ready", "cancelled", "in-progress", "on-hold", "failed", "completed", "entered-in-error"}
	open := []string{"requested", "received", "accepted", "ready", "in-progress"}
	legal := map[string][]string{
		"draft":     {"completed", "cancelled"},
		"completed": {"requested"},
		"cancelled": {"requested"},
		"failed":    {"requested", "completed"},
		"on-hold":   {},
	}
	for _, from := range open {
		legal[from] = []string{"completed", "cancelled", "failed"}
		for _, to := range open {
			if to != from {
				legal[from] = append(legal[from], to)
			}
		}
	}
	for _, from := range []string{"draft", "requested", "received", "accepted", "ready", "in-progress", "on-hold", "failed", "completed", "cancelled"} {
		for _, to := range all {
			t.Run(from+" to "+to, func(t *testing.T) {
				d := newDesk(t, "visit", from, readiness.Should, readiness.Yes, entryAt(from))
				if from == to {
					w, issues := d.send(t, object{})
					require.Empty(t, issues)
					want := entryAt(from)
					if want == nil {
						require.Nil(t, w, "nothing was written, so nothing is recorded")
						return
					}
					require.Equal(t, want.Outcome, w.Outcome)
					require.Equal(t, want.Status, w.Status)
					require.Equal(t, want.On, w.On)
					return
				}
				w, issues := d.send(t, and(object{"status": to}, because(ReasonWaived, "as agreed")))
				if !slices.Contains(legal[from], to) {
					require.Nil(t, w)
					require.Len(t, issues, 1)
					require.Equal(t, "Task.status", issues[0].Expression)
					require.Contains(t, issues[0].Text, "Task.status cannot go from "+from+" to "+to+"; open moves are: ")
					return
				}
				require.Empty(t, issues)
				want := map[string]readiness.Outcome{"completed": readiness.Done, "cancelled": readiness.Waived, "failed": readiness.Failed}[to]
				require.Equal(t, want, w.Outcome)
				status := to
				if to == "requested" || want != readiness.NoOutcome {
					status = "" // it follows from the outcome
				}
				require.Equal(t, status, w.Status)
			})
		}
	}
}

func TestHeldTaskSaysThatItWaits(t *testing.T) {
	d := newDesk(t, "call", "on-hold", readiness.Must, readiness.Yes, &Work{Status: "accepted"})
	_, issues := d.send(t, object{"status": "completed"})
	require.Contains(t, issues[0].Text, "open moves are: none while the case is held")
	w, issues := d.send(t, object{"note": []any{object{"text": "rang, told to wait"}}})
	require.Empty(t, issues, "a note may be written meanwhile")
	require.Equal(t, "accepted", w.Status)
	require.JSONEq(t, `[{"text":"rang, told to wait"}]`, string(w.Note))
}

// The day of the evidence is the end of the execution period, else today.
func TestDayOfTheEvidence(t *testing.T) {
	period := func(p object) object { return object{"status": "completed", "executionPeriod": p} }
	for _, r := range []struct {
		name   string
		change object
		on     string
		period string
		issue  string // element
	}{
		{"today", object{"status": "completed"}, "2026-11-20", `{"end":"2026-11-20"}`, ""},
		{"a day", period(object{"end": "2026-11-12"}), "2026-11-12", `{"end":"2026-11-12"}`, ""},
		{"a time, in the facility's day", period(object{"end": "2026-11-13T04:30:00Z"}), "2026-11-12", `{"end":"2026-11-13T04:30:00Z"}`, ""},
		{"start and end", period(object{"start": "2026-11-11", "end": "2026-11-12"}), "2026-11-12", `{"end":"2026-11-12","start":"2026-11-11"}`, ""},
		{"start alone", period(object{"start": "2026-11-11"}), "2026-11-20", `{"start":"2026-11-11"}`, ""},
		{"today itself", period(object{"end": "2026-11-20"}), "2026-11-20", `{"end":"2026-11-20"}`, ""},
		{"tomorrow", period(object{"end": "2026-11-21"}), "", "", "Task.executionPeriod.end"},
		{"a month is no day", period(object{"end": "2026-11"}), "", "", "Task.executionPeriod.end"},
	} {
		t.Run(r.name, func(t *testing.T) {
			w, issues := newDesk(t, "visit", "requested", readiness.Must, readiness.Yes, nil).send(t, r.change)
			if r.issue != "" {
				require.Len(t, issues, 1)
				require.Equal(t, r.issue, issues[0].Expression)
				return
			}
			require.Empty(t, issues)
			require.Equal(t, readiness.Done, w.Outcome)
			require.Equal(t, r.on, w.On)
			require.JSONEq(t, r.period, string(w.ExecutionPeriod))
			require.Equal(t, map[string]string{"date": "2026-11-30", "side": "left"}, w.For, "what it was done for")
		})
	}
}

// The day of what is done already may be corrected; what it was done for stays.
func TestCorrectedDay(t *testing.T) {
	d := newDesk(t, "visit", "completed", readiness.Must, readiness.Yes, entryAt("completed"))
	w, issues := d.send(t, object{"executionPeriod": object{"end": "2026-11-10"}})
	require.Empty(t, issues)
	require.Equal(t, "2026-11-10", w.On)
	require.Equal(t, map[string]string{"date": "2026-11-30"}, w.For)
	require.Equal(t, readiness.Done, w.Outcome)

	for change, says := range map[string]string{"2026-11-21": "lies in the future", "2026": "must name at least a day", "": "cannot be taken away"} {
		sent := object{"executionPeriod": object{"end": change}}
		if change == "" {
			sent = object{"executionPeriod": nil}
		}
		_, issues := d.send(t, sent)
		require.Len(t, issues, 1)
		require.Contains(t, issues[0].Text, says)
	}
	require.Equal(t, "2026-11-12", d.row.Work.On, "what stands is only read")
}

func TestWaivers(t *testing.T) {
	cancelled := object{"status": "cancelled"}
	for _, r := range []struct {
		name    string
		need    readiness.Need
		applies readiness.Answer
		reason  object
		outcome readiness.Outcome
		issue   string // element: text
	}{
		{"a should, with code and text", readiness.Should, readiness.Yes, because(ReasonWaived, "has had it"), readiness.Waived, ""},
		{"a could", readiness.Could, readiness.Yes, because(ReasonWaived, "no wish"), readiness.Waived, ""},
		{"a must", readiness.Must, readiness.Yes, because(ReasonWaived, "has had it"), 0, "Task.status: this step is a must and cannot be waived"},
		{"a must before leaving", readiness.MustToLeave, readiness.Yes, because(ReasonWaived, "has had it"), 0, "Task.status: this step is a must and cannot be waived"},
		{"no text", readiness.Should, readiness.Yes, because(ReasonWaived, ""), 0, "Task.statusReason.text is missing"},
		{"no code", readiness.Should, readiness.Yes, because("", "has had it"), 0, "Task.statusReason is missing: cancel with the code waived"},
		{"no reason", readiness.Should, readiness.Yes, object{}, 0, "Task.statusReason is missing: cancel with the code waived"},
		{"another system's code", readiness.Should, readiness.Yes, object{"statusReason": object{"coding": []any{object{"system": "http://hospital.example", "code": "waived"}}, "text": "x"}}, 0, "Task.statusReason is missing"},
		{"not needed, in doubt", readiness.Must, readiness.Unknown, because(ReasonNotNeeded, ""), readiness.NotNeeded, ""},
		{"not needed, though it applies", readiness.Could, readiness.Yes, because(ReasonNotNeeded, "x"), 0, "not-needed is for a draft whose use is in doubt"},
		{"a must in doubt waived", readiness.Must, readiness.Unknown, because(ReasonWaived, "x"), 0, "Task.status: this step is a must and cannot be waived"},
		{"a should in doubt waived", readiness.Should, readiness.Unknown, because(ReasonWaived, "x"), readiness.Waived, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			w, issues := newDesk(t, "visit", "draft", r.need, r.applies, nil).send(t, and(cancelled, r.reason))
			if r.issue != "" {
				require.Nil(t, w)
				require.Len(t, issues, 1)
				require.Contains(t, issues[0].Text, r.issue)
				return
			}
			require.Empty(t, issues)
			require.Equal(t, r.outcome, w.Outcome)
			require.NotEmpty(t, w.StatusReason)
		})
	}
}

// A reason may be put better, and may not be taken away.
func TestReworded(t *testing.T) {
	waived := newDesk(t, "visit", "cancelled", readiness.Should, readiness.Yes, entryAt("cancelled"))
	w, issues := waived.send(t, because(ReasonWaived, "had it last week elsewhere"))
	require.Empty(t, issues)
	require.Equal(t, "had it last week elsewhere", w.Reason)
	for _, change := range []object{{"statusReason": nil}, because("", "no code"), because(ReasonWaived, "")} {
		_, issues = waived.send(t, change)
		require.Len(t, issues, 1)
	}

	failed := newDesk(t, "visit", "failed", readiness.Must, readiness.Yes, entryAt("failed"))
	w, issues = failed.send(t, because("", "no vein found"))
	require.Empty(t, issues)
	require.Equal(t, readiness.Failed, w.Outcome)
	require.Equal(t, "no vein found", w.Reason)
	_, issues = failed.send(t, object{"statusReason": nil})
	require.Len(t, issues, 1)
}

func TestFailedNeedsAReason(t *testing.T) {
	d := newDesk(t, "visit", "accepted", readiness.Must, readiness.Yes, entryAt("accepted"))
	_, issues := d.send(t, object{"status": "failed"})
	require.Len(t, issues, 1)
	require.Contains(t, issues[0].Text, "say in statusReason.text why it could not be done")
	w, issues := d.send(t, and(object{"status": "failed"}, because("", "did not come")))
	require.Empty(t, issues)
	require.Equal(t, &Work{Outcome: readiness.Failed, Reason: "did not come", For: map[string]string{"date": "2026-11-30", "side": "left"}, StatusReason: json.RawMessage(`{"text":"did not come"}`)}, w)
}

// A step in doubt is answered yes with requested, and that answer can be taken
// back with not-needed.
func TestAnswersToADoubt(t *testing.T) {
	w, issues := newDesk(t, "visit", "draft", readiness.Must, readiness.Unknown, nil).send(t, object{"status": "requested"})
	require.Empty(t, issues)
	require.Equal(t, readiness.Applies, w.Outcome)
	_, issues = newDesk(t, "visit", "draft", readiness.Must, readiness.Yes, nil).send(t, object{"status": "requested"})
	require.Len(t, issues, 1, "nothing to answer")
	answered := newDesk(t, "visit", "requested", readiness.Must, readiness.Yes, w)
	accepted, issues := answered.send(t, object{"status": "accepted"})
	require.Empty(t, issues)
	require.Equal(t, readiness.Applies, accepted.Outcome, "the answer stands while the work goes on")
	require.Equal(t, "accepted", accepted.Status)
	back, issues := answered.send(t, and(object{"status": "cancelled"}, because(ReasonNotNeeded, "")))
	require.Empty(t, issues)
	require.Equal(t, readiness.NotNeeded, back.Outcome)
}

// What cannot have been done yet is refused with the day from which it can be.
func TestRefusesWhatIsTooEarly(t *testing.T) {
	d := newDesk(t, "ring", "draft", readiness.Must, readiness.Yes, nil)
	_, issues := d.send(t, object{"status": "completed"})
	require.Len(t, issues, 1)
	require.Equal(t, "Task.executionPeriod.end", issues[0].Expression)
	require.Contains(t, issues[0].Text, "this step can be done from ")
}

// Taking back what was finished needs a reason, and leaves nothing of it.
func TestCorrections(t *testing.T) {
	for _, from := range []string{"completed", "cancelled", "failed"} {
		t.Run(from, func(t *testing.T) {
			d := newDesk(t, "visit", from, readiness.Should, readiness.Yes, entryAt(from))
			_, issues := d.send(t, object{"status": "requested", "statusReason": nil})
			require.Len(t, issues, 1)
			require.Contains(t, issues[0].Text, "a correction says why in statusReason.text")
			w, issues := d.send(t, and(object{"status": "requested"}, because("", "wrong person")))
			require.Empty(t, issues)
			require.Equal(t, &Work{}, w)
		})
	}
	t.Run("failed, done after all", func(t *testing.T) {
		d := newDesk(t, "visit", "failed", readiness.Must, readiness.Yes, entryAt("failed"))
		w, issues := d.send(t, and(object{"status": "completed"}, because("", "came later")))
		require.Empty(t, issues)
		require.Equal(t, readiness.Done, w.Outcome)
		require.Empty(t, w.Reason)
	})
}

func TestWhatPeopleWriteIsKeptAsSent(t *testing.T) {
	d := newDesk(t, "visit", "requested", readiness.Must, readiness.Yes, nil)
	w, issues := d.send(t, object{
		"status": "accepted", "owner": ref("Practitioner/nurse"), "note": []any{object{"text": "rang"}},
		"output": []any{object{"type": object{"text": "Letter"}, "valueString": "sent"}},
	})
	require.Empty(t, issues)
	require.Equal(t, "accepted", w.Status)
	require.JSONEq(t, `{"reference":"Practitioner/nurse"}`, string(w.Owner))
	require.JSONEq(t, `[{"text":"rang"}]`, string(w.Note))
	require.JSONEq(t, `[{"type":{"text":"Letter"},"valueString":"sent"}]`, string(w.Output))
	require.Nil(t, d.row.Work, "what stands is only read")

	again := newDesk(t, "visit", "accepted", readiness.Must, readiness.Yes, w)
	w, issues = again.send(t, object{"note": nil, "owner": nil})
	require.Empty(t, issues)
	require.Nil(t, w.Note, "what is no longer sent is gone")
	require.Nil(t, w.Owner)
	require.JSONEq(t, `[{"type":{"text":"Letter"},"valueString":"sent"}]`, string(w.Output))
}

// Everything else on a Task is ours: a change of it is refused by its name.
func TestForeignChanges(t *testing.T) {
	d := newDesk(t, "visit", "requested", readiness.Must, readiness.Yes, nil)
	for name, v := range map[string]any{
		"priority": "stat", "intent": "plan", "for": ref("Patient/q"), "focus": nil, "description": "x",
		"restriction": object{"period": object{"end": "2026-12-24"}}, "code": coded(snomed, "1"), "authoredOn": "2026-01-01",
		"identifier": nil, "extension": nil, "input": nil, "performerType": nil, "groupIdentifier": object{"value": "other"},
		"basedOn": refs("ServiceRequest/other"), "reasonCode": object{"text": "new"}, "implicitRules": "http://hospital.example/rules",
	} {
		t.Run(name, func(t *testing.T) {
			_, issues := d.send(t, object{name: v, "status": "completed"})
			require.Len(t, issues, 1)
			require.Equal(t, "Task."+name, issues[0].Expression)
			require.Equal(t, "business-rule", issues[0].Code)
			require.Contains(t, issues[0].Text, "Task."+name+" cannot be changed here")
		})
	}
	t.Run("several at once", func(t *testing.T) {
		_, issues := d.send(t, object{"priority": "stat", "description": "x"})
		require.Len(t, issues, 2)
	})
	t.Run("a change within, and another order of members", func(t *testing.T) {
		var task object
		require.NoError(t, json.Unmarshal(d.body, &task))
		_, issues := d.send(t, object{"input": task["input"], "code": task["code"]})
		require.Empty(t, issues)
		task["code"].(object)["coding"].([]any)[0].(object)["display"] = "Something else"
		_, issues = d.send(t, object{"code": task["code"]})
		require.Len(t, issues, 1)
	})
	t.Run("what the service sets is ignored", func(t *testing.T) {
		_, issues := d.send(t, object{
			"businessStatus": coded(SystemItemState, "done"), "meta": object{"versionId": "77", "tag": []any{object{"code": "x"}}},
			"lastModified": "2026-11-19T09:00:00Z", "text": object{"status": "generated", "div": `<div xmlns="http://www.w3.org/1999/xhtml">x</div>`},
		})
		require.Empty(t, issues)
	})
}

// What a person wrote comes back on the Task and is read as the entry it was.
func TestWorkGoesRound(t *testing.T) {
	d := newDesk(t, "visit", "requested", readiness.Must, readiness.Yes, nil)
	w, issues := d.send(t, object{"status": "completed", "executionPeriod": object{"end": "2026-11-12"}, "note": []any{object{"text": "all well"}}})
	require.Empty(t, issues)
	row := *d.row
	row.Work = w
	entry := stored(t, &row).Entry()
	require.Equal(t, readiness.Done, entry.Outcome)
	require.Equal(t, date(t, "2026-11-12"), entry.On)
	require.Equal(t, "left", entry.For["side"])

	after := newDesk(t, "visit", "completed", readiness.Must, readiness.Yes, w)
	again, issues := after.send(t, object{})
	require.Empty(t, issues)
	require.Equal(t, mustJSON(t, w), mustJSON(t, again), "sending it back as read changes nothing")
}

func mustJSON(t testing.TB, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}

// Who answers for a hold or a last dose is a member of staff with a name: a dot, an
// organisation, a device, the patient and the name of a role are none.
func TestOwnedByPerson(t *testing.T) {
	for owner, is := range map[string]bool{
		`{"display":" "}`: false, `{"display":"."}`: false, `{"display":"X"}`: false, `{"display":"Maud Fennimore"}`: true,
		`{"reference":"Practitioner/p"}`: true, `{"reference":"https://ehr.example/fhir/PractitionerRole/r"}`: true,
		`{"reference":"Practitioner/p/_history/2"}`: true, `{"reference":"Patient/p","display":"Maud Fennimore"}`: false,
		`{"reference":"Organization/o","display":"North Clinic"}`: false, `{"reference":"Device/d","display":"robot"}`: false,
		`{"type":"Organization","display":"North Clinic"}`: false, `{"type":"Practitioner","display":"Maud Fennimore"}`: true,
		`{"identifier":{"system":"https://ehr.example/staff","value":"41"}}`: true, `{"identifier":{"value":"41"}}`: false,
		`{"identifier":{"system":"https://ehr.example/staff","value":" "}}`: false,
		`{"display":"patient"}`: false, `{"display":"Unknown"}`: false, `{"display":"n/a"}`: false, `{"display":"the on-call surgeon"}`: false,
		`{"reference":"Practitioner/p","display":"surgeon"}`: false, `{"display":"Dr Do"}`: true, `{"display":"Dr Ng"}`: true,
		`{"display":"Dr. Muñoz (surgeon)"}`: true, `{"display":"李明"}`: true,
	} {
		task := parse(t, []byte(`{"resourceType":"Task","status":"completed","intent":"plan","owner":`+owner+`}`))
		require.Equal(t, is, ownedByPerson(task.Get("owner")), owner)
	}
}
