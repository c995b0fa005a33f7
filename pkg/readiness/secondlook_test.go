package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// lookable is decidable with the step that asks for a second look, and the hold for
// what nobody looked at.
func lookable(t *testing.T) *readiness.Protocol {
	was := decidable(t)
	look := step("look", readiness.Window{})
	look.Trigger = readiness.TriggerLateSigned
	p := protocol(t, append(was.Steps, look)...)
	p.UndatedDecision, p.Horizon, p.ItemHolds = was.UndatedDecision, was.Horizon, was.ItemHolds
	p.ItemHolds[0].Unseen = "unseen"
	return p
}

// pillSigned is a case of which the last dose, Fri 27 November by its only rule, is
// signed on 16 November.
func pillSigned(t *testing.T, cal *calendar.Calendar, change func(*readiness.Entry)) readiness.Case {
	c := onPill(t, cal)
	c.Medicines[0].Rules[0].Sources = []readiness.Source{{Text: "A guideline", Mark: "seen"}}
	e := doneOn(day(t, "2026-11-16"), c)
	e.By, e.Reason = "Dr Example", "a valve."
	change(&e)
	c.Entries[ofPill("sign", 1)] = e
	return c
}

func onDay(d calendar.Date) func(*readiness.Entry) {
	return func(e *readiness.Entry) { e.Decided, e.Signed = readiness.DecidedLastDose, readiness.Moment{Day: d} }
}

// asItems are the items that a plan would hold of what was raised.
func asItems(p *readiness.Protocol, raised ...readiness.Raised) (out []readiness.Item) {
	for n := range raised {
		if raised[n].Trigger == readiness.TriggerLateSigned {
			out = append(out, readiness.Item{Key: readiness.Key{Step: "look", Repeat: raised[n].Key, Round: 1}, Step: p.Step("look"), Raised: &raised[n]})
		}
	}
	return out
}

// Which signatures a second person has to look at, in which words, and until when
// that is of use.
func TestWhichSignaturesAreLookedAt(t *testing.T) {
	cal := chicago(t)
	goOn := func(e *readiness.Entry) { e.Decided = readiness.DecidedGoOn }
	const ends = " The rule: Two days. Source: A guideline (seen). Signed by Dr Example: a valve."
	const surgery = "; surgery is on Mon 30 Nov 2026 07:30 CST."
	slow := medicineConditions(t)("slow")
	for _, r := range []struct {
		name   string
		sign   func(*readiness.Entry)
		change func(*readiness.Case)
		why    string // empty: nobody has to
		gives  string
		end    string // empty: when the operation begins
	}{
		{name: "a day later", sign: onDay(day(t, "2026-11-28")), gives: "2026-11-27",
			why: "For Pill the last dose is signed by Sat 28 Nov 2026, the rules give Fri 27 Nov 2026" + surgery + ends},
		{name: "the rule's own day", sign: onDay(day(t, "2026-11-27"))},
		{name: "a day sooner", sign: onDay(day(t, "2026-11-26"))},
		{name: "no day of its own", sign: func(*readiness.Entry) {}},
		{name: "goes on", sign: goOn, gives: "2026-11-27", why: "For Pill it is signed that it goes on as usual, the rules give Fri 27 Nov 2026" + surgery + ends},
		{name: "is not taken", sign: func(e *readiness.Entry) { e.Decided = readiness.DecidedNotTaken }},
		{name: "goes on, and the rule leaves it to an expert", sign: goOn, change: func(c *readiness.Case) {
			c.Medicines[0].Rules[0].Does, c.Medicines[0].Rules[0].Decides = readiness.MedicineSpecialist, "the expert"
		}},
		{name: "goes on, and the rules have no day for it", sign: goOn, change: func(c *readiness.Case) {
			c.Medicines[0].Rules[0] = &readiness.MedicineRule{Title: "Goes on", Does: readiness.MedicineContinue}
		}},
		{name: "goes on while a fact is missing", sign: goOn, change: func(c *readiness.Case) { c.Medicines[0].Rules[0].Condition = slow }, gives: "2026-11-27",
			why: "For Pill it is signed that it goes on as usual, and while facts are missing the rules may give Fri 27 Nov 2026" + surgery + ends},
		{name: "later than what is given if it is stopped at all", sign: onDay(day(t, "2026-11-28")), gives: "2026-11-27", change: func(c *readiness.Case) {
			c.Medicines[0].Rules[0].Does, c.Medicines[0].Rules[0].Decides = readiness.MedicineChoice, "the prescriber"
		}, why: "For Pill the last dose is signed by Sat 28 Nov 2026, and if it is stopped at all, the rules give Fri 27 Nov 2026" + surgery + ends},
		{name: "nobody is named, without a reason", sign: func(e *readiness.Entry) { goOn(e); e.By, e.Reason = "", "" }, gives: "2026-11-27",
			why: "For Pill it is signed that it goes on as usual, the rules give Fri 27 Nov 2026" + surgery + " The rule: Two days. Source: A guideline (seen). Signed by a prescriber who is not named."},
		{name: "the hour of surgery is not known", sign: goOn, change: func(c *readiness.Case) { c.Start = time.Time{} }, gives: "2026-11-27", end: "2026-12-01 00:00",
			why: "For Pill it is signed that it goes on as usual, the rules give Fri 27 Nov 2026; surgery is on Mon 30 Nov 2026." + ends},
		{name: "for another date of surgery", sign: func(e *readiness.Entry) { goOn(e); e.For = map[string]string{readiness.DetailDate: "2026-11-23"} }},
		{name: "the case was called off", sign: goOn, change: func(c *readiness.Case) { c.Ending = readiness.Cancelled }},
		{name: "it has no day now", sign: goOn, change: func(c *readiness.Case) { c.Day = 0 }},
		{name: "the person went home", sign: goOn, change: func(c *readiness.Case) { c.Left = clock(t, cal, "2026-11-17 09:00") }},
		{name: "the medicine has no key", sign: goOn, change: func(c *readiness.Case) { c.Medicines[0].Key = "" }},
	} {
		t.Run(r.name, func(t *testing.T) {
			p, c := lookable(t), pillSigned(t, cal, r.sign)
			if r.change != nil {
				r.change(&c)
			}
			now := clock(t, cal, "2026-11-17 09:00")
			next := c.SecondLooks(readiness.Before{}, p, cal, now)
			if r.why == "" {
				require.Empty(t, c.Raised)
				require.True(t, next.IsZero())
				return
			}
			require.Len(t, c.Raised, 1)
			is := c.Raised[0]
			require.Equal(t, []string{readiness.TriggerLateSigned, "pill@1", r.why, r.gives}, []string{is.Trigger, is.Key, is.Why, show(is.Dose)})
			require.Equal(t, []any{c.Day, now}, []any{is.For, is.At})
			end := c.Start
			if r.end != "" {
				end = clock(t, cal, r.end)
			}
			require.Equal(t, end, next)

			// Once the operation has begun it can be changed no more; of a case that is held
			// it is asked until somebody says that the person came.
			c.Raised = nil
			require.NotZero(t, c.SecondLooks(readiness.Before{}, p, cal, end.Add(-time.Minute)))
			require.Len(t, c.Raised, 1)
			c.Raised = nil
			require.Zero(t, c.SecondLooks(readiness.Before{}, p, cal, end))
			c.Held = true
			require.False(t, c.DropLooks(cal, end))
			require.Len(t, c.Raised, 1)
			c.Arrived = end
			require.True(t, c.DropLooks(cal, end))
			require.Empty(t, c.Raised)
			c.Held, c.Arrived = false, time.Time{}
			c.SecondLooks(readiness.Before{}, p, cal, end)
			require.False(t, c.DropLooks(cal, end.Add(-time.Minute)))
			require.True(t, c.DropLooks(cal, end))
			require.Empty(t, c.Raised)
		})
	}
}

// What was asked is asked once, in the words of now, until somebody looked; another
// signature is another question.
func TestASignatureIsAskedAboutOnce(t *testing.T) {
	cal := chicago(t)
	p := lookable(t)
	first := clock(t, cal, "2026-11-17 09:00")
	later := clock(t, cal, "2026-11-18 09:00")
	signed := func(on string) readiness.Case { return pillSigned(t, cal, onDay(day(t, on))) }
	c := signed("2026-11-28")
	c.SecondLooks(readiness.Before{}, p, cal, first)
	asked := asItems(p, c.Raised...)

	c = signed("2026-11-28")
	c.Start = c.Start.Add(time.Hour)
	c.SecondLooks(readiness.Before{Items: asked}, p, cal, later)
	require.Len(t, c.Raised, 1)
	require.Equal(t, []any{"pill@1", first}, []any{c.Raised[0].Key, c.Raised[0].At}, "since it was first asked")
	require.Contains(t, c.Raised[0].Why, "Mon 30 Nov 2026 08:30 CST")

	other := signed("2026-11-29")
	other.SecondLooks(readiness.Before{Items: asked}, p, cal, later)
	require.Len(t, other.Raised, 1)
	require.Equal(t, []any{"pill@1-2", later}, []any{other.Raised[0].Key, other.Raised[0].At})

	// Another medicine's question, one of another kind and a second round say nothing.
	strange := asItems(p, readiness.Raised{Trigger: readiness.TriggerLateSigned, Key: "tablet@1", About: asked[0].Raised.About, At: first})
	again := asked[0]
	again.Key.Round = 2
	elsewhere := asked[0]
	elsewhere.Key.Step = "release"
	bare := asked[0]
	bare.Raised = nil
	c = signed("2026-11-28")
	c.SecondLooks(readiness.Before{Items: append(strange, again, elsewhere, bare)}, p, cal, later)
	require.Len(t, c.Raised, 1)
	require.Equal(t, []any{"pill@1", later}, []any{c.Raised[0].Key, c.Raised[0].At})

	for _, look := range []readiness.Look{readiness.Agreed, readiness.NotAgreed} {
		c = signed("2026-11-28")
		c.Entries[asked[0].Key] = readiness.Entry{Outcome: readiness.Done, Look: look, By: "Dr Second"}
		require.Zero(t, c.SecondLooks(readiness.Before{Items: asked}, p, cal, later), look)
		require.Len(t, c.Raised, 1, "what was answered stays")
		require.Equal(t, []any{"pill@1", first, asked[0].Raised.Why}, []any{c.Raised[0].Key, c.Raised[0].At, c.Raised[0].Why})
		pl := readiness.Make(&c, p, cal, later)
		round := 1
		if look == readiness.NotAgreed {
			round = 2
		}
		last := readiness.Item{}
		for _, i := range pl.Items {
			if i.Key.Step == "sign" {
				last = i
			}
		}
		require.Equal(t, round, last.Key.Round, "a signature that was not agreed to is asked for again")
	}
}

// A signature that nobody else looked at holds from the end of the day that the rules
// give.
func TestAnUnseenSignatureHolds(t *testing.T) {
	cal := chicago(t)
	for _, r := range []struct {
		name   string
		change func(p *readiness.Protocol, c *readiness.Case)
		holds  bool
	}{
		{"nobody looked", nil, true},
		{"somebody agreed", func(_ *readiness.Protocol, c *readiness.Case) {
			c.Entries[readiness.Key{Step: "look", Repeat: "pill@1", Round: 1}] = readiness.Entry{Outcome: readiness.Done, Look: readiness.Agreed}
		}, false},
		{"somebody answered another question", func(_ *readiness.Protocol, c *readiness.Case) {
			c.Entries[readiness.Key{Step: "look", Repeat: "pill@1-2", Round: 1}] = readiness.Entry{Outcome: readiness.Done, Look: readiness.Agreed}
		}, true},
		{"it could not be done", func(_ *readiness.Protocol, c *readiness.Case) {
			c.Entries[readiness.Key{Step: "look", Repeat: "pill@1", Round: 1}] = readiness.Entry{Outcome: readiness.Failed}
		}, true},
		{"the rule says nothing of it", func(p *readiness.Protocol, _ *readiness.Case) { p.ItemHolds[0].Unseen = "" }, false},
		{"what was raised is of another kind", func(_ *readiness.Protocol, c *readiness.Case) { c.Raised[0].Trigger = readiness.TriggerMove }, false},
		{"it is about another medicine", func(_ *readiness.Protocol, c *readiness.Case) { c.Raised[0].Key = "tablet@1" }, false},
		{"it was about another date", func(_ *readiness.Protocol, c *readiness.Case) { c.Raised[0].For = c.Raised[0].For.Add(-7) }, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			p, c := lookable(t), pillSigned(t, cal, onDay(day(t, "2026-11-29")))
			c.SecondLooks(readiness.Before{}, p, cal, clock(t, cal, "2026-11-17 09:00"))
			if r.change != nil {
				r.change(p, &c)
			}
			says := func(when string) (out []string, next time.Time) {
				now := clock(t, cal, when)
				grounds, next := readiness.ItemGrounds(readiness.Make(&c, p, cal, now), &c, p, cal, now)
				for _, g := range grounds {
					if g.Record == "item:last/pill@unseen-pill@1" {
						out = append(out, g.Says)
					}
				}
				return out, next
			}
			before, next := says("2026-11-27 23:59")
			require.Empty(t, before)
			after, _ := says("2026-11-28 00:00")
			if !r.holds {
				require.Empty(t, after)
				return
			}
			require.Equal(t, clock(t, cal, "2026-11-28 00:00"), next, "the tick finds it")
			require.Equal(t, []string{"Pill, title of last (by Sun 29 Nov 2026): unseen"}, after)
		})
	}
}

// SignedAs tells signatures apart by all that is signed.
func TestSignaturesAreToldApart(t *testing.T) {
	cal := chicago(t)
	entry := func(change func(*readiness.Entry)) *readiness.Entry {
		e := readiness.Entry{Decided: readiness.DecidedLastDose, By: "Dr Example", For: map[string]string{readiness.DetailDate: theDay},
			Signed: readiness.Moment{Day: day(t, "2026-11-28"), At: clock(t, cal, "2026-11-28 08:00")}}
		change(&e)
		return &e
	}
	same := entry(func(*readiness.Entry) {}).SignedAs(1)
	require.Equal(t, same, entry(func(e *readiness.Entry) { e.Signed.At = e.Signed.At.UTC() }).SignedAs(1))
	require.Equal(t, same, entry(func(e *readiness.Entry) { e.Reason = "another" }).SignedAs(1))
	require.NotEqual(t, same, entry(func(*readiness.Entry) {}).SignedAs(2))
	for _, change := range []func(*readiness.Entry){
		func(e *readiness.Entry) { e.By = "Dr Other" },
		func(e *readiness.Entry) { e.Decided = readiness.DecidedGoOn },
		func(e *readiness.Entry) { e.Signed.At = time.Time{} },
		func(e *readiness.Entry) { e.Signed.At = e.Signed.At.Add(time.Hour) },
		func(e *readiness.Entry) { e.Signed.Day = e.Signed.Day.Add(1) },
		func(e *readiness.Entry) { e.For[readiness.DetailDate] = "2026-12-07" },
	} {
		require.NotEqual(t, same, entry(change).SignedAs(1))
	}
}
