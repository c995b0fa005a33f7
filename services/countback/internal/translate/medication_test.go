package translate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// mixture is a Medication of these ingredients, which a statement contains.
func mixture(more ...any) object {
	return object{
		"medicationReference": ref("#m"),
		"contained":           []any{object{"resourceType": "Medication", "id": "m", "ingredient": more}},
	}
}

func ingredient(c object, more ...object) object {
	return merged(object{"itemCodeableConcept": c}, more)
}

// What a Medication is made of counts, where the record names it: every active
// ingredient that a rule knows, by system and code; not its filler, and no words.
func TestIngredientsThatTheRecordNames(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct {
		name  string
		taken object
		kinds []string
	}{
		{"one", mixture(ingredient(coded(rxnorm, "1364430"))), []string{"medicine-apixaban"}},
		{"two", mixture(ingredient(coded(rxnorm, "1545653")), ingredient(coded(rxnorm, "6809"))),
			[]string{"medicine-empagliflozin", "medicine-metformin"}},
		{"an active one says so", mixture(ingredient(coded(atc, "B01AF02"), object{"isActive": true})), []string{"medicine-apixaban"}},
		{"several codings, one known", object{"medicationCodeableConcept": object{"coding": []any{
			object{"system": "http://hl7.org/fhir/sid/ndc", "code": "00000-0000-00"}, object{"system": rxnorm, "code": "1364445"},
		}}}, []string{"medicine-apixaban"}},
		{"a product of two", object{"medicationCodeableConcept": coded(rxnorm, "1858995")}, []string{"medicine-insulin", "medicine-lixisenatide"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := Bookings([]*Record{atEight(t), statement(t, "x", r.taken)}, p, f)[0].Case
			var kinds []string
			for _, m := range c.Medicines {
				kinds = append(kinds, m.Key)
			}
			require.ElementsMatch(t, r.kinds, kinds)
		})
	}
	for name, taken := range map[string]object{
		"a filler":                 mixture(ingredient(coded(rxnorm, "1364430"), object{"isActive": false})),
		"another system":           mixture(ingredient(coded(snomed, "1364430"))),
		"words":                    mixture(ingredient(object{"text": "apixaban"})),
		"a reference to elsewhere": {"medicationReference": ref("Medication/m")},
	} {
		t.Run(name, func(t *testing.T) {
			c := Bookings([]*Record{atEight(t), statement(t, "x", taken)}, p, f)[0].Case
			require.Len(t, c.Medicines, 1)
			require.Empty(t, c.Medicines[0].Rules, "a person decides")
		})
	}
}
