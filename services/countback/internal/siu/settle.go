package siu

import (
	"fmt"
	"slices"

	"example.org/countback/pkg/hl7"
)

// Held is a resource that is held, as far as it matters here.
type Held struct {
	ID      string
	Systems []string // of its identifiers
}

// Lookup gives the resources of a type that carry an identifier.
type Lookup func(typ, system, value string) ([]Held, error)

// Settle decides, where a message gives several identifiers of one thing, by which
// of them it is known, as a conditional request has room for one only:
//
//   - a patient who is held under a later identifier of PID-3 and not under the
//     first is that patient, and no second person. Identifiers of different people
//     are refused;
//   - a booking that is held under SCH-1 alone, from a time when it had no number
//     of the theatre, is that booking. One that has another number of the theatre
//     is another booking of the same request.
//
// An error is [hl7.Faults], or that of the lookup.
func (t *Transaction) Settle(look Lookup) error {
	for n := range t.entries {
		e := &t.entries[n]
		if len(e.also) == 0 {
			continue
		}
		settle := e.person
		if e.replaces {
			settle = e.booking
		}
		if err := settle(look); err != nil {
			return err
		}
	}
	return nil
}

func (e *entry) lookup(look Lookup, id identifier) ([]Held, error) {
	return look(fmt.Sprint(e.resource["resourceType"]), id.system, id.value)
}

// person takes the identifier under which exactly one is held.
func (e *entry) person(look Lookup) error {
	key, who := e.key, ""
	for _, id := range append([]identifier{e.key}, e.also...) {
		held, err := e.lookup(look, id)
		if err != nil {
			return err
		}
		for _, h := range held {
			if who != "" && who != h.ID {
				return hl7.Faults{{At: e.at, Code: hl7.CodeDuplicateKey, Text: "has identifiers that belong to different people here: nobody can tell whose booking it is"}}
			}
			if who == "" {
				key, who = id, h.ID
			}
		}
	}
	e.key = key
	return nil
}

// booking takes another identifier where nothing is held under the first.
func (e *entry) booking(look Lookup) error {
	held, err := e.lookup(look, e.key)
	if err != nil || len(held) > 0 {
		return err
	}
	for _, id := range e.also {
		held, err := e.lookup(look, id)
		if err != nil {
			return err
		}
		if len(held) == 1 && !slices.Contains(held[0].Systems, e.key.system) {
			e.key = id
			return nil
		}
	}
	return nil
}
