package casework

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
)

func (h *house) preview(body []byte, limit int) Preview {
	h.t.Helper()
	r, issues := fhir.Parse(body, DefinitionLimit)
	require.Empty(h.t, issues)
	out, err := h.office.Preview(context.Background(), r, limit)
	require.NoError(h.t, err)
	return out
}

// What a preview says is what then happens, Task by Task; and it stores nothing.
func TestPreviewIsWhatHappens(t *testing.T) {
	for what, changes := range map[string][]string{
		"a window":           earlierCleanser(t),
		"a title":            {callTitle, newTitle},
		"another step":       {`"id": "skin-cleanser"`, `"id": "skin-soap"`},
		"who it is asked of": {`"expression": "has_pets"`, `"expression": "joint == 'hip'"`},
		"nothing":            nil,
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			first, two, three := h.book("1", surgery), h.book("2", "2026-10-05"), h.book("3", "2026-09-14")
			h.work(first.plan, "first-call", done(""))
			h.work(two.plan, "skin-cleanser", done(""))
			ended := h.book("4", surgery)
			a := appointment("4", ended.patient, surgery)
			h.put(by(a), a.with("status", "cancelled"))
			before := map[string]item{}
			for _, b := range []booked{first, two, three} {
				for _, i := range h.items(b.plan) {
					before[i.ID] = i
				}
			}
			body := signedText(t, "1.1.0", changes...)
			everything := h.everything()
			said := h.preview(body, 0)
			require.Equal(t, everything, h.everything(), "nothing is stored")
			require.Empty(t, said.Issues)
			require.True(t, said.Adoptable)
			require.Equal(t, []string{protocolURL + "|1.1.0", protocolURL + "|" + firstVersion}, []string{said.Protocol, said.InForce})
			require.Equal(t, []int{3, 3}, []int{said.Open, said.Examined})

			h.adopt(body)
			mark := h.mark()
			require.Equal(t, 3, h.catchUp())
			written, changed := map[string]int{}, 0
			for _, b := range []booked{first, two, three} {
				differs := false
				for _, i := range h.items(b.plan) {
					if i.Version > before[i.ID].Version {
						written[i.Step]++
						differs = true
					}
				}
				changed += one(differs)
			}
			require.Equal(t, changed, said.Changed)
			counted := map[string]int{}
			for _, s := range said.Steps {
				counted[s.Code] = s.Added + s.Moved + s.Reopened + s.Dropped + s.Turned + s.Reworded
			}
			require.Equal(t, written, counted)
			if what == "nothing" {
				require.Empty(t, written)
				require.Empty(t, h.after(mark))
			} else {
				require.NotEmpty(t, written)
			}
		})
	}
}

// What could no longer be met, would be met again, and would end.
func TestPreviewOfCases(t *testing.T) {
	_, text, err := Definitions()
	require.NoError(t, err)
	// The first call, which is a must, is of no use any more 60 days before surgery.
	early := lastDay(t, string(text), "first-call", 60)
	for what, r := range map[string]struct {
		changes                     []string
		infeasible, feasible, ended int
		then                        string // the state of the near case
	}{
		"too late for a must": {early, 1, 0, 0, "infeasible"},
		"no case any more":    {[]string{`"expression": "!revision"`, `"expression": "revision"`}, 0, 0, 2, "cancelled"},
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			near, far := h.book("1", "2026-10-12"), h.book("2", surgery)
			first := signedText(t, "1.1.0", r.changes...)
			said := h.preview(first, 0)
			require.Equal(t, []int{r.infeasible, r.feasible, r.ended}, []int{said.Infeasible, said.Feasible, said.Ended})
			h.adopt(first)
			mark := h.mark()
			require.Equal(t, 2, h.catchUp())
			require.Equal(t, r.then, h.caseRow(near.plan).State)
			if r.infeasible > 0 {
				require.Contains(t, names(h.ofCase(near.plan, mark)), event.CaseInfeasible)
				require.NotContains(t, names(h.ofCase(far.plan, mark)), event.CaseInfeasible)
				back := h.preview(signedText(t, "1.2.0"), 0)
				require.Equal(t, []int{0, 1, 0}, []int{back.Infeasible, back.Feasible, back.Ended})
			}
			h.plannedAnew()
		})
	}
}

// lastDay is the change of the definition that gives a step a last day so many
// days before surgery.
func lastDay(t *testing.T, text, step string, days int) []string {
	t.Helper()
	at := strings.Index(text, `"id": "`+step+`"`)
	list := strings.Index(text[at:], `"extension": [`) + at
	require.True(t, at > 0 && list > at && list-at < 100)
	old := text[at : list+len(`"extension": [`)]
	return []string{old, old + fmt.Sprintf(`{"url": "http://countback.example/fhir/StructureDefinition/last-day", "extension": [
		{"url": "actionId", "valueId": "surgery"}, {"url": "relationship", "valueCode": "before-start"},
		{"url": "offset", "valueDuration": {"value": %d, "unit": "days", "system": "http://unitsofmeasure.org", "code": "d"}}]},`, days)}
}

// A draft can be looked at, and the preview says what keeps it from being
// adopted; of one with faults it says them all, and compares nothing.
func TestPreviewOfWhatCannotBeAdopted(t *testing.T) {
	h := newHouse(t)
	h.book("1", surgery)
	sketch := h.preview(protocolText(t, "1.1.0", earlierCleanser(t)...), 0)
	require.False(t, sketch.Adoptable)
	require.Equal(t, []int{1, 1, 1}, []int{sketch.Open, sketch.Examined, sketch.Changed})
	require.Equal(t, []StepPreview{{Code: "skin-cleanser", Moved: 1}}, sketch.Steps)
	var places []string
	for _, i := range sketch.Issues {
		require.Equal(t, fhir.SeverityWarning, i.Severity)
		places = append(places, i.Expression)
	}
	require.Equal(t, []string{"PlanDefinition.status", "PlanDefinition.approvalDate", "PlanDefinition.endorser", "PlanDefinition.experimental"}, places)

	taken := h.preview(signedText(t, ""), 0)
	require.False(t, taken.Adoptable)
	require.Equal(t, []string{"conflict", "PlanDefinition.version"}, []string{taken.Issues[0].Code, taken.Issues[0].Expression})

	faulty := h.preview(signedText(t, "1.1.0", `"id": "skin-cleanser"`, `"id": "first-call"`), 0)
	require.False(t, faulty.Adoptable)
	require.Empty(t, faulty.Protocol)
	require.Len(t, faulty.Issues, 1)
	require.Equal(t, fhir.SeverityError, faulty.Issues[0].Severity)
	require.Equal(t, []int{1, 0}, []int{faulty.Open, faulty.Examined})
}

// A preview that may not look at all cases looks at some from all over.
func TestPreviewLooksAtSome(t *testing.T) {
	ids := []string{"0", "1", "2", "3", "4", "5", "6", "7", "8", "9"}
	require.Equal(t, []string{"0", "3", "6"}, spread(ids, 3))
	require.Equal(t, ids, spread(ids, 10))
	h := newHouse(t)
	for n := range 7 {
		h.book(fmt.Sprint(n), surgery)
	}
	said := h.preview(signedText(t, "1.1.0", earlierCleanser(t)...), 3)
	require.Equal(t, []int{7, 3, 3}, []int{said.Open, said.Examined, said.Changed})
	require.Equal(t, []StepPreview{{Code: "skin-cleanser", Moved: 3}}, said.Steps)
}
