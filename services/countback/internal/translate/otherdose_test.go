package translate

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func wordsOutput(text string) object {
	return object{"type": coded(SystemOutput, OutputDoseWords), "valueString": text}
}

// Another dose is signed with the prescriber's own words for the person. Of a
// medicine whose dose is the prescriber's to say, nobody signs that it goes on as
// usual, and the refusal says what to sign.
func TestAnotherDoseIsSigned(t *testing.T) {
	const half = "Half of it on the evening before.\nNone in the morning."
	advised := readiness.Moment{Day: date(t, "2026-11-27")}
	doctor, why := object{"owner": object{"display": "Dr Example Prescriber"}}, because("", "a valve")
	other := choiceOutput("valueCodeableConcept", coded(SystemDecision, "other-dose"))
	goOn := choiceOutput("valueCode", "go-on")
	for _, r := range []struct {
		name    string
		change  object
		advised readiness.Moment
		sets    bool   // the dose is the prescriber's to say
		element string // of the refusal; empty: taken
		says    string
	}{
		{"in words", outputs(other, wordsOutput(half)), readiness.Moment{}, true, "", ""},
		{"the words first", outputs(wordsOutput(half), other), readiness.Moment{}, true, "", ""},
		{"with a reason", and(outputs(other, wordsOutput(half)), why), advised, false, "", ""},
		{"without a reason where the rules say otherwise", outputs(other, wordsOutput(half)), advised, false, "Task.statusReason.text", "taken in another dose"},
		{"without words", and(outputs(other), why), readiness.Moment{}, true, "Task.output", "dose-words is missing"},
		{"with empty words", and(outputs(other, wordsOutput(" \n")), why), readiness.Moment{}, true, "Task.output", "dose-words is missing"},
		{"with two wordings", and(outputs(other, wordsOutput(half), wordsOutput("All of it.")), why), readiness.Moment{}, true, "Task.output", "one output of type dose-words"},
		{"with a last dose", and(outputs(other, wordsOutput(half), doseOutput("valueDate", "2026-11-25")), why), advised, false, "Task.output", "contradicts itself"},
		{"words beside that it goes on", and(outputs(goOn, wordsOutput(half)), why), advised, false, "Task.output", "belongs to the decision other-dose"},
		{"words beside a last dose", and(outputs(doseOutput("valueDate", "2026-11-25"), wordsOutput(half)), why), advised, false, "Task.output", "belongs to the decision other-dose"},
		{"words alone", and(outputs(wordsOutput(half)), why), advised, true, "Task.output", "names neither a last dose"},
		{"it goes on, and the dose must be said", and(outputs(goOn), why), readiness.Moment{}, true, "Task.output", "sign other-dose of " + SystemDecision + ", with what the person takes and when in an output of type dose-words"},
	} {
		t.Run(r.name, func(t *testing.T) {
			w, issues := signer(t, "requested", nil)(and(object{"status": "completed"}, doctor, r.change), r.advised, func(o *WorkOptions) { o.SetsDose = r.sets })
			if r.element != "" {
				require.Nil(t, w)
				require.Len(t, issues, 1)
				require.Equal(t, r.element, issues[0].Expression)
				require.Contains(t, issues[0].Text, r.says)
				return
			}
			require.Empty(t, issues)
			require.Equal(t, []string{"other-dose", half, ""}, []string{w.Decision, w.Words, w.Signed})
		})
	}
}

// What is taken back leaves nothing of the words to be sent again by accident.
func TestAnotherDoseIsTakenBack(t *testing.T) {
	given, err := json.Marshal([]any{choiceOutput("valueCode", "other-dose"), wordsOutput("Half of it.")})
	require.NoError(t, err)
	w := &Work{Outcome: readiness.Done, Decision: "other-dose", Words: "Half of it.", Output: given}
	back, issues := signer(t, "completed", w)(and(object{"status": "requested"}, because("", "mistyped")), readiness.Moment{})
	require.Empty(t, issues)
	require.Equal(t, []string{"", ""}, []string{back.Decision, back.Words})
	require.Empty(t, back.Output)
}
