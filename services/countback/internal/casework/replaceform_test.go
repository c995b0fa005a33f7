package casework

import (
	"context"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/translate"
)

const screening = "infection-and-dental-screening"

// ownForm is the screening questionnaire of a hospital: the served one in
// version 2.0.0, changed.
func (h *house) ownForm(change func(q res)) NewDefinition {
	h.t.Helper()
	var q res
	require.NoError(h.t, json.Unmarshal(h.get("Questionnaire/"+screening).Raw, &q))
	q["version"] = "2.0.0"
	change(q)
	body, err := json.Marshal(q)
	require.NoError(h.t, err)
	r, issues := fhir.Parse(body, DefinitionLimit)
	require.Empty(h.t, issues)
	return NewDefinition{ID: screening, ContentType: "application/fhir+json", Target: "Questionnaire/" + screening, Body: body, Resource: r}
}

// items gives every item of a questionnaire to a function.
func items(of map[string]any, visit func(i map[string]any)) {
	list, _ := of["item"].([]any)
	for _, one := range list {
		i := one.(map[string]any)
		visit(i)
		items(i, visit)
	}
}

// without drops items, with what is asked because of them.
func without(of map[string]any, drop func(linkID string) bool) {
	list, _ := of["item"].([]any)
	var left []any
	for _, one := range list {
		i := one.(map[string]any)
		if linkID, _ := i["linkId"].(string); !drop(linkID) {
			without(i, drop)
			left = append(left, i)
		}
	}
	if list != nil {
		of["item"] = left
	}
}

// A hospital's own words replace ours. They count from the protocol on that is
// adopted with them; until then, and under an earlier protocol, answers to them
// are refused and nothing is lost in silence. Answers to an earlier version are
// read by that.
func TestQuestionnaireReplaced(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	form := h.ownForm(func(q res) {
		items(q, func(i map[string]any) {
			if i["linkId"] == "skin" {
				i["text"] = "Is your skin broken or sore anywhere?"
			}
		})
	})
	out, err := h.office.ReplaceQuestionnaire(context.Background(), form)
	require.NoError(t, err)
	require.True(t, out.Changed)
	require.EqualValues(t, 2, out.Stored.Version)
	again, err := h.office.ReplaceQuestionnaire(context.Background(), form)
	require.NoError(t, err)
	require.False(t, again.Changed, "the same once more")

	answer := func(version string) error {
		r := filled(t, screening, b.patient, "2026-09-08 09:50", no, map[string]any{"skin": yes})
		_, err := h.receive(delivery(t, "QuestionnaireResponse", r.with("identifier", nil).
			with("questionnaire", translate.Base+"/Questionnaire/"+screening+version).json()))
		return err
	}
	err = answer("|2.0.0")
	require.ErrorIs(t, err, ErrInvalid)
	require.ErrorContains(t, err, "the version 2.0.0 of this questionnaire is none that the protocol in force reads")
	require.ErrorContains(t, err, "In an emergency")
	h.adopt(signedText(t, "1.1.0"))
	for _, version := range []string{"|2.0.0", "|1.0.0", ""} {
		require.NoError(t, answer(version), version)
	}
	require.ErrorIs(t, answer("|9.0.0"), ErrInvalid, "nobody knows that version")
	h.restart("2026-09-11 10:30")
	require.NoError(t, answer("|2.0.0"), "after a start")
}

// What cannot stand in its place is refused by name.
func TestQuestionnaireRefused(t *testing.T) {
	h := newHouse(t)
	for _, r := range []struct {
		name, says string
		change     func(q res)
	}{
		{"it lacks the question about the skin", `no yes-or-no question has the code "skin", by which cases are held`, func(q res) {
			without(q, func(l string) bool { return len(l) >= 4 && l[:4] == "skin" })
		}},
		{"it does not ask when that began", `no question says more about "skin" as its "began"`, func(q res) {
			without(q, func(l string) bool { return l == "skin-began" })
		}},
		{"it lacks the group that must be known", `has no group "infection-questions"`, func(q res) {
			items(q, func(i map[string]any) {
				if i["linkId"] == "infection-questions" {
					i["linkId"] = "illness-questions"
				}
			})
		}},
		{"a condition on no question", `asked when "elsewhere" is answered, which is no question`, func(q res) {
			items(q, func(i map[string]any) {
				if i["linkId"] == "skin-began" {
					i["enableWhen"] = []any{res{"question": "elsewhere", "operator": "exists", "answerBoolean": true}}
				}
			})
		}},
		{"one item in another language", `is not in the language "es"`, func(q res) {
			items(q, func(i map[string]any) {
				if i["linkId"] == "skin" {
					i["_text"] = res{"extension": []any{res{"url": "http://hl7.org/fhir/StructureDefinition/translation", "extension": []any{
						res{"url": "lang", "valueCode": "es"}, res{"url": "content", "valueString": "¿La piel?"}}}}}
				}
			})
		}},
		{"another url", "the url must stay", func(q res) { q["url"] = "http://clinic.larkspindle.example/fhir/Questionnaire/own" }},
		{"no version", "answers name what they answer by it", func(q res) { delete(q, "version") }},
		{"another text under a version that is here", "a change needs a new version", func(q res) { q["version"], q["title"] = "1.0.0", "Own" }},
		{"a question twice", "is missing or stands twice", func(q res) { q["item"] = append(q["item"].([]any), q["item"].([]any)[0]) }},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, err := h.office.ReplaceQuestionnaire(context.Background(), h.ownForm(r.change))
			require.ErrorIs(t, err, ErrInvalid)
			require.ErrorContains(t, err, r.says)
		})
	}
	other := h.ownForm(func(q res) { q["id"] = "own" })
	other.ID = "own"
	_, err := h.office.ReplaceQuestionnaire(context.Background(), other)
	require.ErrorIs(t, err, ErrNotAllowed, "none is added")
	require.Equal(t, "1", h.get("Questionnaire/"+screening).String("meta", "versionId"), "nothing was stored")
}
