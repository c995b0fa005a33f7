package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What a person released stays as it was said when they did: what is written in the
// record later is no words that they answered for. Whoever released it may still
// correct the reason.
func TestWhatWasReleasedStaysAsItWas(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-30 09:00")
	b := h.book("1", surgery)
	c := infection("1", b.patient, "active", "")
	h.put(by(c), c)
	const said = "Held: recent infection (a urinary infection with symptoms, and nobody has said when it is over: from when surgery may be cannot be computed)."
	h.tick("2027-01-02 09:00")
	h.work(b.plan, "clear-hold", release("Maud Fennimore", "Seen by the surgeon."))
	flag, task := h.flags(b.patient)[0], h.get("Task/"+h.step(b.plan, "clear-hold").ID)
	require.Equal(t, []string{"inactive", said}, []string{flag.String("status"), flag.String("code", "text")})
	require.Contains(t, string(task.Raw), strings.TrimPrefix(said, "Held: "))

	for _, later := range []struct {
		when string
		r    res
	}{
		{"2027-01-03 09:00", infection("1", b.patient, "resolved", "2027-01-01")},                                     // its end is named
		{"2027-01-04 09:00", infection("1", b.patient, "resolved", "2027-01-01").with("onsetDateTime", "2026-12-01")}, //
		{"2027-01-05 09:00", c.with("verificationStatus", coded("http://terminology.hl7.org/CodeSystem/condition-ver-status", "entered-in-error")).with("clinicalStatus", nil)},
	} {
		h.tick(later.when)
		h.put(by(later.r), later.r)
		require.Equal(t, string(flag.Raw), string(h.get("Flag/"+flag.ID()).Raw), later.when)
		require.Equal(t, string(task.Raw), string(h.get("Task/"+task.ID()).Raw), later.when)
	}

	h.work(b.plan, "clear-hold", func(task res) { task["statusReason"] = res{"text": "Seen by the surgeon on the 2nd."} })
	require.Contains(t, string(h.get("Flag/"+flag.ID()).Raw), "Released by Maud Fennimore: Seen by the surgeon on the 2nd.")
	require.Equal(t, said, h.get("Flag/"+flag.ID()).String("code", "text"))
}

// A hold that is open says what is true now; one that ended for another reason keeps
// what it said, and how it ended.
func TestWhatEndedStaysAsItWas(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick(surgery + " 09:00")
	open := h.flags(b.patient)[0]
	h.tick(surgery + " 12:00")
	h.store(stay("1", b.patient, b.appointment, "arrived", surgery+" 07:00", ""))
	ended := h.get("Flag/" + open.ID())
	require.Equal(t, "inactive", ended.String("status"))
	require.NotEmpty(t, ended.String("code", "text"))
	h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", "2027-01-12 12:00"))
	require.Equal(t, string(ended.Raw), string(h.get("Flag/"+open.ID()).Raw))
	h.tick("2027-02-20 09:00")
	require.Equal(t, string(ended.Raw), string(h.get("Flag/"+open.ID()).Raw))
}
