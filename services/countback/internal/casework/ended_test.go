package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Who is looked for by name or number is found although their case is over, apart
// from those that are open and with what still waits; who looks for nobody sees none.
func TestACaseThatIsOverIsFound(t *testing.T) {
	h := newHouse(t)
	off, open := h.book("1", surgery), h.book("2", surgery)
	h.set("2026-10-07 09:00")
	a := appointment("1", off.patient, surgery)
	h.put(by(a), a.with("status", "cancelled"))
	for words, want := range map[string][2][]string{
		"P-1": {nil, {off.plan}}, "Quillfeather1": {nil, {off.plan}}, "QuillfeatherOrsolya": {{open.plan}, {off.plan}}, "": {{open.plan}, nil}, "nobody": {nil, nil},
	} {
		p, err := h.office.Cases(t.Context(), CaseQuery{Words: words, Limit: 9})
		require.NoError(t, err)
		var got [2][]string
		for n, list := range [][]CaseLine{p.Cases, p.Ended} {
			for _, c := range list {
				got[n] = append(got[n], c.ID)
			}
		}
		require.Equal(t, want, got, words)
		for _, c := range p.Ended {
			require.Equal(t, []string{"cancelled", tellStep}, []string{c.State, c.Next.Key.Step})
		}
	}
}
