package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A person released a hold, and the record that it rests on says something else
// then: another illness, or an end that is too near, asks that person again.
func TestAReleaseDoesNotOutliveACorrection(t *testing.T) {
	for _, r := range []struct {
		name    string
		correct func(c res)
		another bool
	}{
		{"other words for the code", func(c res) { c["code"].(res)["text"] = "burning" }, false},
		{"over, and clear of the day", func(c res) { c["clinicalStatus"], c["abatementDateTime"] = nil, "2026-12-31" }, false},
		{"over, and too near to the day", func(c res) { c["clinicalStatus"], c["abatementDateTime"] = nil, "2027-01-05" }, true},
		{"another illness", func(c res) { c["code"] = coded(icd10cm, "U07.1") }, true},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			h.set("2026-12-30 09:00")
			b := h.book("1", surgery)
			c := infection("1", b.patient, "active", "")
			h.put(by(c), c)
			h.work(b.plan, "clear-hold", release("Maud Fennimore", "It may go ahead."))
			require.NotEqual(t, "held", h.onlyCase(b.patient).State)

			h.set("2027-01-05 09:00")
			c = infection("1", b.patient, "active", "")
			r.correct(c)
			if c["clinicalStatus"] == nil {
				c["clinicalStatus"] = coded("http://terminology.hl7.org/CodeSystem/condition-clinical", "resolved")
			}
			h.put(by(c), c)
			flags := h.flags(b.patient)
			require.Equal(t, "inactive", flags[0].String("status"), "the release stays on record")
			if !r.another {
				require.Len(t, flags, 1)
				require.NotEqual(t, "held", h.onlyCase(b.patient).State)
				return
			}
			require.Len(t, flags, 2)
			require.Equal(t, "active", flags[1].String("status"))
			require.Equal(t, "held", h.onlyCase(b.patient).State)
			h.work(b.plan, "clear-hold", release("Maud Fennimore", "Looked at again."))
			require.NotEqual(t, "held", h.onlyCase(b.patient).State)
		})
	}
}
