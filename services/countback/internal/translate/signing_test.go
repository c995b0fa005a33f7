package translate

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

func doseOutput(name, v string) object {
	return object{"type": coded(SystemOutput, OutputLastDose), name: v}
}

func choiceOutput(name string, v any) object {
	return object{"type": coded(SystemOutput, OutputDecision), name: v}
}

func outputs(list ...any) object { return object{"output": list} }

// signer is a Task of a step that signs for a medicine; surgery is on 30
// November at 07:30 Chicago time, the advised last dose as given.
func signer(t *testing.T, status string, w *Work) func(object, readiness.Moment, ...func(*WorkOptions)) (*Work, fhir.Issues) {
	t.Helper()
	d := newDesk(t, "visit", status, readiness.Must, readiness.Yes, w)
	s := *d.item.Step
	s.Named, s.RepeatFor = true, RepeatMedicine
	s.Window.Due = []readiness.Point{{Anchor: readiness.AnchorEarliestDose}}
	d.item.Step = &s
	return func(change object, advised readiness.Moment, set ...func(*WorkOptions)) (*Work, fhir.Issues) {
		var task object
		require.NoError(t, json.Unmarshal(d.body, &task))
		for k, v := range change {
			task[k] = v
		}
		o := WorkOptions{
			Today: date(t, "2026-11-20"), Advised: advised,
			Snapshot: map[string]string{readiness.DetailDate: "2026-11-30", readiness.DetailTime: "2026-11-30T13:30:00Z"},
		}
		for _, change := range set {
			change(&o)
		}
		return d.f.ReadWork(encoded(t, task), parse(t, d.body), d.row, d.item, o)
	}
}

// What a prescriber may sign, and what is refused at which element. The advised
// last dose is Fri 27 November at 08:00, or none.
func TestWhatIsSigned(t *testing.T) {
	f := chicago(t)
	advised := readiness.Moment{Day: date(t, "2026-11-27"), At: f.clock(t, "2026-11-27 08:00")}
	none := readiness.Moment{}
	doctor := object{"owner": object{"display": "Dr Example Prescriber"}}
	why := because("", "a valve")
	goOn, notTaken := choiceOutput("valueCodeableConcept", coded(SystemDecision, "go-on")), choiceOutput("valueCode", "not-taken")
	stop := choiceOutput("valueCoding", object{"system": SystemDecision, "code": "last-dose"})
	for _, r := range []struct {
		name     string
		change   object
		advised  readiness.Moment
		signed   string
		decision string
		element  string // of the refusal; empty: taken
		says     string
	}{
		{"plainly, as advised", object{}, advised, "", "", "", ""},
		{"plainly, and none is advised", object{}, none, "", "", "Task.output", "no last dose is advised"},
		{"as advised, by its code", outputs(stop), advised, "", "", "", ""},
		{"by its code, and none is advised", outputs(stop), none, "", "", "Task.output", "no last dose is advised"},
		{"the advised hour", outputs(doseOutput("valueDateTime", "2026-11-27T08:00:00-06:00")), advised, "2026-11-27T08:00:00-06:00", "", "", ""},
		{"the advised hour in another zone", outputs(doseOutput("valueDateTime", "2026-11-27T14:00:00Z")), advised, "2026-11-27T08:00:00-06:00", "", "", ""},
		{"another hour", outputs(doseOutput("valueDateTime", "2026-11-27T09:00:00-06:00")), advised, "", "", "Task.statusReason.text", "say why another last dose"},
		{"the day for the hour is another", outputs(doseOutput("valueDate", "2026-11-27")), advised, "", "", "Task.statusReason.text", "the advised one (Fri 27 Nov 2026 08:00 CST)"},
		{"another day, with the reason", and(outputs(doseOutput("valueDate", "2026-11-25")), why), advised, "2026-11-25", "", "", ""},
		{"another day, with its code", and(outputs(stop, doseOutput("valueDate", "2026-11-25")), why), advised, "2026-11-25", "", "", ""},
		{"their own day where none is advised", and(outputs(doseOutput("valueDate", "2026-11-25")), why), none, "2026-11-25", "", "", ""},
		{"their own day without a reason", outputs(doseOutput("valueDate", "2026-11-25")), none, "", "", "Task.statusReason.text", "no date"},
		{"the day of surgery", and(outputs(doseOutput("valueDate", "2026-11-30")), why), advised, "2026-11-30", "", "", ""},
		{"a day, whose hour nobody asks", and(outputs(doseOutput("valueDate", "2026-11-30")), why), none, "2026-11-30", "", "", ""},
		{"the day after surgery", and(outputs(doseOutput("valueDate", "2026-12-01")), why), advised, "", "", "Task.output", "after the day of surgery"},
		{"the start itself", and(outputs(doseOutput("valueDateTime", "2026-11-30T07:30:00-06:00")), why), advised, "2026-11-30T07:30:00-06:00", "", "", ""},
		{"a minute after the start", and(outputs(doseOutput("valueDateTime", "2026-11-30T07:31:00-06:00")), why), advised, "", "", "Task.output", "after the start of anaesthesia"},
		{"no day", and(outputs(doseOutput("valueString", "Friday")), why), advised, "", "", "Task.output", "must name at least a day"},
		{"a month is no day", and(outputs(doseOutput("valueDateTime", "2026-11")), why), advised, "", "", "Task.output", "must name at least a day"},
		{"it goes on", and(outputs(goOn), why), advised, "", "go-on", "", ""},
		{"it goes on, and none is advised", and(outputs(goOn), why), none, "", "go-on", "", ""},
		{"it goes on, for no reason", outputs(goOn), advised, "", "", "Task.statusReason.text", "say why"},
		{"it is not taken", and(outputs(notTaken), why), advised, "", "not-taken", "", ""},
		{"it is not taken, for no reason", outputs(notTaken), advised, "", "", "Task.statusReason.text", "say why"},
		{"it goes on, with a last dose", and(outputs(goOn, doseOutput("valueDate", "2026-11-25")), why), advised, "", "", "Task.output", "contradicts itself"},
		{"a last dose, and it goes on", and(outputs(doseOutput("valueDate", "2026-11-25"), goOn), why), advised, "", "", "Task.output", "contradicts itself"},
		{"two decisions", and(outputs(goOn, goOn), why), advised, "", "", "Task.output", "contradicts itself"},
		{"two last doses", and(outputs(doseOutput("valueDate", "2026-11-25"), doseOutput("valueDate", "2026-11-26")), why), advised, "", "", "Task.output", "contradicts itself"},
		{"a decision that is none", and(outputs(choiceOutput("valueCode", "perhaps")), why), advised, "", "", "Task.output", "must be one of"},
		{"a decision of another system", and(outputs(choiceOutput("valueCodeableConcept", coded(SystemOutput, "go-on"))), why), advised, "", "", "Task.output", "must be one of"},
		{"a reason, and nothing that is signed", why, advised, "", "", "Task.output", "more than a plain signature"},
		{"an output that is none of ours", outputs(object{"type": object{"text": "letter"}, "valueString": "go on"}), advised, "", "", "Task.output", "more than a plain signature"},
		{"nobody", and(outputs(goOn), why, object{"owner": object{"display": " "}}), advised, "", "", "Task.owner", "names no person"},
		{"a patient", and(outputs(goOn), why, object{"owner": ref("Patient/p")}), advised, "", "", "Task.owner", "names no person"},
	} {
		t.Run(r.name, func(t *testing.T) {
			w, issues := signer(t, "requested", nil)(and(object{"status": "completed"}, doctor, r.change), r.advised)
			if r.element != "" {
				require.Nil(t, w)
				require.Len(t, issues, 1)
				require.Equal(t, r.element, issues[0].Expression)
				require.Contains(t, issues[0].Text, r.says)
				return
			}
			require.Empty(t, issues)
			require.Equal(t, []string{r.signed, r.decision}, []string{w.Signed, w.Decision})
			require.Equal(t, readiness.Done, w.Outcome)
			if _, given := r.change["statusReason"]; given {
				require.Equal(t, "a valve", w.Reason)
			}
		})
	}
}

// What stands signed is changed by nobody; it is taken back, and nothing of it
// is left to be sent again by accident.
func TestASignatureStands(t *testing.T) {
	w := &Work{
		Outcome: readiness.Done, On: "2026-11-18", Decision: "go-on", Reason: "a valve", For: map[string]string{"date": "2026-11-30"},
		Owner:        json.RawMessage(`{"display":"Dr Example Prescriber"}`),
		StatusReason: json.RawMessage(`{"text":"a valve"}`), ExecutionPeriod: json.RawMessage(`{"end":"2026-11-18"}`),
		Output: json.RawMessage(`[{"type":{"text":"letter"},"valueString":"sent"},{"type":{"coding":[{"system":"` + SystemOutput + `","code":"valid-until"}]},"valueDate":"2027-01-01"},{"type":{"coding":[{"system":"http://hospital.example","code":"last-dose"}]},"valueString":"x"},{"type":{"coding":[{"system":"` + SystemOutput + `","code":"last-dose"}]},"valueDate":"2026-11-26"},{"type":{"coding":[{"system":"` + SystemOutput + `","code":"medicine-decision"}]},"valueCode":"go-on"}]`),
	}
	send := signer(t, "completed", w)
	for element, change := range map[string]object{
		"Task.owner":        {"owner": object{"display": "Somebody Else"}},
		"Task.output":       outputs(choiceOutput("valueCode", "not-taken")),
		"Task.statusReason": because("", "another reason"),
	} {
		_, issues := send(change, readiness.Moment{})
		require.Len(t, issues, 1)
		require.Equal(t, element, issues[0].Expression)
		require.Contains(t, issues[0].Text, "part of what was signed")
	}
	got, issues := send(object{"note": []any{object{"text": "told the patient"}}}, readiness.Moment{})
	require.Empty(t, issues)
	require.Equal(t, "go-on", got.Decision)
	got, issues = send(object{"executionPeriod": object{"end": "2026-11-17"}}, readiness.Moment{})
	require.Empty(t, issues)
	require.Equal(t, []string{"2026-11-17", "go-on"}, []string{got.On, got.Decision})

	got, issues = send(and(object{"status": "requested"}, because("", "wrong person")), readiness.Moment{})
	require.Empty(t, issues)
	require.Empty(t, got.Decision+got.Reason)
	require.JSONEq(t, `[{"type":{"text":"letter"},"valueString":"sent"},{"type":{"coding":[{"system":"`+SystemOutput+`","code":"valid-until"}]},"valueDate":"2027-01-01"},{"type":{"coding":[{"system":"http://hospital.example","code":"last-dose"}]},"valueString":"x"}]`, string(got.Output))
}

// On a step that signs nothing, what only a prescriber signs is refused.
func TestOnlyASignatureSigns(t *testing.T) {
	for _, out := range []object{doseOutput("valueDate", "2026-11-25"), choiceOutput("valueCode", "go-on")} {
		_, issues := newDesk(t, "visit", "requested", readiness.Must, readiness.Yes, nil).send(t, and(object{"status": "completed"}, outputs(out)))
		require.Len(t, issues, 1)
		require.Equal(t, "Task.output", issues[0].Expression)
		require.Contains(t, issues[0].Text, "this step signs nothing")
	}
}

// Where nobody knows at what hour the operation starts, any hour of its day may
// be signed.
func TestASignedHourWithoutAStart(t *testing.T) {
	f := chicago(t)
	s := signing{last: readiness.Moment{Day: date(t, "2026-11-30"), At: f.clock(t, "2026-11-30 23:00")}}
	require.Empty(t, s.dosed(WorkOptions{Snapshot: map[string]string{readiness.DetailDate: "2026-11-30"}}))
	require.NotEmpty(t, s.dosed(WorkOptions{Snapshot: map[string]string{readiness.DetailDate: "2026-11-29"}}))
}
