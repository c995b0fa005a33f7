package oracle

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/translate"
)

// The code and the oracle plan the same for any booking under the default
// protocol, which each of them reads for itself.
func TestDefaultProtocol(t *testing.T) {
	w := theWorld(t)
	definitions, body, err := casework.Definitions()
	require.NoError(t, err)
	resource, issues := fhir.Parse(body, 4<<20)
	require.Empty(t, issues)
	protocol, err := translate.ReadProtocol(resource, definitions)
	require.NoError(t, err)
	rules, err := readRules(body)
	require.NoError(t, err)
	require.Len(t, rules.Steps, len(protocol.Steps))
	near := *protocol.Protocol // a shorter search than the default
	near.Horizon, rules.Horizon = 30, 30
	var things []string // that may void what was done
	for _, s := range rules.Steps {
		for _, thing := range s.Expiry.VoidedBy {
			if !slices.Contains(things, thing) {
				things = append(things, thing)
			}
		}
	}
	check(t, true, func(t *rapid.T) situation {
		f := rapid.SampledFrom(w.facilities).Draw(t, "facility")
		s := situation{name: f.name, place: f.place, calendar: f.calendar, rules: rules, protocol: &near}
		s.c = drawCase(t, f)
		drawFacts(t, &s)
		for _, thing := range things {
			if thing != "side" && one(t, 2, "said") {
				s.c.Under[thing] = "as planned"
			}
		}
		drawEvents(t, f, &s)
		if one(t, 2, "in order") {
			inOrder(t, &s)
		} else {
			drawEntries(t, &s, rapid.IntRange(1, 6).Draw(t, "one entry in"))
			drawRecords(t, &s, rapid.IntRange(2, 12).Draw(t, "one record in"))
		}
		s.now = drawNow(t, s)
		return s
	})
}

func drawFacts(t *rapid.T, s *situation) {
	s.c.Facts = map[string]any{}
	for _, fact := range s.protocol.Facts {
		known := one(t, 2, fact.Name)
		switch {
		case fact.Type == "boolean" && known:
			s.c.Facts[fact.Name] = one(t, 2, fact.Name)
		case fact.Type == "boolean" && fact.Default != nil:
			s.c.Facts[fact.Name] = fact.Default
		case fact.Name == "stay" && s.c.Stay != "":
			s.c.Facts[fact.Name] = s.c.Stay
		}
	}
}

func drawEvents(t *rapid.T, f facility, s *situation) {
	s.c.Repeats = map[string][]string{"medicine": []string{"a", "b", "c"}[:rapid.IntRange(0, 3).Draw(t, "medicines")]}
	for _, step := range s.rules.Steps {
		if step.Trigger != "" && one(t, 3, "event") {
			at := f.instant(t, walk(dayOr(s.c.Surgery, f, s.c.Booked), -rapid.IntRange(-20, 30).Draw(t, "raised")))
			s.c.Events = append(s.c.Events, Event{Name: step.Trigger, Key: "e", At: at})
		}
	}
}

// inOrder has nearly everything done on its due day for the date that stands,
// as in a hospital where all goes well.
func inOrder(t *rapid.T, s *situation) {
	for _, it := range Make(s.place, s.rules, s.c, s.c.Booked).Items {
		if one(t, 40, "forgotten") {
			continue
		}
		done := it.Due.Day
		if done == 0 {
			done = s.place.dateOf(s.c.Booked)
		}
		s.c.Entries = append(s.c.Entries, Entry{
			Code: it.Code, Key: it.Key, Round: it.Round, Kind: "done", Done: done,
			For: s.c.Surgery, ForStart: s.c.Start, Under: s.c.Under,
		})
	}
}
