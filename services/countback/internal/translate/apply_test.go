package translate

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// TestApplied renders every example plan as the answer of $apply: one action for
// each item that may still be part of it, each with its Task.
func TestApplied(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	for name, v := range examplePlans(t, f, p) {
		t.Run(name, func(t *testing.T) {
			body, err := f.Applied(AppliedView{Booking: v.Booking, Plan: v.Plan, Held: v.Booking.Members[:1], Now: v.Created}, p)
			require.NoError(t, err)
			r := parse(t, body)
			require.Equal(t, []string{"", "draft", "proposal"}, []string{r.ID(), r.String("status"), r.String("intent")})
			require.Equal(t, 1, r.Get("supportingInfo").Len())
			want := map[string]bool{}
			for n := range v.Plan.Items {
				i := &v.Plan.Items[n]
				if i.Applies != readiness.No && i.State != readiness.Needless {
					want[i.Key.Step] = true
				}
			}
			got := map[string]bool{}
			group := r.Contained("plan")
			for _, a := range group.Get("action").Items() {
				id := a.String("id")
				require.False(t, got[id], "%s twice", id)
				got[id] = true
				task := r.Contained(a.String("resource", "reference")[1:])
				require.Equal(t, "option", task.String("intent"))
				require.Empty(t, task.String("meta", "versionId"), "dom-4: what is contained has no version")
				require.True(t, a.Get("timingPeriod").Equal(task.Get("restriction", "period")))
			}
			require.Equal(t, want, got)
		})
	}
}

func TestActionIDs(t *testing.T) {
	items := []readiness.Item{}
	var ids []string
	for _, k := range []readiness.Key{
		{Step: "check", Round: 1}, {Step: "stop", Repeat: "b", Round: 1}, {Step: "stop", Repeat: "b", Round: 2}, {Step: "stop", Repeat: "a", Round: 1}, {Step: "stop", Repeat: "c", Round: 1},
	} {
		ids = append(ids, actionID(k, items))
		items = append(items, readiness.Item{Key: k})
	}
	require.Equal(t, []string{"check", "stop", "stop", "stop.2", "stop.3"}, ids)
}

func TestReplacedRoundsAreLeftOut(t *testing.T) {
	pl := &readiness.Plan{Items: []readiness.Item{
		{Key: readiness.Key{Step: "visit", Round: 1}, State: readiness.Expired, Applies: readiness.Yes},
		{Key: readiness.Key{Step: "visit", Round: 2}, State: readiness.Open, Applies: readiness.Yes, Replaces: 1},
		{Key: readiness.Key{Step: "pets", Round: 1}, State: readiness.Needless, Applies: readiness.Unknown},
		{Key: readiness.Key{Step: "bags", Round: 1}, State: readiness.StateDone, Applies: readiness.No},
		{Key: readiness.Key{Step: "call", Round: 1}, State: readiness.Upcoming, Applies: readiness.Unknown},
	}}
	var got []bool
	for n := range pl.Items {
		got = append(got, asked(pl, n))
	}
	require.Equal(t, []bool{false, true, false, false, true}, got)
}

// TestSuppose says what may be asked of a booking as it stands.
func TestSuppose(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	const elsewhere = "2027-01-11"
	for _, r := range []struct {
		name      string
		q         Question
		change    func(*Booking)
		unknown   bool // no case was opened for it
		parameter string
		text      string
	}{
		{"another day", Question{Surgery: elsewhere}, nil, false, "", ""},
		{"nothing else", Question{}, nil, false, "", ""},
		{"no operation of ours", Question{Surgery: elsewhere}, func(b *Booking) { b.Meets, b.Reason = false, "a revision" }, true, "", "no operation that is planned for here: a revision"},
		{"called off", Question{Surgery: elsewhere}, func(b *Booking) { b.Case.Ending = readiness.NoShow }, false, "", "did not come"},
		{"performed", Question{Surgery: elsewhere}, func(b *Booking) { b.Awaits = false }, true, "", "already performed"},
		{"arrived", Question{Surgery: elsewhere}, func(b *Booking) { b.Case.Arrived = f.clock(t, "2026-11-10 08:00") }, false, "surgery", "has begun"},
		{"arrived, as it is", Question{}, func(b *Booking) { b.Case.Arrived = f.clock(t, "2026-11-10 08:00") }, false, "", ""},
		{"no date", Question{}, func(b *Booking) { b.Case.Day, b.Case.Held = 0, true }, false, "surgery", "no day of surgery yet"},
		{"a date for what has none", Question{Surgery: elsewhere}, func(b *Booking) { b.Case.Day, b.Case.Held = 0, true }, false, "", ""},
		{"heard of too late", Question{}, func(b *Booking) { b.Case.Day, b.Case.Start = date(t, "2026-11-02"), f.clock(t, "2026-11-02 07:30") }, true, "surgery", "had passed"},
		{"today, whose hour is past", Question{Surgery: "2026-11-10"}, nil, false, "surgery", "the hour of the operation on that day is past"},
		{"today, at an hour to come", Question{Surgery: "2026-11-10T15:00:00-06:00"}, nil, false, "", ""},
		{"today, and no hour is known", Question{Surgery: "2026-11-10"}, func(b *Booking) { b.Case.Start = time.Time{} }, false, "", ""},
		{"booked too late", Question{Booked: "2026-12-24"}, nil, false, "booked", "lies after"},
	} {
		t.Run(r.name, func(t *testing.T) {
			v := view(t, f, p, "2026-11-10 09:00", func(b *Booking) {
				b.Awaits = true
				if r.change != nil {
					r.change(b)
				}
			})
			s, objection := f.Suppose(r.q, p, f.clock(t, "2026-11-10 09:00"))
			require.Nil(t, objection)
			before := v.Booking.Case.Day
			objection = f.SupposeOf(v.Booking, s, v.Plan, !r.unknown)
			if r.text == "" {
				require.Nil(t, objection)
				if r.q.Surgery != "" {
					require.Equal(t, r.q.Surgery[:len(elsewhere)], v.Booking.Case.Day.String())
				} else {
					require.Equal(t, before, v.Booking.Case.Day)
				}
				return
			}
			require.NotNil(t, objection)
			require.Equal(t, r.parameter, objection.Name)
			require.Contains(t, objection.Text, r.text)
		})
	}
}

// TestSupposedStay changes the facts of the copy, and not those of the booking
// that it was made from.
func TestSupposedStay(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	v := view(t, f, p, "2026-11-10 09:00", func(b *Booking) { b.Awaits = true })
	facts := v.Booking.Case.Facts
	s, objection := f.Suppose(Question{Stay: p.Stays[0].Code}, p, f.clock(t, "2026-11-10 09:00"))
	require.Nil(t, objection)
	had := facts["stay"]
	require.Nil(t, f.SupposeOf(v.Booking, s, v.Plan, true))
	require.Equal(t, p.Stays[0].Code, v.Booking.Case.Facts["stay"])
	require.Equal(t, p.Stays[0].Code, v.Booking.Case.Details["stay"])
	require.Equal(t, had, facts["stay"])
}
