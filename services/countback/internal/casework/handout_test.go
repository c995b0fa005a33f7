package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/translate"
)

// handed is what the patient is told of a step.
func (h *house) handed(plan, step string) translate.HandoutLine {
	h.t.Helper()
	out, err := h.office.Handout(context.Background(), plan)
	require.NoError(h.t, err)
	var last translate.HandoutLine
	for _, l := range out.Lines {
		if l.Item.Step.Code == step {
			last = l
		}
	}
	require.NotEmpty(h.t, last.TaskID, step)
	return last
}

// A last dose is told as signed only from the moment that a named prescriber has
// signed it, and no longer once the date moves.
func TestHandoutNamesWhoSigned(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	m := takes("1", b.patient, "11289", "warfarin")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	l := h.handed(b.plan, "medicine-stop")
	require.Equal(t, []string{"", "Warfarin", translate.PartMedicine}, []string{l.SignedBy, l.Medicine, l.Part})
	require.True(t, l.Own())

	day := func(d string) edit {
		return set("output", []res{{"type": coded(translate.SystemOutput, translate.OutputLastDose), "valueDate": d}})
	}
	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"), day("2027-01-04"), set("statusReason", res{"text": "INR is slow to fall"}))
	l = h.handed(b.plan, "medicine-stop")
	require.Equal(t, "Dr Example Prescriber", l.SignedBy)
	require.Equal(t, "2027-01-04", l.Item.Due.Day.String())

	h.book("1", "2027-01-25")
	require.Empty(t, h.handed(b.plan, "medicine-stop").SignedBy, "it was signed for another day")
}

// Who signs without a day signs the day that the rules give; a professional whose
// name nobody knows is no named prescriber.
func TestHandoutAsAdvised(t *testing.T) {
	for _, c := range []struct {
		name string
		by   edit
		want string
	}{
		{"named", named("Dr Example Prescriber"), "Dr Example Prescriber"},
		{"known by reference only", set("owner", res{"reference": "Practitioner/nobody-here"}), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			m := takes("1", b.patient, "11289", "warfarin")
			h.put(by(m), m)
			h.set("2026-12-15 09:00")
			h.work(b.plan, "medicine-review", done(""))
			h.work(b.plan, "medicine-sign-off", done(""), c.by)
			require.Equal(t, c.want, h.handed(b.plan, "medicine-stop").SignedBy)
		})
	}
}

// There is no handout, and no link, of a case that is not there.
func TestHandoutOfNoCase(t *testing.T) {
	h := newHouse(t)
	_, err := h.office.Handout(context.Background(), "nobody")
	require.ErrorIs(t, err, ErrNotFound)
	_, err = h.office.NewCalendarLink(context.Background(), "nobody", "patient", "Idony Quillfeather")
	require.ErrorIs(t, err, ErrNotFound)
	_, err = h.office.LinkedHandout(context.Background(), "")
	require.ErrorIs(t, err, ErrNotFound)
	b := h.book("1", surgery)
	for _, c := range [][2]string{{"neighbour", "Idony Quillfeather"}, {"patient", ""}} {
		_, err = h.office.NewCalendarLink(context.Background(), b.plan, c[0], c[1])
		require.ErrorIs(t, err, ErrInvalid)
	}
}
