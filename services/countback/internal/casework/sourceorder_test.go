package casework

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

const theatre = "https://theatre.larkspindle.example"

// dated gives a resource the order of its source.
func dated(r res, when string, version ...string) res {
	meta := res{"source": theatre}
	if when != "" {
		meta["lastUpdated"] = localTime(when)
	}
	if len(version) > 0 {
		meta["versionId"] = version[0]
	}
	return r.with("meta", meta)
}

// theatreSends books somebody and gives what sends more of the booking.
func theatreSends(h *house) (patient string, send func(day, status, when string, version ...string) Result) {
	h.t.Helper()
	patient = "Patient/one" // the same in every house: which of two messages wins goes by what they say
	h.put(patient, person("1").with("id", "one"))
	return patient, func(day, status, when string, version ...string) Result {
		h.t.Helper()
		a := appointment("1", patient, day).with("status", status)
		return h.put("Appointment", dated(a, when, version...))
	}
}

func (h *house) feed(source string) Feed {
	h.t.Helper()
	list, err := h.office.Feeds(context.Background())
	require.NoError(h.t, err)
	for _, f := range list {
		if f.Source == source {
			return f
		}
	}
	require.Fail(h.t, "no such feed", source)
	return Feed{}
}

// What is older by its source's order changes nothing, whenever it arrives; it
// is kept in the archive, and its sender is given what counts.
func TestOlderMessageArrivesLater(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	now := send("2027-02-01", "booked", "2026-09-08 10:10")
	before, mark := h.everything(), h.mark()
	h.set("2026-09-09 08:00")
	late := send(surgery, "booked", "2026-09-08 10:05")
	require.True(t, late.Superseded)
	require.False(t, late.Changed)
	require.True(t, strings.HasPrefix(late.Note, "superseded: "), late.Note)
	require.Equal(t, now.Stored, late.Stored, "the current version is what is answered with")
	require.Empty(t, h.after(mark))
	after := h.everything()
	require.NotEqual(t, before["received"], after["received"], "it is kept")
	require.NotEqual(t, before["feed"], after["feed"], "and counted")
	for _, table := range []string{"received", "feed"} {
		delete(before, table)
		delete(after, table)
	}
	require.Equal(t, before, after)
	require.EqualValues(t, 1, h.feed(theatre).Superseded)
	require.Contains(t, string(h.caseRow(h.onlyCase(patient).ID).Data), `"day":"2027-02-01"`)
}

// Called off before it was heard of at all: the later booking, older by its own
// order, opens nothing.
func TestCancelledBeforeItWasBooked(t *testing.T) {
	for _, called := range []string{"cancelled", "entered-in-error", "noshow"} {
		t.Run(called, func(t *testing.T) {
			h := newHouse(t)
			patient, send := theatreSends(h)
			require.True(t, send(surgery, called, "2026-09-08 10:10").Created)
			require.True(t, send(surgery, "booked", "2026-09-08 10:05").Superseded)
			require.Empty(t, h.cases(patient))
			require.False(t, send(surgery, "booked", "2026-09-08 10:15").Superseded, "booked anew")
			h.onlyCase(patient)
		})
	}
}

func TestOrderOfOneSource(t *testing.T) {
	const early, later = "2026-09-08 10:05", "2026-09-08 10:10"
	for _, row := range []struct {
		name        string
		first, then []string // lastUpdated, versionId
		superseded  bool
	}{
		{"later", []string{early}, []string{later}, false},
		{"earlier", []string{later}, []string{early}, true},
		{"same time, higher version", []string{early, "9"}, []string{early, "10"}, false},
		{"same time, lower version: as numbers, not as texts", []string{early, "10"}, []string{early, "9"}, true},
		{"time goes before version", []string{later, "1"}, []string{early, "2"}, true},
		{"versions alone", []string{"", "12"}, []string{"", "11"}, true},
		{"versions alone, higher", []string{"", "12"}, []string{"", "13"}, false},
		{"a version that is no number is no order", []string{"", "b"}, []string{"", "a"}, false},
		{"nothing in common to compare by: as it arrives", []string{later}, []string{"", "3"}, false},
		{"no order: as it arrives", []string{""}, []string{""}, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			_, send := theatreSends(h)
			send(surgery, "booked", row.first[0], row.first[1:]...)
			got := send("2027-02-01", "booked", row.then[0], row.then[1:]...)
			require.Equal(t, row.superseded, got.Superseded)
			require.Equal(t, !row.superseded, got.Changed)
		})
	}
}

// Two messages of one and the same order that do not agree: the same one counts
// in either order of arrival, and a person is asked until a later one comes.
func TestSameOrderOtherContent(t *testing.T) {
	days := []string{surgery, "2027-02-01"}
	var won []string
	for _, first := range []int{0, 1} {
		h := newHouse(t)
		patient, send := theatreSends(h)
		send(days[first], "booked", "2026-09-08 10:05")
		mark := h.mark()
		second := send(days[1-first], "booked", "2026-09-08 10:05")
		require.True(t, strings.HasPrefix(second.Note, "conflict: "), second.Note)
		c := h.onlyCase(patient)
		require.EqualValues(t, 1, h.feed(theatre).Conflicts)
		for _, day := range days {
			if strings.Contains(string(h.caseRow(c.ID).Data), `"day":"`+day+`"`) {
				won = append(won, day)
			}
		}
		asked := h.step(c.ID, "link-booking")
		require.Equal(t, "requested", asked.Status)
		require.Contains(t, string(h.get("Task/"+asked.ID).Raw), "do not agree")
		require.Contains(t, string(h.get("CarePlan/"+c.ID).Raw), "do not agree", "whoever reads the plan is told")
		require.Contains(t, h.steps(h.after(mark), event.TasksOpened), "link-booking")

		// Both again change nothing more.
		before := h.everything()
		for _, n := range []int{0, 1, 0} {
			send(days[n], "booked", "2026-09-08 10:05")
		}
		after := h.everything()
		for _, table := range []string{"received", "feed"} {
			delete(before, table)
			delete(after, table)
		}
		require.Equal(t, before, after)

		mark = h.mark()
		send("2027-02-08", "booked", "2026-09-08 10:06")
		require.Equal(t, "cancelled", h.step(c.ID, "link-booking").Status, "nothing is left to ask")
		require.Contains(t, h.steps(h.after(mark), event.TasksCancelled), "link-booking")
	}
	require.Len(t, won, 2)
	require.Equal(t, won[0], won[1])
}

// A dispute that a person settled is not asked again, but another one is.
func TestASettledDispute(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	send(surgery, "booked", "2026-09-08 10:05")
	send("2027-02-01", "booked", "2026-09-08 10:05")
	c := h.onlyCase(patient)
	require.Equal(t, "done", h.work(c.ID, "link-booking", done("2026-09-08"), owner("Idony Quillwright")).State)
	send("2027-02-08", "booked", "2026-09-08 10:15")
	h.set("2026-09-08 10:30")
	send("2027-02-09", "booked", "2026-09-08 10:15")
	rounds := h.rounds(c.ID, "link-booking")
	require.Len(t, rounds, 2)
	require.Equal(t, []string{"done", "requested"}, []string{rounds[0].State, rounds[1].Status})
}

// A fact in dispute is asked about, and the later word on a fact counts.
func TestFactsFollowTheOrderOfTheirSource(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	fact := func(status, when string) Result {
		f := res{
			"resourceType": "Condition", "identifier": numbered("https://wards.larkspindle.example/condition", "C-1"), "subject": ref(b.patient),
			"code":               coded(snomed, "128045006"),
			"clinicalStatus":     coded("http://terminology.hl7.org/CodeSystem/condition-clinical", "active"),
			"verificationStatus": coded("http://terminology.hl7.org/CodeSystem/condition-ver-status", status),
		}
		return h.put("Condition", dated(f, when))
	}
	require.True(t, fact("refuted", "2026-09-08 10:10").Changed)
	require.True(t, fact("confirmed", "2026-09-08 10:05").Superseded)
	require.Equal(t, "on-track", h.caseRow(b.plan).State, "refuted before it was heard of")
	fact("confirmed", "2026-09-08 10:15")
	require.Equal(t, "held", h.caseRow(b.plan).State)
	fact("provisional", "2026-09-08 10:15")
	require.Equal(t, "requested", h.step(b.plan, "link-booking").Status)
}

// A time too far ahead is not trusted: such a message counts as it arrives, and
// what comes after it, with a true time, is not held back for days.
func TestATimeInTheFuture(t *testing.T) {
	for _, row := range []struct {
		ahead   time.Duration
		trusted bool
	}{{5 * time.Minute, true}, {5*time.Minute + time.Second, false}} {
		h := newHouse(t)
		_, send := theatreSends(h)
		send(surgery, "booked", "2026-09-08 10:05")
		stamp := at(bookedAt).Add(row.ahead).Format("2006-01-02 15:04:05")
		require.True(t, send("2027-02-01", "booked", stamp).Changed, "accepted")
		require.Equal(t, row.trusted, send("2027-02-08", "booked", "2026-09-08 10:20").Superseded)
		require.Equal(t, !row.trusted, h.feed(theatre).Ahead == 1)
	}
}

// If-Match is always obeyed: one that matches is an edit and wins whatever time
// it bears, but the source's later messages are still compared with its latest.
func TestAnEditWins(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	held := send(surgery, "booked", "2026-09-08 10:10")
	edit := dated(appointment("1", patient, "2027-02-01").with("id", held.Stored.ID), "2026-09-08 10:05")
	h.refuses(refusal{ErrVersion, "conflict", "Appointment"}, delivery(t, "Appointment/"+held.Stored.ID, edit.json(), ifMatch(`W/"7"`)))
	require.True(t, h.put("Appointment/"+held.Stored.ID, edit, ifMatch(`W/"1"`)).Changed)
	require.True(t, send("2027-02-08", "booked", "2026-09-08 10:09").Superseded)
	require.False(t, send(surgery, "booked", "2026-09-08 10:10").Changed, "a repeat does not undo the edit")
	require.True(t, send("2027-02-08", "booked", "2026-09-08 10:11").Changed)
}

// What a client read here and sends back changed carries our own meta, which is
// no order of its source.
func TestReadChangedAndSentBack(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	held := send(surgery, "booked", "2026-09-08 10:21")
	h.set("2026-09-08 10:40")
	second := send(surgery, "pending", "2026-09-08 10:39")
	require.EqualValues(t, 2, second.Stored.Version)
	for _, read := range []Result{held, second} { // also by one who read it earlier
		body := strings.Replace(string(read.Stored.Body), `"description"`, `"comment":"`+read.Stored.Updated.String()+`","description"`, 1)
		out, err := h.receive(delivery(t, "Appointment/"+held.Stored.ID, body))
		require.NoError(t, err)
		require.True(t, out[0].Changed)
	}
	require.True(t, send(surgery, "booked", "2026-09-08 10:38").Superseded, "the source stands where it stood")
	require.True(t, send(surgery, "booked", "2026-09-08 10:40").Changed)
	require.NotEmpty(t, patient)
}

// Each source has its own order; between two, what arrives last counts.
func TestTwoSources(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	send(surgery, "booked", "2026-09-08 10:10")
	desk := appointment("1", patient, "2027-02-01").with("meta", res{"source": "https://desk.larkspindle.example#msg-17", "lastUpdated": localTime("2026-09-08 09:00")})
	require.True(t, h.put("Appointment", desk).Changed)
	require.False(t, send(surgery, "booked", "2026-09-08 10:10").Changed, "a repeat does not win against what came since")
	require.True(t, send("2027-02-08", "booked", "2026-09-08 10:11").Changed)
	require.False(t, h.put("Appointment", desk).Changed)
	require.EqualValues(t, 2, h.feed("https://desk.larkspindle.example").Messages, "the fragment names the message, not the source")
}

// Who sent it, where it does not say so itself.
func TestNameOfTheSource(t *testing.T) {
	for _, row := range []struct {
		name, want string
		change     func(res) res
	}{
		{"itself", theatre, func(r res) res { return dated(r, "") }},
		{"the identifier's system", bookingSystem, func(r res) res { return r }},
		{"nothing", "unnamed", func(r res) res { return r.with("identifier", nil).with("status", "proposed") }},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			patient := name(h.put("Patient", person("1")).Stored)
			d := delivery(t, "Appointment", row.change(codeless("1", patient, surgery)).json())
			_, err := h.receive(d)
			require.NoError(t, err)
			require.EqualValues(t, 1, h.feed(row.want).Messages)
		})
	}
}

// A transaction carries what is out of date along with what is not.
func TestATransactionThatIsPartlyOld(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	send("2027-02-01", "booked", "2026-09-08 10:10")
	p, b := person("1"), dated(appointment("1", personURN, surgery), "2026-09-08 10:05")
	out, err := h.receive(delivery(t, "", transaction(
		entry{name: personURN, target: "Patient", ifNoneExist: strings.TrimPrefix(by(p), "Patient?"), resource: p},
		entry{name: bookingURN, target: by(b), resource: b},
		entry{target: "Encounter", resource: stay("1", patient, bookingURN, "planned", "", "")})))
	require.NoError(t, err)
	require.True(t, out[1].Superseded)
	require.True(t, out[2].Created)
	require.Equal(t, name(out[1].Stored), parse(t, out[2].Stored.Body).Get("appointment").Item(0).String("reference"))
	require.Equal(t, name(out[1].Stored), h.onlyCase(patient).Key)
}

// A source that has been silent for longer than it may be is named; so is one
// that was never heard from and should have been. What was refused is counted.
func TestFeeds(t *testing.T) {
	h := newHouse(t)
	h.office.silent, h.office.awaited = 24*time.Hour, []string{"https://laboratory.larkspindle.example"}
	_, send := theatreSends(h)
	send(surgery, "booked", "2026-09-08 10:10")
	h.set("2026-09-09 10:22")
	require.False(t, h.feed(theatre).Silent, "a day is not longer than a day")
	h.set("2026-09-09 10:23")
	f := h.feed(theatre)
	require.True(t, f.Silent)
	require.Equal(t, 24*time.Hour+time.Minute, f.Age)
	require.Equal(t, []time.Time{at(bookedAt).UTC(), at(bookedAt).UTC(), at("2026-09-08 10:10").UTC()}, []time.Time{f.First, f.Last, f.Newest})
	lab := h.feed("https://laboratory.larkspindle.example")
	require.True(t, lab.Silent)
	require.True(t, lab.Last.IsZero())

	_, err := h.receive(delivery(t, "Appointment", dated(appointment("2", "Patient/nobody", surgery).with("identifier", nil).with("participant", []res{{"actor": ref(h.store(person("2"))), "status": "accepted"}}), "").json()))
	require.ErrorIs(t, err, ErrInvalid)
	require.EqualValues(t, 1, h.feed(theatre).Refused)
	require.EqualValues(t, 1, h.feed(theatre).Messages, "nothing of it is stored")
	send(surgery, "booked", "2026-09-08 10:10")
	require.False(t, h.feed(theatre).Silent, "a repeat is a sign of life")
}
