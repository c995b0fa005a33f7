package casework

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// replaceOnce replaces a piece of a text that must be there once.
func replaceOnce(t tester, text, old, by string) string {
	t.Helper()
	require.Equal(t, 1, strings.Count(text, old), old)
	return strings.Replace(text, old, by, 1)
}

// firstVersion is that of the default protocol.
const firstVersion = "1.0.2"

// protocolText is the default protocol in another version.
func protocolText(t *testing.T, version string, changes ...string) []byte {
	t.Helper()
	_, body, err := Definitions()
	require.NoError(t, err)
	text := string(body)
	if version != "" {
		text = replaceOnce(t, text, `"version": "`+firstVersion+`"`, `"version": "`+version+`"`)
	}
	for n := 0; n < len(changes); n += 2 {
		text = replaceOnce(t, text, changes[n], changes[n+1])
	}
	return []byte(text)
}

const (
	callTitle = `"title": "First call"`
	newTitle  = `"title": "The very first call"`
)

func TestSameVersionWithAnotherText(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	before := h.everything()
	h.close()

	err := h.tryOpen(protocolText(t, "", callTitle, newTitle))
	require.ErrorContains(t, err, "a change needs a new version")
	require.Error(t, h.tryOpen([]byte(`{"resourceType":"PlanDefinition"`)))

	h.open(nil)
	require.Equal(t, before, h.everything())
	require.Equal(t, "due", h.step(b.plan, "first-call").State)
}

// A new version plans open cases again with the next message or turn of time;
// what was served before is served as it was.
func TestNewVersion(t *testing.T) {
	for what, again := range map[string]func(h *house, b booked){
		"with the next message": func(h *house, b booked) { h.store(order("1", b.patient)) },
		"as time passes":        func(h *house, b booked) { h.tick("2026-09-12 00:00") },
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			h.work(b.plan, "first-call", done(""))
			// The five days of D-14 to D-3 become D-14 to D-4.
			first, cleanser := h.step(b.plan, "first-call"), h.step(b.plan, "skin-cleanser")
			type version struct {
				ref string
				n   int64
			}
			served := map[version]string{}
			for _, i := range h.items(b.plan) {
				for n := int64(1); n <= i.Version; n++ {
					served[version{"Task/" + i.ID, n}] = string(h.version("Task/"+i.ID, n).Body)
				}
			}
			served[version{"CarePlan/" + b.plan, 1}] = string(h.version("CarePlan/"+b.plan, 1).Body)
			require.Equal(t, "2027-01-08", cleanser.Due)

			h.close()
			_, old, err := Definitions()
			require.NoError(t, err)
			h.open(protocolText(t, "1.1.0", callTitle, newTitle, cleanserWindow(t, string(old), 3), cleanserWindow(t, string(old), 4)))
			same := func() {
				t.Helper()
				for v, body := range served {
					require.Equal(t, body, string(h.version(v.ref, v.n).Body))
				}
			}
			same()
			require.Equal(t, first, h.step(b.plan, "first-call"), "nothing has happened yet")

			mark := h.mark()
			again(h, b)
			same()
			now := h.step(b.plan, "skin-cleanser")
			require.Equal(t, "2027-01-07", now.Due)
			require.Equal(t, []string{event.TasksChanged}, h.happenings(b.plan, now.ID, mark))
			require.Equal(t, "done", h.step(b.plan, "first-call").State)
			require.Equal(t, "The very first call", h.get("Task/"+first.ID).String("code", "coding", "display"))
			require.Equal(t, "First call", parse(t, h.version("Task/"+first.ID, 1).Body).String("code", "coding", "display"))
			require.True(t, strings.HasSuffix(h.get("CarePlan/"+b.plan).String("instantiatesCanonical"), "|1.1.0"))
			require.True(t, strings.HasSuffix(h.caseRow(b.plan).Protocol, "|1.1.0"))

			// Back to the old version: it is known, and plans again.
			h.close()
			h.open(nil)
			same()
			h.store(order("1", b.patient).with("priority", "routine"))
			require.Equal(t, "2027-01-08", h.step(b.plan, "skin-cleanser").Due)
			same()
		})
	}
}

// cleanserWindow is the text of the definition around the due day of one step,
// with that day.
func cleanserWindow(t *testing.T, text string, day int) string {
	t.Helper()
	from := strings.Index(text, `"id": "skin-cleanser"`)
	low := strings.Index(text[from:], `"low"`) + from
	to := strings.Index(text[low:], `"value": 3`) + low
	require.True(t, from > 0 && low > from && to > low && to-low < 100)
	return text[from:to] + `"value": ` + string(rune('0'+day))
}

// A step that the protocol no longer has is asked for no longer; what was done
// of it stays.
func TestStepLeavesTheProtocol(t *testing.T) {
	h := newHouse(t)
	one, other := h.book("1", surgery), h.book("2", surgery)
	h.work(one.plan, "skin-cleanser", done(""))
	h.close()
	h.open(protocolText(t, "1.2.0", `"id": "skin-cleanser"`, `"id": "skin-soap"`))
	mark := h.mark()
	for n, b := range []booked{one, other} {
		a := appointment([]string{"1", "2"}[n], b.patient, surgery)
		h.put(by(a), a.with("comment", "again"))
		require.Equal(t, "draft", h.step(b.plan, "skin-soap").Status)
	}
	require.Equal(t, []string{"done", "completed"}, []string{h.step(one.plan, "skin-cleanser").State, h.step(one.plan, "skin-cleanser").Status})
	gone := h.step(other.plan, "skin-cleanser")
	require.Equal(t, []string{"not-needed", "cancelled"}, []string{gone.State, gone.Status})
	require.Equal(t, []string{event.TasksCancelled}, h.happenings(other.plan, gone.ID, mark))
	require.Equal(t, "The plan no longer has this step.", h.get("Task/"+gone.ID).String("statusReason", "text"))
	require.Equal(t, "skin-cleanser", h.get("Task/"+gone.ID).String("code", "coding", "code"))
}

// A booking without a number, which the old protocol had no use for, would open
// a case under the new one. Nobody sent it now, so nobody is refused for it, and
// it keeps no other case from going on.
func TestAnOldBookingWithoutNumberIsNobodysFault(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	kept := h.put("Appointment", appointment("2", b.patient, "2027-06-14").with("identifier", nil).
		with("reasonCode", []res{coded(pcs, revisionCode), coded(pcs, leftKnee)}))
	h.close()
	h.open(protocolText(t, "1.3.0", `"expression": "!revision"`, `"expression": "!revision || revision"`))

	require.Equal(t, 1, h.tick("2026-09-12 00:00"))
	require.Equal(t, "late", h.step(b.plan, "first-call").State)
	h.work(b.plan, "first-call", done(""))
	h.store(order("1", b.patient))
	require.Equal(t, b.plan, h.onlyCase(b.patient).ID)
	list, err := h.office.Unplanned(context.Background())
	require.NoError(t, err)
	require.Contains(t, list, Unplanned{Booking: name(kept.Stored), Patient: b.patient, Reason: "no identifier to know it by"})

	// Sent again, still without one, it is refused.
	again := appointment("2", b.patient, "2027-06-15").with("identifier", nil).with("id", kept.Stored.ID).with("reasonCode", []res{coded(pcs, leftKnee)})
	h.refuses(refusal{ErrInvalid, "required", "Appointment.identifier"}, delivery(t, name(kept.Stored), again.json()))
	// With a number it opens its case.
	h.put(name(kept.Stored), again.with("identifier", numbered(bookingSystem, "B-2")))
	require.Len(t, h.cases(b.patient), 2)
}
