package casework

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/services/countback/internal/event"
)

// secrets are values of the fixtures that no event may carry.
var secrets = []string{
	"Quillfeather", "1951-04-17", "555-0134", "female", "Lane", "P-1", "P-2", "B-1", "registry.", "theatre.",
	hipCode, rightHip, leftKnee, "canary",
}

// story is one random history of two people, and of whatever is booked for them.
type story struct {
	*house
	t      *rapid.T
	people []string
	booked map[string]res // the appointments to change next, by number
	last   map[string]res // as they were last sent
}

func (s *story) day() string {
	return at("2026-10-01 12:00").AddDate(0, 0, rapid.IntRange(0, 200).Draw(s.t, "day")).Format(time.DateOnly)
}

// try sends something that may be refused, which is no fault.
func (s *story) try(d Delivery) {
	_, err := s.receive(d)
	var r *Refusal
	if err != nil && !errors.As(err, &r) {
		require.NoError(s.t, err)
	}
}

func (s *story) send(r res) { s.try(delivery(s.t, by(r), r.json())) }

func (s *story) person() string { return rapid.SampledFrom(s.people).Draw(s.t, "person") }

func (s *story) number() string { return rapid.SampledFrom([]string{"1", "2"}).Draw(s.t, "number") }

func (s *story) book() {
	n := s.number()
	s.booked[n] = appointment(n, s.person(), s.day())
	s.last[n] = s.booked[n]
	s.send(s.booked[n])
}

// change sends a booking again with one thing different.
func (s *story) change() {
	n := s.number()
	a := s.booked[n]
	if a == nil {
		return
	}
	switch rapid.SampledFrom([]string{"status", "hour", "code", "no start", "comment", "nothing"}).Draw(s.t, "change") {
	case "status":
		a = a.with("status", rapid.SampledFrom([]string{"booked", "cancelled", "noshow", "entered-in-error", "pending", "waitlist", "proposed"}).Draw(s.t, "status"))
	case "hour":
		day := s.day()
		a = a.with("start", localTime(day+" 13:15")).with("end", localTime(day+" 15:00"))
	case "code":
		a = a.with("reasonCode", []res{coded(pcs, rapid.SampledFrom([]string{rightHip, leftKnee, cholecystCode, revisionCode}).Draw(s.t, "code"))})
	case "no start":
		a = a.with("start", nil).with("end", nil).with("status", "cancelled")
	case "comment":
		a = a.with("comment", "canary "+s.day())
	}
	if a["start"] != nil { // only what ended may be without, so nothing else can follow from it
		s.booked[n] = a
	}
	s.last[n] = a
	s.send(a)
}

func (s *story) operate() {
	n := s.number()
	s.send(procedure(n, s.person(), rapid.SampledFrom([]string{rightHip, leftKnee, rightKnee}).Draw(s.t, "operation"), s.day()).
		with("status", rapid.SampledFrom([]string{"preparation", "in-progress", "completed", "not-done", "entered-in-error"}).Draw(s.t, "status")))
}

func (s *story) visit() {
	n := s.number()
	found := s.found("Appointment")
	if len(found) == 0 {
		return
	}
	status := rapid.SampledFrom([]string{"planned", "arrived", "in-progress", "finished", "entered-in-error"}).Draw(s.t, "status")
	s.send(stay(n, s.person(), name(found[0]), status, s.day()+" 07:00", ""))
}

func (s *story) work() {
	for _, p := range s.people {
		for _, c := range s.cases(p) {
			items := s.items(c.ID)
			i := items[rapid.IntRange(0, len(items)-1).Draw(s.t, "item")]
			e := rapid.SampledFrom([][]edit{
				{done("")}, {status("accepted")}, {status("cancelled"), because("waived", "Quillfeather said so")},
				{status("cancelled"), because("not-needed", "")}, {status("failed"), because("", "Quillfeather did not come")},
				{status("requested"), because("", "Quillfeather was another")}, {set("note", []res{{"text": "Quillfeather " + s.day()}})},
			}).Draw(s.t, "edit")
			_, err := s.tryWork(i.ID, e...)
			require.True(s.t, err == nil || errors.Is(err, ErrInvalid), err)
		}
	}
}

func (s *story) wait() {
	hours := rapid.SampledFrom([]int{1, 10, 24, 24 * 7, 24 * 30, 24 * 90}).Draw(s.t, "hours")
	s.tickTo(s.clock().Add(time.Duration(hours) * time.Hour))
}

// replica is a consumer that knows nothing but the events.
type replica struct {
	sequence   int64
	state, day string
	tasks      map[string]event.TaskData
}

func replicas(t tester, h *house) map[string]*replica {
	t.Helper()
	out := map[string]*replica{}
	ids := map[string]bool{}
	for _, row := range h.rows() {
		e, err := event.Decode(row.Body)
		require.NoError(t, err)
		require.False(t, ids[e.ID], "an id is used once")
		ids[e.ID] = true
		require.Equal(t, []any{row.ID, row.CaseID, row.CaseSequence}, []any{e.ID, e.CaseID(), e.CaseSequence})
		require.Equal(t, "countback.v1."+token+"."+e.Name(), row.Subject)
		for _, secret := range secrets {
			require.NotContains(t, string(row.Body), secret)
			require.NotContains(t, row.Subject, secret)
		}
		r := out[e.CaseID()]
		if r == nil {
			r = &replica{tasks: map[string]event.TaskData{}}
			out[e.CaseID()] = r
			require.Equal(t, event.CaseOpened, e.Name(), "a case begins with its opening")
		}
		r.sequence++
		require.Equal(t, r.sequence, e.CaseSequence, "1, 2, 3 … without a gap")
		if strings.HasPrefix(e.Name(), "case.") {
			d, err := e.CaseData()
			require.NoError(t, err)
			r.state, r.day = d.State, d.SurgeryDate
			continue
		}
		d, err := e.TasksData()
		require.NoError(t, err)
		for _, k := range d.Tasks {
			require.Greater(t, k.Version, r.tasks[k.ID].Version, "a version is told once")
			r.tasks[k.ID] = k
		}
	}
	return out
}

// A long random history: the sequence of each case has no gap, nothing of a
// person leaves in an event, and who reads the events alone knows how each case
// and each Task stands.
func TestRandomHistory(t *testing.T) {
	folder := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		path, err := os.MkdirTemp(folder, "")
		require.NoError(rt, err)
		h := openHouse(rt, path, nil)
		defer h.close()
		s := &story{house: h, t: rt, booked: map[string]res{}, last: map[string]res{}}
		for _, n := range []string{"1", "2"} {
			s.people = append(s.people, name(h.put("Patient", person(n)).Stored))
		}
		s.book()
		actions := map[string]func(){
			"book": s.book, "change": s.change, "operate": s.operate, "visit": s.visit, "work": s.work, "wait": s.wait,
			"restart": func() { h.restart(h.clock().In(chicago().Calendar.Zone()).Format("2006-01-02 15:04:05")) },
		}
		names := []string{"book", "change", "change", "operate", "visit", "work", "work", "wait", "wait", "restart"}
		for n := range rapid.IntRange(10, 30).Draw(rt, "length") {
			actions[rapid.SampledFrom(names).Draw(rt, fmt.Sprint(n))]()
		}

		known := replicas(rt, h)
		total := 0
		for _, p := range s.people {
			for _, c := range h.cases(p) {
				total++
				r := known[c.ID]
				require.NotNil(rt, r)
				require.Equal(rt, c.Sequence, r.sequence)
				require.Equal(rt, c.State, r.state)
				for _, i := range h.items(c.ID) {
					k := r.tasks[i.ID]
					require.Equal(rt, []string{i.Step, i.State, i.Opens, i.Due, i.Last}, []string{k.Step, k.State, k.Opens, k.Due, k.Last}, i.Step)
				}
			}
		}
		require.Len(rt, known, total)

		// A fresh plan at the same moment is the same plan.
		mark := h.mark()
		for n, a := range s.last {
			s.send(a.with("comment", "once more "+n))
		}
		require.Empty(rt, h.after(mark))
		_, err = h.office.Plans(context.Background())
		require.NoError(rt, err, "everything can be rendered")
	})
}
