package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// actOn is a case whose items somebody acts on, and the Task of a step of it.
func actOn(t *testing.T) (h *house, caseID string, act func(step string, a Act) (*ItemView, error)) {
	t.Helper()
	h = newHouse(t)
	refs := h.send(bookingMessage("1", surgery))
	caseID = h.cases(refs[0])[0].ID
	act = func(step string, a Act) (*ItemView, error) {
		t.Helper()
		item := seen(h, caseID, step)
		a.TaskID = item.TaskID
		if a.By == "" {
			a.By = "Idony Quillfeather"
		}
		_, err := h.office.Act(context.Background(), a)
		return seen(h, caseID, step), err
	}
	return h, caseID, act
}

// seen is an item as the case shows it.
func seen(h *house, caseID, step string) *ItemView {
	h.t.Helper()
	v, err := h.office.View(context.Background(), caseID)
	require.NoError(h.t, err)
	for n := range v.Items {
		if v.Items[n].Key.Step == step {
			return &v.Items[n]
		}
	}
	require.Fail(h.t, "no such item", step)
	return nil
}

// What a person does with an item stands on its Task, with who did it, and is
// judged as it is over FHIR.
func TestAct(t *testing.T) {
	for name, c := range map[string]struct {
		step          string
		act           Act
		state, status string
		note          string
	}{
		"done today":      {"first-call", Act{Does: ActDone}, "done", "completed", "Done."},
		"done before":     {"first-call", Act{Does: ActDone, On: "2026-09-08"}, "done", "completed", "Done."},
		"waived":          {"screening-bloods", Act{Does: ActWaive, Reason: "done elsewhere"}, "waived", "cancelled", "Waived. done elsewhere."},
		"does not apply":  {"device-check", Act{Does: ActNotNeeded, Reason: "asked: none"}, "not-needed", "cancelled", "Does not apply. asked: none."},
		"does apply":      {"interpreter-booked", Act{Does: ActApplies}, "open", "requested", "It does apply."},
		"not possible":    {"first-call", Act{Does: ActFailed, Reason: "no answer for a week"}, "missed", "failed", "Could not be done. no answer for a week."},
		"a note":          {"first-call", Act{Does: ActNote, Text: "left a message"}, "due", "requested", "left a message."},
		"not reached":     {"first-call", Act{Does: ActTried, Text: "no answer"}, "due", "requested", "Tried, not reached. no answer."},
		"taken on":        {"first-call", Act{Does: ActAssign, Owner: "Bram Tollkeeper"}, "due", "requested", "Taken on. Bram Tollkeeper."},
		"with who did it": {"medical-evaluation", Act{Does: ActNote, Text: "asked for", By: "Other Name"}, "upcoming", "draft", "asked for."},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, act := actOn(t)
			item, err := act(c.step, c.act)
			require.NoError(t, err)
			require.Equal(t, c.state, string(item.State))
			require.Equal(t, c.status, item.Status)
			require.Len(t, item.Notes, 1)
			require.Equal(t, c.note, item.Notes[0].Text)
			by := c.act.By
			if by == "" {
				by = "Idony Quillfeather"
			}
			require.Equal(t, Note{At: localTime(bookedAt), By: by, Text: c.note}, item.Notes[0])
			require.Equal(t, c.act.Owner, item.Owner)
		})
	}
}

func TestActRefuses(t *testing.T) {
	h, caseID, act := actOn(t)
	before := len(h.rows())
	for name, c := range map[string]struct {
		step string
		act  Act
		want error
	}{
		"a must is not waived":    {"first-call", Act{Does: ActWaive, Reason: "busy"}, ErrInvalid},
		"waived without a reason": {"screening-bloods", Act{Does: ActWaive}, ErrInvalid},
		"a day to come":           {"first-call", Act{Does: ActDone, On: "2026-12-01"}, ErrInvalid},
		"no such deed":            {"first-call", Act{Does: "erase"}, ErrMalformed},
		"another version":         {"first-call", Act{Does: ActDone, Version: 7}, ErrVersion},
		"nobody":                  {"first-call", Act{Does: ActDone, By: " "}, ErrNameless},
	} {
		t.Run(name, func(t *testing.T) {
			item, err := act(c.step, c.act)
			require.ErrorIs(t, err, c.want)
			require.EqualValues(t, 1, item.Version)
		})
	}
	_, err := h.office.Act(context.Background(), Act{TaskID: caseID + ".9999", Does: ActDone, By: "x"})
	require.ErrorIs(t, err, ErrNotFound)
	require.Len(t, h.rows(), before, "what was refused was told to nobody")
}

// The history of a case says what changed, why, and who did it, newest first.
func TestHistoryOfACase(t *testing.T) {
	h, caseID, act := actOn(t)
	h.set("2026-09-09 09:00")
	_, err := act("first-call", Act{Does: ActDone})
	require.NoError(t, err)
	h.set("2026-09-10 09:00")
	h.send(bookingMessage("1", "2027-01-18"))
	v, err := h.office.View(context.Background(), caseID)
	require.NoError(t, err)
	require.Len(t, v.TheirHistory, 3)
	moved, worked, opened := v.TheirHistory[0], v.TheirHistory[1], v.TheirHistory[2]
	require.Equal(t, "on-track", opened.State)
	require.Greater(t, opened.More, 40)
	require.Equal(t, []string{"“First call”: due → done"}, worked.Lines)
	require.Equal(t, "Idony Quillfeather", worked.By)
	require.Equal(t, "surgery moved from Mon 11 Jan 2027 to Mon 18 Jan 2027", moved.Why)
	require.Empty(t, moved.By)
}
