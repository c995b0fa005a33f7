package siu

import (
	"regexp"
	"slices"
	"strings"

	"example.org/countback/pkg/hl7"
)

// patient reads PID.
func (r *reader) patient() {
	ids, key := r.patientIDs()
	p := object{"resourceType": "Patient", "identifier": objects(ids)}
	set(p, "name", list(personName(r.pid.Field(5).First(), 1)))
	set(p, "gender", genders[strings.ToUpper(r.pid.Value(8, 1))])
	set(p, "telecom", r.phones())
	set(p, "communication", list(r.language()))
	if born := r.pid.Value(7, 1); born != "" {
		t, ok := hl7.ParseTime(born, r.zone)
		if !ok {
			r.fault(r.pid.At(7), hl7.CodeDataType, "is no date")
		}
		p["birthDate"] = t.At.Format("2006-01-02"[:dateLength(t.Digits)])
	}
	if key != nil {
		r.person = r.add(entry{at: r.pid.At(3), resource: p, also: others(ids, *key)}, *key)
	}
}

// dateLength is how much of a date is written, as much as was said.
func dateLength(digits int) int {
	switch {
	case digits >= toTheDay:
		return len("2006-01-02")
	case digits == 6:
		return len("2006-01")
	}
	return len("2006")
}

// patientIDs reads PID-3. The patient is known by the first identifier whose
// system is known; others without one are kept for people to see.
func (r *reader) patientIDs() (ids []identifier, key *identifier) {
	for _, rep := range r.pid.Field(3) {
		id := identifier{value: r.number(rep), kind: rep.Value(5), system: r.o.system(rep.Sub(4, 1), rep.Sub(4, 2), rep.Sub(4, 3))}
		if id.value == "" {
			continue
		}
		ids = append(ids, id)
		if id.system != "" && key == nil {
			key = &id
		}
	}
	at := r.pid.At(3)
	switch {
	case ids == nil:
		r.fault(at, hl7.CodeRequired, "has no identifier: nobody can tell whose booking it is")
	case key == nil:
		at.Repetition, at.Component = 1, 4
		r.fault(at, hl7.CodeTable, unknownSystem)
	case !r.keyed(*key, at):
		key = nil
	}
	return ids, key
}

// others are the identifiers beside a key by which something can be known.
func others(ids []identifier, key identifier) []identifier {
	return slices.DeleteFunc(slices.Clone(ids), func(id identifier) bool {
		return id.system == "" || id == key || strings.Contains(id.value, ",")
	})
}

// genders is table 0001 in FHIR's words. What is not in it is left out: it is
// then not known.
var genders = map[string]string{"F": "female", "M": "male", "O": "other", "A": "other", "U": "unknown"}

// personName reads a name whose family name is the component first (XPN, XCN).
func personName(rep hl7.Repetition, first int) object {
	n := object{}
	set(n, "family", rep.Value(first))
	var given []string
	for _, c := range []int{first + 1, first + 2} {
		if v := rep.Value(c); v != "" {
			given = append(given, v)
		}
	}
	set(n, "given", given)
	set(n, "suffix", list(rep.Value(first+3)))
	set(n, "prefix", list(rep.Value(first+4)))
	if len(n) == 0 {
		return nil
	}
	return n
}

func (r *reader) phones() []object {
	var out []object
	for _, rep := range r.pid.Field(13) {
		number := rep.Value(12)
		if number == "" {
			number = rep.Value(1)
		}
		if number != "" {
			out = append(out, object{"system": "phone", "value": number})
		}
		if mail := rep.Value(4); mail != "" {
			out = append(out, object{"system": "email", "value": mail})
		}
	}
	return out
}

var twoLetters = regexp.MustCompile(`^[A-Za-z]{2}$`)

// language reads PID-15: a code of two letters is one of ISO 639-1; anything else
// is kept as text.
func (r *reader) language() object {
	c := r.concept(r.pid.Field(15).First(), "")
	if c == nil {
		return nil
	}
	if code := r.pid.Value(15, 1); twoLetters.MatchString(code) {
		c["coding"] = []object{{"system": "urn:ietf:bcp:47", "code": strings.ToLower(code)}}
	}
	return object{"language": c, "preferred": true}
}

// practitioner reads whom an AIP segment names: a reference, or a name where the
// identifier is of no known system.
func (r *reader) practitioner(s *hl7.Segment) object {
	rep := s.Field(3).First()
	id := identifier{value: r.number(rep), system: r.o.system(rep.Sub(9, 1), rep.Sub(9, 2), rep.Sub(9, 3))}
	name := personName(rep, 2)
	words := strings.TrimSpace(strings.Join([]string{rep.Value(6), rep.Value(3), rep.Value(2)}, " "))
	if id.value == "" || id.system == "" {
		return display(words)
	}
	p := object{"resourceType": "Practitioner", "identifier": objects([]identifier{id})}
	set(p, "name", list(name))
	if at := s.At(3); r.keyed(id, at) {
		return object{"reference": r.known(entry{at: at, resource: p}, id)}
	}
	return nil
}

// place reads where an AIL segment is: the room, known by point of care, room
// and bed under the system of its facility.
func (r *reader) place(s *hl7.Segment) object {
	rep := s.Field(3).First()
	var parts []string
	for _, c := range []int{1, 2, 3} {
		if v := rep.Value(c); v != "" {
			parts = append(parts, v)
		}
	}
	words := rep.Value(9)
	if words == "" {
		words = strings.Join(parts, " ")
	}
	id := identifier{value: strings.Join(parts, "-"), system: r.o.system(rep.Sub(4, 1), rep.Sub(4, 2), rep.Sub(4, 3))}
	if id.value == "" || id.system == "" {
		return display(words)
	}
	l := object{"resourceType": "Location", "identifier": objects([]identifier{id}), "status": "active", "mode": "instance", "name": words}
	if at := s.At(3); r.keyed(id, at) {
		return object{"reference": r.known(entry{at: at, resource: l}, id)}
	}
	return nil
}

// known adds a resource unless the message named it before.
func (r *reader) known(e entry, id identifier) string {
	for _, have := range r.entries {
		if have.resource["resourceType"] == e.resource["resourceType"] && have.key == id {
			return have.fullURL
		}
	}
	return r.add(e, id)
}

func display(words string) object {
	if words == "" {
		return nil
	}
	return object{"display": words}
}
