package casework

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// A last dose later than the rules give: the prescriber's word stands, and is
// told at once, and stands at the head of the case. Warfarin for Mon
// 2027-01-11 by hand: D-6, Tue 5 January.
func TestALastDoseLaterThanTheRulesGive(t *testing.T) {
	for name, c := range map[string]struct{ day, warns string }{
		"earlier":        {"2027-01-04", ""},
		"a day later":    {"2027-01-06", "Wed 6 Jan 2027"},
		"day of surgery": {"2027-01-11", "Mon 11 Jan 2027"},
	} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			m := takes("1", b.patient, "11289", "warfarin")
			h.put(by(m), m)
			h.set("2026-12-15 09:00")
			h.work(b.plan, "medicine-review", done(""))
			task := h.step(b.plan, "medicine-sign-off")
			act := Act{TaskID: task.ID, Does: ActSign, Signs: SignOtherDay, Dose: c.day, Reason: "Local policy", Owner: "Dr Example Prescriber", By: "A Nurse", Source: "desk"}
			if c.warns != "" {
				_, err := h.office.Act(context.Background(), act)
				var late *LateDose
				require.ErrorAs(t, err, &late)
				require.NotContains(t, err.Error(), "Warfarin", "it may be logged")
				require.Equal(t, task.State, h.step(b.plan, "medicine-sign-off").State, "nothing is stored")
			}
			out, err := h.tryWork(task.ID, done(""), named("Dr Example Prescriber"), set("statusReason", res{"text": "Local policy"}),
				set("output", []res{{"type": coded(translate.SystemOutput, translate.OutputLastDose), "valueDate": c.day}}))
			require.NoError(t, err)
			require.Equal(t, "done", h.step(b.plan, "medicine-sign-off").State, "the prescriber's word stands")
			v, err := h.office.View(context.Background(), b.plan)
			require.NoError(t, err)
			if c.warns == "" {
				require.Empty(t, out.Advice)
				for _, why := range v.Why {
					require.NotContains(t, why, "later than the rules give")
				}
				return
			}
			require.Equal(t, "Task.output", out.AdviceAt)
			for _, says := range []string{"This is later than the rules give", "signed by " + c.warns, "the rules give Tue 5 Jan 2027", "surgery is on Mon 11 Jan 2027"} {
				require.Contains(t, out.Advice, says)
			}
			require.Contains(t, v.Why, strings.TrimSuffix(out.Advice, " Another person is asked to look at it."))
		})
	}
}

// A signature after the last dose that it signs is of no use, in every list of the
// desk alike; once another dose is signed or none is advised, its own last day
// counts. Warfarin for Mon 2027-01-11: Tue 5 January.
func TestASignatureIsOfUseUntilTheLastDose(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	h.tick("2026-12-29 09:00")
	until := map[string]string{}
	v, err := h.office.View(t.Context(), b.plan)
	require.NoError(t, err)
	for _, i := range v.Items {
		if i.Key.Step == "medicine-sign-off" {
			require.Greater(t, i.Last.Day.String(), "2027-01-05", "or the test shows nothing")
			until["case"] = i.UsefulUntil().Day.String()
		} else {
			require.Equal(t, i.Last, i.UsefulUntil(), i.Step.Title)
		}
	}
	morning, err := h.office.Morning(t.Context(), MorningOptions{Rows: 50})
	require.NoError(t, err)
	for _, l := range morning.Lists {
		for _, i := range l.Items {
			if i.Key.Step == "medicine-sign-off" {
				until[l.Name] = i.UsefulUntil().Day.String()
			}
		}
	}
	require.Equal(t, map[string]string{"case": "2027-01-05", ListChase: "2027-01-05"}, until)

	dose, own := readiness.Moment{Day: v.Surgery.Day.Add(-6)}, readiness.Moment{Day: v.Surgery.Day.Add(-9)}
	one := ItemView{Item: readiness.Item{Last: own}, Advised: dose}
	require.Equal(t, own, one.UsefulUntil(), "its own last day comes first")
	one.Item.Last = readiness.Moment{}
	require.True(t, one.UsefulUntil().IsZero())
}
