package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/translate"
)

// visit is a visit by our own step code, on one day.
func visit(n, patient, step, status, day string) res {
	return res{
		"resourceType": "Encounter", "identifier": numbered(staySystem, "V-"+n), "status": status,
		"class":   res{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "AMB"},
		"type":    []res{coded(translate.SystemStep, step)},
		"subject": ref(patient), "period": res{"start": localTime(day + " 09:00"), "end": localTime(day + " 10:00")},
	}
}

// report is a report on tests by our own step code.
func report(n, patient, step, status, day string) res {
	return res{
		"resourceType": "DiagnosticReport", "identifier": numbered(staySystem, "D-"+n), "status": status,
		"code": coded(translate.SystemStep, step), "subject": ref(patient), "effectiveDateTime": day,
	}
}

// shown is the states of a step's items and what shows them done.
func (h *house) shown(plan, step string) string {
	h.t.Helper()
	var out []string
	for _, i := range h.rounds(plan, step) {
		one := i.State
		if i.Record != "" {
			typ, _, _ := strings.Cut(i.Record, "/")
			one += " by " + typ + " of " + i.RecordOn
		}
		out = append(out, one)
	}
	return strings.Join(out, "; ")
}

// A visit that is finished shows that the medical evaluation was done, whatever
// came first, and only while the record says so.
func TestRecordsShowThatStepsWereDone(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-20 09:00")
	b := h.book("1", surgery)
	require.Equal(t, "open", h.shown(b.plan, "medical-evaluation"))

	mark := h.mark()
	v := visit("1", b.patient, "medical-evaluation", "planned", "2026-12-20")
	h.put(by(v), v)
	require.Equal(t, "open", h.shown(b.plan, "medical-evaluation"), "planned is not done")
	require.Empty(t, h.after(mark))

	v = visit("1", b.patient, "medical-evaluation", "finished", "2026-12-20")
	h.put(by(v), v)
	require.Equal(t, "done by Encounter of 2026-12-20", h.shown(b.plan, "medical-evaluation"))
	require.Contains(t, names(h.after(mark)), event.TasksDone)
	again := h.put(by(v), v)
	require.False(t, again.Changed)

	task := h.get("Task/" + h.step(b.plan, "medical-evaluation").ID)
	require.Equal(t, "completed", task.String("status"))
	require.Equal(t, "2026-12-20", task.String("executionPeriod", "end"))

	v = visit("1", b.patient, "medical-evaluation", "entered-in-error", "2026-12-20")
	h.put(by(v), v)
	require.Equal(t, "open", h.shown(b.plan, "medical-evaluation"), "a withdrawn record shows nothing")
}

// A record that came before the booking counts as one that comes after it, and
// one of somebody else does not.
func TestRecordsInAnyOrderOfTheRightPerson(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-20 09:00")
	p := person("1")
	first := h.put(by(p), p)
	patient := name(first.Stored)
	h.put("DiagnosticReport", report("1", patient, "laboratory-tests", "final", "2026-12-18"))
	b := h.book("1", surgery)
	require.Equal(t, "done by DiagnosticReport of 2026-12-18", h.shown(b.plan, "laboratory-tests"))
	other := h.book("2", surgery)
	require.Equal(t, "open", h.shown(other.plan, "laboratory-tests"))
}

// The date moves: what a record shows is too old for it, and is asked again; a
// newer record answers.
func TestRecordsAge(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-20 09:00")
	b := h.book("1", surgery)
	h.put("DiagnosticReport", report("1", b.patient, "laboratory-tests", "final", "2026-12-18"))
	h.move("1", b.patient, "2027-02-15")
	require.Equal(t, "expired by DiagnosticReport of 2026-12-18; upcoming", h.shown(b.plan, "laboratory-tests"))
	h.set("2027-01-25 09:00")
	h.put("DiagnosticReport", report("2", b.patient, "laboratory-tests", "corrected", "2027-01-22"))
	require.Equal(t, "expired by DiagnosticReport of 2026-12-18; done by DiagnosticReport of 2027-01-22", h.shown(b.plan, "laboratory-tests"))
}

// A person who does not accept what a record shows opens the step again, with a
// reason; the same record does not close it a second time.
func TestAPersonRejectsARecord(t *testing.T) {
	h := newHouse(t)
	h.set("2026-12-20 09:00")
	b := h.book("1", surgery)
	h.put("DiagnosticReport", report("1", b.patient, "laboratory-tests", "final", "2026-12-18"))
	h.work(b.plan, "laboratory-tests", status("requested"), set("statusReason", res{"text": "the sample was another person's"}))
	require.Equal(t, "open", h.shown(b.plan, "laboratory-tests"))
	require.False(t, h.get("Task/"+h.step(b.plan, "laboratory-tests").ID).Get("executionPeriod").Exists())
	h.put("DiagnosticReport", report("1b", b.patient, "laboratory-tests", "final", "2026-12-19"))
	require.Equal(t, "done by DiagnosticReport of 2026-12-19", h.shown(b.plan, "laboratory-tests"))
}

// What names no day is kept, closes nothing, and its sender is told.
func TestRecordWithoutADay(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	r := h.put("DiagnosticReport", report("1", b.patient, "laboratory-tests", "final", "2026-12-18").with("effectiveDateTime", nil))
	require.Contains(t, r.Note, "it names no day")
	require.Equal(t, "upcoming", h.shown(b.plan, "laboratory-tests"))
}
