package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// An infection that is first heard of after the operation has begun holds
// nothing; the surgeon's office is asked to look, once for the day, whether a
// visit or the clock says that it has begun. One that was there before is known.
func TestInfectionAfterSurgery(t *testing.T) {
	for name, visit := range map[string]bool{"a visit": true, "by the clock": false} {
		t.Run(name, func(t *testing.T) {
			h := newHouse(t)
			h.set("2027-01-04 09:00")
			b := h.book("1", surgery)
			healed := infection("0", b.patient, "resolved", "2026-12-20")
			h.put(by(healed), healed)
			if visit {
				h.set(surgery + " 07:00")
				v := stay("1", b.patient, b.appointment, "in-progress", surgery+" 07:00", "")
				h.put(by(v), v)
			} else {
				h.tick(surgery + " 09:00")
				h.letGo(b.plan)
			}
			h.tick("2027-01-14 09:00")
			h.put(by(healed), healed.with("note", nil))
			require.Empty(t, h.kinds(b.patient))
			for _, n := range []string{"1", "2"} {
				c := infection(n, b.patient, "active", "")
				h.put(by(c), c)
			}
			require.NotContains(t, h.kinds(b.patient), "recent-infection")
			rounds := h.rounds(b.plan, "infection-after-surgery")
			require.Len(t, rounds, 1)
			task := h.get("Task/" + rounds[0].ID)
			require.Equal(t, "surgeons-office", task.String("performerType", "coding", "code"))
			require.Equal(t, "2027-01-14", rounds[0].Due)
			require.Contains(t, extensionTexts(task, "why"), "First heard of after the operation had begun: a urinary infection with symptoms.")
		})
	}
}

// A question goes when the record has its answer.
func TestQuestionIsAnsweredByTheRecord(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "723", "amoxicillin")
	m["medicationCodeableConcept"] = coded("http://www.whocc.no/atc", "J01CA04")
	h.put(by(m), m)
	require.Equal(t, "requested", h.step(b.plan, "ask-about-record").Status)
	require.Empty(t, h.kinds(b.patient))
	m = m.with("reasonCode", []res{coded(icd10cm, "N39.0")})
	h.put(by(m), m)
	require.Equal(t, "cancelled", h.step(b.plan, "ask-about-record").Status)
	require.Equal(t, []string{"recent-infection"}, h.kinds(b.patient))
}
