package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A hold for a signature at which nobody has looked is released by somebody else
// than whoever signed; taking the signature back, releasing, and signing the same
// again holds the case again.
func TestWhoSignedReleasesNoHoldForIt(t *testing.T) {
	h := newHouse(t)
	b := h.lateSigned()
	h.tick("2027-01-06 00:00")
	require.Contains(t, h.kinds(b.patient), "medicine-timing")
	hold, sign := h.step(b.plan, "clear-hold").ID, h.step(b.plan, "medicine-sign-off").ID
	for _, who := range []string{"Dr Corvan Stillmarch", "Stillmarch", "C. STILLMARCH"} {
		_, err := h.tryWork(hold, release(who, "It is fine."))
		require.ErrorContains(t, err, "Task.owner is, or may be, whoever signed the last dose: this hold is for a signature that nobody else has looked at")
	}
	_, err := h.office.Act(t.Context(), Act{TaskID: hold, Does: ActDone, Owner: "Dr Corvan Stillmarch", Reason: "It is fine.", By: "A Nurse", Source: "desk"})
	require.ErrorContains(t, err, "another person releases it")
	require.Contains(t, h.kinds(b.patient), "medicine-timing")

	_, err = h.tryWork(sign, set("status", "requested"), whyText("not meant"))
	require.NoError(t, err)
	_, err = h.tryWork(hold, release("Dr Corvan Stillmarch", "Taken back."))
	require.NoError(t, err, "no signature stands")
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Corvan Stillmarch"), set("output", []res{lastDose("2027-01-06")}), whyText("Local policy."))
	require.Contains(t, h.kinds(b.patient), "medicine-timing", "that release was for none")

	i := h.work(b.plan, "clear-hold", release("Dr Wendeline Thatchmarsh", "The kidneys are good."))
	require.Equal(t, "completed", i.Status)
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")
	require.Equal(t, "requested", h.step(b.plan, "look-at-late-dose").Status, "a release is no second look")
}

// A reference is to whoever the record says, whatever name stands beside it.
func TestTheRecordSaysWhoAReferenceIs(t *testing.T) {
	for _, r := range []struct {
		name         string
		signs, looks res
		isErr        string
	}{
		{"the signer's own record under another name", res{"display": "Dr Corvan Stillmarch"}, res{"reference": "Practitioner/one", "display": "Dr Wendeline Thatchmarsh"}, "may be, whoever signed"},
		{"their role under another name", res{"display": "Dr Corvan Stillmarch"}, res{"reference": "PractitionerRole/role", "display": "Dr Wendeline Thatchmarsh"}, "may be, whoever signed"},
		{"signed under another name", res{"reference": "Practitioner/one", "display": "Dr Wendeline Thatchmarsh"}, res{"display": "Corvan Stillmarch"}, "may be, whoever signed"},
		{"the role and the person", res{"reference": "Practitioner/one", "display": "Dr Arden"}, res{"reference": "PractitionerRole/role", "display": "Dr Bell"}, "may be, whoever signed"},
		{"by the number on the record", res{"reference": "Practitioner/one"}, res{"identifier": res{"system": "https://staff.example/number", "value": "7"}, "display": "Dr Wendeline Thatchmarsh"}, "may be, whoever signed"},
		{"somebody else's record", res{"display": "Dr Corvan Stillmarch"}, res{"reference": "Practitioner/two"}, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			one := h.holds(practitioner("Corvan", "Stillmarch", "7"))
			two := h.holds(practitioner("Wendeline", "Thatchmarsh", "8"))
			role := h.holds(res{"resourceType": "PractitionerRole", "identifier": []res{{"system": "https://staff.example/role", "value": "1"}}, "practitioner": res{"reference": one}})
			refs := map[any]string{"Practitioner/one": one, "Practitioner/two": two, "PractitionerRole/role": role}
			for _, o := range []res{r.signs, r.looks} {
				if ref := refs[o["reference"]]; ref != "" {
					o["reference"] = ref
				}
			}
			b := h.onWarfarin()
			h.work(b.plan, "medicine-sign-off", done(""), set("owner", r.signs), set("output", []res{lastDose("2027-01-06")}), whyText("Local policy."))
			_, err := h.tryWork(h.step(b.plan, "look-at-late-dose").ID, done(""), set("owner", r.looks), set("output", []res{agreed(true)}))
			if r.isErr == "" {
				require.NoError(t, err)
				return
			}
			require.ErrorContains(t, err, r.isErr)
		})
	}
}

func practitioner(given, family, number string) res {
	return res{
		"resourceType": "Practitioner", "name": []res{{"given": []string{given}, "family": family}},
		"identifier": []res{{"system": "https://staff.example/number", "value": number}},
	}
}

// holds gives the reference of a resource once it is held.
func (h *house) holds(r res) string {
	h.t.Helper()
	return name(h.put(by(r), r).Stored)
}
