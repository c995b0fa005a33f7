package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A medicine that is coded as a product of a known ingredient is dated by the
// rule of that ingredient (RxNorm 855332, warfarin sodium 5 MG Oral Tablet: NLM
// value set Anticoagulant Therapy; published).
func TestProductIsDated(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "855332", "warfarin 5 MG oral tablet")
	h.put(by(m), m)
	advice := h.advice(b.plan, "medicine-review")
	require.Contains(t, advice, "Warfarin 5 MG oral tablet: last dose by")
	require.NotContains(t, advice, "No rule here knows")
}

// A medicine that is coded only as a product that no set holds is no ingredient
// that a rule knows: it is listed for the reviewer with its text and code, never
// left out, and a prescriber decides on it.
func TestProductIsListed(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "999855332", "warfarin 5 MG oral tablet")
	h.put(by(m), m)
	require.Contains(t, h.advice(b.plan, "medicine-review"), "No rule here knows: Warfarin 5 MG oral tablet (code 999855332); a prescriber decides on each.")
	require.NotEmpty(t, h.step(b.plan, "medicine-sign-off").ID)
	require.Equal(t, "upcoming draft ", h.look(b.plan, "medicine-stop"), "no day until it is decided")
}
