package casework

import (
	"encoding/json"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// What a prescriber may sign for a medicine, see Act.Signs.
const (
	SignAdvised  = "as-advised"
	SignOtherDay = "other-day"
	SignGoOn     = string(readiness.DecidedGoOn)
	SignNotTaken = string(readiness.DecidedNotTaken)
	// SignOtherDose is taken in another dose, which Act.DoseWords say.
	SignOtherDose = string(readiness.DecidedOtherDose)
)

// signWords are what the note on the Task says was signed.
var signWords = map[string]string{
	SignAdvised:  "Signed: the last dose as advised.",
	SignOtherDay: "Signed: last dose",
	SignGoOn:     "Signed: goes on as usual.",
	SignNotTaken: "Signed: not taken.",

	SignOtherDose: "Signed: taken in another dose:",
}

// signs writes the decision of an act as outputs of the Task, in place of those
// that were there.
func (o *Office) signs(t map[string]json.RawMessage, a *Act) error {
	code := a.Signs
	if code == SignAdvised || code == SignOtherDay {
		code = translate.DecisionLastDose
	}
	if signWords[a.Signs] == "" {
		return Refuse(ErrMalformed, fhir.CodeValue, "Task.output", "it does not say what was signed")
	}
	var outputs []json.RawMessage
	if raw := translate.Unsigned(t["output"]); raw != nil {
		if err := json.Unmarshal(raw, &outputs); err != nil {
			return err
		}
	}
	add := func(kind string, value map[string]any) error {
		value["type"] = codedAs(translate.SystemOutput, kind)
		raw, err := json.Marshal(value)
		outputs = append(outputs, raw)
		return err
	}
	if err := add(translate.OutputDecision, map[string]any{"valueCodeableConcept": codedAs(translate.SystemDecision, code)}); err != nil {
		return err
	}
	if a.Signs == SignOtherDose {
		if err := add(translate.OutputDoseWords, map[string]any{"valueString": a.DoseWords}); err != nil {
			return err
		}
	}
	if a.Signs == SignOtherDay {
		value, err := o.dose(a)
		if err != nil {
			return err
		}
		if err := add(translate.OutputLastDose, value); err != nil {
			return err
		}
	}
	var err error
	t["output"], err = json.Marshal(outputs)
	return err
}

func codedAs(system, code string) map[string]any {
	return map[string]any{"coding": []any{map[string]string{"system": system, "code": code}}}
}

// dose is the last dose of an act.
func (o *Office) dose(a *Act) (map[string]any, error) {
	return o.dayOrHour(a.Dose, a.DoseAt, "say on which day the last dose is", "the hour of the last dose is not a time of day")
}

// dayOrHour is a day, or a day and an hour by the facility's clock, as the value of
// an output.
func (o *Office) dayOrHour(on, clock, noDay, noHour string) (map[string]any, error) {
	day, err := calendar.ParseDate(strings.TrimSpace(on))
	if err != nil {
		return nil, Refuse(ErrMalformed, fhir.CodeValue, "Task.output", noDay)
	}
	if strings.TrimSpace(clock) == "" {
		return map[string]any{"valueDate": day.String()}, nil
	}
	at, err := time.Parse("15:04", strings.TrimSpace(clock))
	if err != nil {
		return nil, Refuse(ErrMalformed, fhir.CodeValue, "Task.output", noHour)
	}
	return map[string]any{"valueDateTime": o.facility.Calendar.At(day, at.Hour(), at.Minute()).Format(time.RFC3339)}, nil
}

// said is what the note says was done: of a signature what was signed, of an answer
// what was answered, and of a request for another day what became of it.
func (a *Act) said(words string) string {
	switch {
	case a.Does == ActDone && a.Means == translate.MeantNone:
		return "None of them is meant."
	case a.Does == ActDone && a.meant != "":
		return "Meant: " + a.meant + "."
	case a.Does == ActFailed && a.asks:
		return "Declined."
	case a.Does == ActWaive && a.asks:
		return "Taken back."
	case a.Does == ActHappened:
		return a.happenedWords()
	case a.Does != ActSign:
		return words
	}
	words = signWords[a.Signs]
	if a.Signs == SignOtherDose {
		words += " “" + strings.TrimSuffix(strings.TrimSpace(a.DoseWords), ".") + ".”"
	}
	if a.Signs == SignOtherDay {
		words += " " + strings.TrimSpace(a.Dose+" "+a.DoseAt) + "."
	}
	return words
}
