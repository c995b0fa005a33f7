package casework

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// chestPain lets a person who is at home report a chest pain at night.
func chestPain(t *testing.T, h *house, b booked) {
	t.Helper()
	h.tick("2027-01-16 02:10") // a Saturday
	h.put("QuestionnaireResponse?identifier=https://forms.larkspindle.example/filled|"+symptoms,
		filled(t, symptoms, b.patient, "2027-01-16 02:05", no, map[string]any{"chest-pain": yes, "in-your-words": res{"valueString": "It presses"}}))
	h.tick("2027-01-16 07:00")
}

// Who reported what cannot wait is the first to be called in the morning, before
// every list and at the head of the calls; the case says so, too. A person
// reads the whole report, and closes it with what was decided only.
func TestReportBeforeAll(t *testing.T) {
	ctx := context.Background()
	h := newHouse(t)
	b := h.book("1", surgery)
	chestPain(t, h, b)
	m, err := h.office.Morning(ctx, MorningOptions{Rows: 9})
	require.NoError(t, err)
	require.Equal(t, ListNow, m.Lists[0].Name)
	require.Len(t, m.Lists[0].Items, 1)
	now := m.Lists[0].Items[0]
	require.Equal(t, b.plan, now.CaseID)
	require.EqualValues(t, 1, m.Lists[0].Late)
	for _, l := range m.Lists[1:] {
		switch l.Name {
		case ListCalls:
			require.Equal(t, now.TaskID, l.Items[0].TaskID)
			require.Equal(t, l.Late+l.Due, int64(len(l.Items)))
		default:
			for _, i := range l.Items {
				require.NotEqual(t, now.TaskID, i.TaskID, l.Name)
			}
		}
	}
	v, err := h.office.View(ctx, b.plan)
	require.NoError(t, err)
	require.NotEmpty(t, v.Why)
	require.True(t, strings.HasPrefix(v.Why[0], now.Step.Title), v.Why[0])

	blank := Act{TaskID: now.TaskID, Does: ActDone, By: "Idony Quillfeather"}
	_, err = h.office.Act(ctx, blank)
	require.ErrorIs(t, err, ErrInvalid)
	require.ErrorContains(t, err, "write what was decided")
	require.Equal(t, "-now late requested", h.reports(b.plan))
	said := blank
	said.Text, said.Owner = "Sent to the emergency department", "Dr Corvan Stillmarch"
	_, err = h.office.Act(ctx, said)
	require.NoError(t, err)
	require.Equal(t, "-now done completed", h.reports(b.plan))
	v, err = h.office.View(ctx, b.plan)
	require.NoError(t, err)
	require.NotContains(t, strings.Join(v.Why, " "), now.Step.Title)

	a, err := h.office.Answered(ctx, now.Report)
	require.NoError(t, err)
	given := map[string]string{}
	for _, l := range a.Lines {
		given[l.Question] = strings.Join(l.Answers, ", ")
	}
	require.Equal(t, "Yes", given["Do you have chest pain or pressure in the chest?"], given)
	require.Equal(t, "It presses", given["Tell us in your own words what is new or troubles you"])
	_, err = h.office.Answered(ctx, "nothing")
	require.ErrorIs(t, err, ErrNotFound)
}

// What was done is answered with the item and the person; an item that is not
// there has neither.
func TestNamed(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	item := seen(h, b.plan, "first-call")
	title, person, err := h.office.Named(context.Background(), item.TaskID)
	require.NoError(t, err)
	require.Equal(t, item.Step.Title, title)
	v, err := h.office.View(context.Background(), b.plan)
	require.NoError(t, err)
	require.Equal(t, v.Person.Name, person)
	title, person, err = h.office.Named(context.Background(), "nothing.0001")
	require.NoError(t, err)
	require.Empty(t, title+person)
}
