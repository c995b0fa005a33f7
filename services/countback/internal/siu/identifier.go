package siu

import (
	"regexp"
	"strings"

	"example.org/countback/pkg/hl7"
)

// identifier is a business identifier; one without a system is shown, and
// nothing is known by it.
type identifier struct {
	system, value string
	kind          string // of table 0203
}

func (id identifier) object() object {
	out := object{"value": id.value}
	if id.system != "" {
		out["system"] = id.system
	}
	if id.kind != "" {
		out["type"] = object{"coding": []object{{"system": table("0203"), "code": id.kind}}}
	}
	return out
}

func objects(ids []identifier) []object {
	var out []object
	for _, id := range ids {
		out = append(out, id.object())
	}
	return out
}

var oid = regexp.MustCompile(`^[0-2](\.(0|[1-9][0-9]*))+$`)

// system is the system of an assigning authority: as the settings name it, else
// made of its universal id. Empty: it has none that could be known.
func (o *Options) system(name, universal, kind string) string {
	for _, known := range []string{name, universal} {
		if uri := o.Systems[known]; known != "" && uri != "" {
			return uri
		}
	}
	if universal == "" && oid.MatchString(name) {
		universal = name
	}
	switch kind = strings.ToUpper(kind); {
	case oid.MatchString(universal):
		return "urn:oid:" + universal
	case kind == "UUID" && universal != "", kind == "GUID" && universal != "":
		return "urn:uuid:" + strings.ToLower(universal)
	case kind == "URI" && universal != "":
		return universal
	}
	return ""
}

// unknownSystem says what to do about an authority that nobody has named.
const unknownSystem = "names an assigning authority that is neither an OID nor known by a setting (-hl7-system): what is numbered by it cannot be told from others of that number"

// number is the first component of an identifier, a text that has no parts. A
// separator of subcomponents in it was sent without an escape: cut off there, two
// numbers would be taken for one.
func (r *reader) number(rep hl7.Repetition) string {
	if len(rep) == 0 || len(rep[0]) < 2 {
		return rep.Value(1)
	}
	return strings.TrimSpace(strings.Join(rep[0], string(r.m.Separators.Subcomponent)))
}

// entity reads an entity identifier (EI). Where it names no authority, otherwise
// is its system.
func (r *reader) entity(rep hl7.Repetition, otherwise string) (identifier, bool) {
	id := identifier{value: r.number(rep), system: r.o.system(rep.Value(2), rep.Value(3), rep.Value(4))}
	if rep.Value(2) == "" && rep.Value(3) == "" {
		id.system = otherwise
	}
	return id, id.value != ""
}

// keyed reports whether something can be known by an identifier, and says at its
// place why not.
func (r *reader) keyed(id identifier, at hl7.Location) bool {
	switch {
	case id.system == "":
		r.fault(at, hl7.CodeTable, unknownSystem)
	case strings.Contains(id.value, ","):
		r.fault(at, hl7.CodeDataType, "has a comma in an identifier, which cannot be looked for")
	default:
		return true
	}
	return false
}

// codings are coding systems by their name in table 0396. from memory: that I10P
// means ICD-10-PCS where it is used.
var codings = map[string]string{
	"SCT": "http://snomed.info/sct", "LN": "http://loinc.org", "RXNORM": "http://www.nlm.nih.gov/research/umls/rxnorm",
	"I10": "http://hl7.org/fhir/sid/icd-10", "I10C": "http://hl7.org/fhir/sid/icd-10-cm", "I10P": "http://hl7.org/fhir/sid/icd-10-pcs",
	"C4": "http://www.ama-assn.org/go/cpt",
}

// table is the system of a table of HL7 version 2.
func table(number string) string { return "http://terminology.hl7.org/CodeSystem/v2-" + number }

var tableName = regexp.MustCompile(`^HL7(\d{4})$`)

func (o *Options) coding(name string) string {
	if uri := o.Systems[name]; name != "" && uri != "" {
		return uri
	}
	if parts := tableName.FindStringSubmatch(name); parts != nil {
		return table(parts[1])
	}
	switch {
	case oid.MatchString(name):
		return "urn:oid:" + name
	case strings.HasPrefix(name, "http://"), strings.HasPrefix(name, "https://"), strings.HasPrefix(name, "urn:"):
		return name
	}
	return codings[name]
}

// concept reads a coded element (CE, CWE), nil for an empty one. otherwise is the
// coding system of a code that names none.
func (r *reader) concept(rep hl7.Repetition, otherwise string) object {
	var list []object
	text := rep.Value(9)
	for _, first := range []int{1, 4} {
		code, display, name := rep.Value(first), rep.Value(first+1), rep.Value(first+2)
		if text == "" {
			text = display
		}
		if code == "" {
			continue
		}
		c := object{"code": code}
		if display != "" {
			c["display"] = display
		}
		if name == "" {
			name = otherwise
		}
		if system := r.o.coding(name); system != "" {
			c["system"] = system
		}
		list = append(list, c)
	}
	out := object{}
	if list != nil {
		out["coding"] = list
	}
	if text != "" {
		out["text"] = text
	}
	if len(out) == 0 {
		return nil
	}
	return out
}
