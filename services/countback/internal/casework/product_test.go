package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A medicine that is coded only as a product is no ingredient that a rule knows:
// it is listed for the reviewer with its text and code, and never left out.
func TestProductIsListed(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "855332", "warfarin 5 MG oral tablet")
	h.put(by(m), m)
	require.Contains(t, h.advice(b.plan, "medicine-review"), "No rule here knows: Warfarin 5 MG oral tablet (code 855332); a person reviews them.")
	for _, i := range h.items(b.plan) {
		require.NotEqual(t, "medicine-stop", i.Step)
	}
}
