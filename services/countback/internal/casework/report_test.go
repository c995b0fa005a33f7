package casework

import (
	"context"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

func dayOf(t *testing.T, s string) calendar.Date {
	d, err := calendar.ParseDate(s)
	require.NoError(t, err)
	return d
}

// counted counts each measure over a period as the office does.
func (h *house) counted(t *testing.T, from, to string) map[readiness.Indicator]readiness.Counted {
	t.Helper()
	found, err := h.office.Programme(context.Background(), dayOf(t, from), dayOf(t, to))
	require.NoError(t, err)
	out := map[readiness.Indicator]readiness.Counted{}
	for _, m := range found.Measures {
		require.NotEmpty(t, m.Title)
		require.NotEmpty(t, m.MeasureWords.Numerator)
		require.NotEmpty(t, m.MeasureWords.Denominator)
		require.NotEmpty(t, m.Usage)
		out[m.Indicator] = m.Counted
	}
	require.Len(t, out, len(readiness.Indicators))
	return out
}

// TestProgrammeOfEndings tells apart what was cancelled, moved, booked again
// under another number, and entered in error.
func TestProgrammeOfEndings(t *testing.T) {
	h := newHouse(t)
	book := func(n, day string) (patient string) {
		patient = h.newPatient(n)
		h.store(appointment(n, patient, day))
		return patient
	}
	stands, off, silent, moved, wrong, again := book("1", "2026-11-16"), book("2", "2026-11-17"), book("3", "2026-11-18"), book("4", "2026-11-19"), book("5", "2026-11-20"), book("6", "2026-11-16")
	require.NotEmpty(t, stands)
	h.set("2026-09-15 09:00")
	coldly := res{"coding": []res{{"system": "http://terminology.hl7.org/CodeSystem/appointment-cancellation-reason", "code": "pat-fb", "display": "Patient: Feeling Better"}}}
	freely := res{"text": "QuillfeatherSecret has a cold"}
	cancel := func(n, patient, day string, reason any) {
		a := appointment(n, patient, day).with("status", "cancelled")
		if reason != nil {
			a = a.with("cancelationReason", reason)
		}
		h.store(a)
	}
	cancel("2", off, "2026-11-17", coldly)
	cancel("3", silent, "2026-11-18", nil)
	h.store(appointment("4", moved, "2026-11-24"))
	h.store(appointment("5", wrong, "2026-11-20").with("status", "entered-in-error"))
	cancel("6", again, "2026-11-16", freely)
	h.set("2026-09-16 09:00")
	h.store(appointment("6b", again, "2026-11-25"))

	got := h.counted(t, "2026-11-01", "2026-11-30")
	require.Equal(t, readiness.Counted{Indicator: readiness.Cancellations, Numerator: 2, Denominator: 5, Groups: []readiness.CountedGroup{
		{By: readiness.ByReason, Name: "Patient: Feeling Better", N: 1}, {By: readiness.ByReason, Name: readiness.NoReason, N: 1},
	}}, got[readiness.Cancellations], "one entered in error, and one that was booked again, are none")
	require.Equal(t, readiness.Counted{Indicator: readiness.Postponements, Numerator: 2, Denominator: 3, Groups: []readiness.CountedGroup{
		{By: readiness.ByReason, Name: "QuillfeatherSecret has a cold", N: 1}, {By: readiness.ByReason, Name: readiness.NoReason, N: 1},
	}}, got[readiness.Postponements])
	require.Equal(t, 1, h.counted(t, "2026-11-24", "2026-11-24")[readiness.Postponements].Numerator, "both ends are included")
	require.Zero(t, h.counted(t, "2026-11-26", "2026-11-30")[readiness.Cancellations].Denominator)

	body, err := h.office.EvaluateMeasure(context.Background(), string(readiness.Postponements), Period{Start: "2026-11-01", End: "2026-11-30"})
	require.NoError(t, err)
	require.NotContains(t, strings.ToLower(string(body)), "quillfeather", "what was written freely may say something of a person")
	var report struct {
		Measure, Type, Status string
		Period                struct{ Start, End string }
		Group                 []struct {
			Population   []struct{ Count int }
			MeasureScore struct{ Value float64 }
			Stratifier   []struct {
				Stratum []struct{ Value struct{ Text string } }
			}
		}
	}
	require.NoError(t, json.Unmarshal(body, &report))
	require.Equal(t, []string{"http://countback.example/fhir/Measure/surgery-moved|1.0.0", "summary", "complete"}, []string{report.Measure, report.Type, report.Status})
	require.Equal(t, []string{"2026-11-01", "2026-11-30"}, []string{report.Period.Start, report.Period.End})
	require.Equal(t, 3, report.Group[0].Population[0].Count)
	require.Equal(t, 2, report.Group[0].Population[1].Count)
	require.InDelta(t, 0.6667, report.Group[0].MeasureScore.Value, 1e-9)
	require.Equal(t, "a reason in free text", report.Group[0].Stratifier[0].Stratum[0].Value.Text)
	_, err = h.office.EvaluateMeasure(context.Background(), "no-such", Period{Start: "2026-11-01", End: "2026-11-30"})
	require.ErrorIs(t, err, ErrNotFound)
}

// A move that met a request for its day has the reason of the request, unless
// the booking gave one; a later move to the same day was asked for by nobody.
// What was written freely stays out of the MeasureReport.
func TestMoveThatWasAskedFor(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-10-05 09:00")
	_, err := h.askMove(b, "2027-01-20", surgery)
	require.NoError(t, err)
	move := func(day string) {
		a := appointment("1", b.patient, day)
		h.put(by(a), a)
	}
	reasons := func() []readiness.CountedGroup {
		return h.counted(t, "2027-01-01", "2027-02-28")[readiness.Postponements].Groups
	}
	move("2027-01-20")
	require.Equal(t, []readiness.CountedGroup{{By: readiness.ByReason, Name: "the check-up cannot be had before", N: 1}}, reasons())
	body, err := h.office.EvaluateMeasure(context.Background(), string(readiness.Postponements), Period{Start: "2027-01-01", End: "2027-02-28"})
	require.NoError(t, err)
	require.Contains(t, string(body), translate.FreeReason)
	require.NotContains(t, string(body), "check-up")
	require.NotContains(t, string(body), readiness.NoReason+`"`)

	move("2027-02-01")
	move("2027-01-20")
	require.Equal(t, []readiness.CountedGroup{{By: readiness.ByReason, Name: readiness.NoReason, N: 1}}, reasons())
}

// TestProgrammeOfPreparation: the class, the questionnaires, and who was ready on
// the day before.
func TestProgrammeOfPreparation(t *testing.T) {
	h := newHouse(t)
	a, b := h.book("1", surgery), h.book("2", surgery)
	h.set("2026-12-01 09:00")
	h.work(a.plan, "joint-class", done("2026-11-30"))
	h.work(a.plan, "baseline-questionnaire", done("2026-11-30"))
	h.work(b.plan, "joint-class", func(task res) {
		task["status"] = "cancelled"
		task["statusReason"] = res{"coding": []res{{"system": "http://countback.example/fhir/CodeSystem/task-reason", "code": "waived"}}, "text": "came last year"}
	})
	got := h.counted(t, surgery, surgery)
	class := got[readiness.ClassAttendance]
	require.Equal(t, []int{1, 2}, []int{class.Numerator, class.Denominator})
	require.Equal(t, 0, got[readiness.ReadyDayBefore].Denominator, "the day before is not over")
	require.Equal(t, 0, got[readiness.OneYearComplete].Denominator)

	h.tick(surgery + " 08:00")
	got = h.counted(t, surgery, surgery)
	baseline := got[readiness.BaselineComplete]
	require.Equal(t, []int{1, 2}, []int{baseline.Numerator, baseline.Denominator})
	ready := got[readiness.ReadyDayBefore]
	require.Equal(t, []int{0, 2}, []int{ready.Numerator, ready.Denominator})
	require.Contains(t, ready.Groups, readiness.CountedGroup{By: readiness.ByMissing, Name: "Where to after hospital", N: 2})
	for _, g := range ready.Groups {
		require.NotEqual(t, "Checked in", g.Name, "that is asked for on the day itself")
	}

	h.tick("2028-06-01 08:00")
	year := h.counted(t, surgery, surgery)[readiness.OneYearComplete]
	require.Equal(t, []int{0, 2}, []int{year.Numerator, year.Denominator})
}

// TestProgrammeReady does every must of one of two persons on the last office day
// before surgery, and one of them on the day itself for another.
func TestProgrammeReady(t *testing.T) {
	h := newHouse(t)
	a, b := h.book("1", surgery), h.book("2", surgery)
	h.tick("2027-01-08 12:00")
	var musts []string
	for _, s := range h.office.Protocol().Steps {
		if s.Need == readiness.Must && s.Trigger == "" {
			musts = append(musts, s.Code)
		}
	}
	for _, plan := range []string{a.plan, b.plan} {
		left := false
		for _, step := range musts {
			for _, i := range h.items(plan) {
				if i.Step != step || i.Last == "" || i.Last[:10] >= surgery || i.State == "done" || i.State == "not-needed" {
					continue
				}
				if plan == b.plan && !left {
					left = true // for the day itself
					continue
				}
				_, err := h.tryWork(i.ID, done("2027-01-08"), named("Dr Pell Wickery"))
				require.NoError(t, err, step)
			}
		}
		require.Equal(t, plan == b.plan, left)
	}
	h.tick(surgery + " 07:00")
	ready := h.counted(t, surgery, surgery)[readiness.ReadyDayBefore]
	require.Equal(t, []int{1, 2}, []int{ready.Numerator, ready.Denominator}, ready.Groups)
	require.Len(t, ready.Groups, 1)
}
