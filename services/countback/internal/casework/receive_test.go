package casework

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

func TestBookingOpensOneCase(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)

	plan := h.get("CarePlan/" + b.plan)
	require.Equal(t, "active", plan.String("status"))
	require.Equal(t, b.patient, plan.String("subject", "reference"))
	require.Equal(t, h.office.Protocol().Canonical(), plan.String("instantiatesCanonical"))
	require.Equal(t, b.appointment, plan.String("supportingInfo", "reference"))

	// One Task for every step, apart from those that something else brings in.
	var want []string
	for _, s := range h.office.Protocol().Steps {
		if s.Trigger == "" && s.RepeatFor == "" {
			want = append(want, s.Code)
		}
	}
	require.Greater(t, len(want), 60)
	var got, listed []string
	for _, i := range h.items(b.plan) {
		got = append(got, i.Step)
		task := h.get("Task/" + i.ID)
		require.Equal(t, i.Step, task.String("code", "coding", "code"))
		require.Equal(t, i.State, task.String("businessStatus", "coding", "code"))
		require.Equal(t, b.patient, task.String("for", "reference"))
		require.Equal(t, b.plan, task.String("groupIdentifier", "value"))
		require.EqualValues(t, 1, i.Version)
	}
	require.Equal(t, want, got)
	for _, a := range plan.Get("activity").Items() {
		listed = append(listed, strings.TrimPrefix(a.String("reference", "reference"), "Task/"))
	}
	require.Len(t, listed, len(want), "the plan lists its Tasks")
	require.Equal(t, h.items(b.plan)[0].ID, listed[0])

	// Provenance: from which versions, by which rules, to which versions.
	all := h.found("Provenance")
	require.Len(t, all, 1)
	p := parse(t, all[0].Body)
	require.Equal(t, "CREATE", p.String("activity", "coding", "code"))
	require.Equal(t, h.office.Protocol().Canonical(), p.String("policy"))
	require.Equal(t, "CarePlan/"+b.plan+"/_history/1", p.String("target", "reference"))
	require.Equal(t, 1+len(want), p.Get("target").Len())
	require.Equal(t, b.patient+"/_history/1", p.Get("entity").Item(0).String("what", "reference"))
	require.Equal(t, b.appointment+"/_history/1", p.Get("entity").Item(1).String("what", "reference"))
}

func TestBookingIsTwoEvents(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	rows := h.rows()
	require.Len(t, rows, 2)
	for n, r := range rows {
		require.EqualValues(t, n+1, r.CaseSequence)
		require.Equal(t, b.plan, r.CaseID)
	}
	require.Equal(t, "countback.v1."+token+".case.opened", rows[0].Subject)
	require.Equal(t, "countback.v1."+token+".tasks.opened", rows[1].Subject)

	events := h.after(0)
	c := h.caseData(events, event.CaseOpened)
	require.Equal(t, event.CaseData{
		CarePlan: b.plan, Version: 1, State: "on-track", Protocol: h.office.Protocol().Canonical(),
		SurgeryDate: surgery, Booking: b.appointment,
	}, c)
	tasks, err := events[1].TasksData()
	require.NoError(t, err)
	items := h.items(b.plan)
	require.Len(t, tasks.Tasks, len(items))
	byID := map[string]event.TaskData{}
	for _, k := range tasks.Tasks {
		byID[k.ID] = k
	}
	for _, i := range items {
		require.Equal(t, event.TaskData{ID: i.ID, Version: 1, Step: i.Step, State: i.State, Opens: i.Opens, Due: i.Due, Last: i.Last}, byID[i.ID])
	}
}

func TestArchiveHoldsTheBytesAsSent(t *testing.T) {
	h := newHouse(t)
	// Odd spaces, an escaped letter, a decimal with a trailing zero, our own
	// elements under the sender's names: all of it is kept.
	sent := strings.Replace(appointment("1", "Patient/nobody", surgery).json(), `{`,
		"{ \n\t\"extension\":[{\"url\":\"https://theatre.larkspindle.example/x\",\"valueDecimal\":1.50}],\"comment\":\"\\u0051uiet\",\"meta\":{\"versionId\":\"77\"},", 1)
	sent = strings.TrimSuffix(sent, "}") + "}\n"
	d := delivery(t, "Appointment", sent)
	results, err := h.receive(d)
	require.NoError(t, err)
	h.read(func(tx *store.Tx) error {
		got, err := tx.Archived(results[0].Stored.ReceivedID)
		require.Equal(t, store.Received{
			At: h.clock(), Source: d.Source, ContentType: d.ContentType, Method: "POST", Target: "Appointment", Body: []byte(sent),
		}, got)
		return err
	})
	// The resource is the same text with our id and meta put in.
	stored := string(results[0].Stored.Body)
	require.Contains(t, stored, "{ \n\t\"extension\":[{\"url\":\"https://theatre.larkspindle.example/x\",\"valueDecimal\":1.50}]")
	require.Contains(t, stored, `"comment":"\u0051uiet"`)
	require.NotContains(t, stored, `"77"`)
	require.Equal(t, "1", parse(t, results[0].Stored.Body).String("meta", "versionId"))
}

func TestIDsRiseWithTime(t *testing.T) {
	h := newHouse(t)
	var ids []string
	for _, n := range []string{"1", "2", "3"} {
		b := h.book(n, surgery)
		ids = append(ids, strings.TrimPrefix(b.patient, "Patient/"), strings.TrimPrefix(b.appointment, "Appointment/"), b.plan)
		h.setTo(h.clock().Add(1))
	}
	h.set("2026-09-08 12:00")
	ids = append(ids, h.book("4", surgery).plan)
	require.True(t, slices.IsSorted(ids), ids)
	require.Len(t, slices.Compact(slices.Clone(ids)), len(ids))
	for _, id := range ids {
		require.Regexp(t, `^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`, id)
	}
	// RFC 9562, 5.7: the first 48 bits of a UUIDv7 are Unix milliseconds.
	ms, err := strconv.ParseInt(strings.ReplaceAll(ids[len(ids)-1][:13], "-", ""), 16, 64)
	require.NoError(t, err)
	require.Equal(t, h.clock().UnixMilli(), ms)
	// Task ids name their case, so they rise with it, and with their number.
	tasks := h.items(ids[len(ids)-1])
	require.True(t, slices.IsSortedFunc(tasks, func(a, b item) int { return strings.Compare(a.ID, b.ID) }))
	require.True(t, strings.HasPrefix(tasks[0].ID, ids[len(ids)-1]+"."))
}

// What a hospital sends beside bookings is kept, and is nobody's case.
func TestOtherResourcesAreKept(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	mark, before := h.mark(), h.everything()
	for _, r := range []res{
		{"resourceType": "Practitioner", "identifier": numbered("https://staff.larkspindle.example/id", "S-1"), "active": true},
		{"resourceType": "Location", "status": "active", "name": "North theatre"},
		{"resourceType": "RelatedPerson", "patient": ref(b.patient), "active": true},
		{"resourceType": "CareTeam", "status": "active", "subject": ref(b.patient)},
		person("1").with("gender", "other").with("identifier", nil),
	} {
		got := h.put(r["resourceType"].(string), r)
		require.True(t, got.Created)
		require.Equal(t, string(got.Stored.Body), string(h.get(name(got.Stored)).Raw))
	}
	after := h.everything()
	for _, table := range []string{"care_case", "item", "item_version", "outbox"} {
		require.Equal(t, before[table], after[table], table)
	}
	require.Empty(t, h.after(mark))
}

func TestNothingIsThere(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	task := h.items(b.plan)[0].ID
	for _, row := range []struct {
		typ, id string
		version int64 // 0: the current one
	}{
		{"Appointment", "nothing", 0}, {"Task", "nothing", 0}, {"Task", b.plan + ".9999", 0}, {"Task", b.plan + ".1", 0},
		{"Appointment", strings.TrimPrefix(b.appointment, "Appointment/"), 2}, {"Task", task, 2}, {"Task", task, -1},
		{"Patient", strings.TrimPrefix(b.appointment, "Appointment/"), 0},
	} {
		t.Run(row.typ, func(t *testing.T) {
			var err error
			if row.version == 0 {
				_, err = h.office.Get(context.Background(), row.typ, row.id)
			} else {
				_, err = h.office.Version(context.Background(), row.typ, row.id, row.version)
			}
			require.ErrorIs(t, err, ErrNotFound)
			var r *Refusal
			require.True(t, errors.As(err, &r))
			require.Equal(t, "not-found", r.Issues[0].Code)
		})
	}
}
