package translate

import (
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Medicines that no rule knows are told apart by their first code, else by their
// words, else by the record; the key is the same in every record of one, and
// holds no word of it.
func TestKeysOfOtherMedicines(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	words := func(text string) object { return object{"medicationCodeableConcept": object{"text": text}} }
	shown := func(text string) object {
		return object{"medicationCodeableConcept": object{"coding": []any{object{"display": text}}}}
	}
	product := func(code, text string) object {
		c := coded("http://pharmacy.example/product", code)
		c["text"] = text
		return object{"medicationCodeableConcept": c}
	}
	keys := func(t *testing.T, list ...object) []string {
		var records []*Record
		for n, m := range list {
			records = append(records, statement(t, "m"+string(rune('a'+n)), m))
		}
		b := only(t, p, f, append([]*Record{atEight(t)}, records...)...)
		for _, key := range b.Case.Repeats[RepeatMedicine] {
			require.Regexp(t, regexp.MustCompile(`^medicine-other-[0-9a-f]{16}$`), key)
			require.Contains(t, b.Case.Details, readiness.DetailLastDose(key))
		}
		return b.Case.Repeats[RepeatMedicine]
	}
	for _, r := range []struct {
		name  string
		list  []object
		count int
	}{
		{"the same words, written otherwise", []object{words("Leaf  drops"), words("leaf drops ")}, 1},
		{"other words", []object{words("leaf drops"), words("root drops")}, 2},
		{"one code, two texts", []object{product("77", "Leaf drops"), product("77", "LD 5")}, 1},
		{"two codes, one text", []object{product("77", "Leaf drops"), product("78", "Leaf drops")}, 2},
		{"one display alone", []object{shown("Leaf drops"), shown("leaf drops")}, 1},
		{"of nothing but a reference each", []object{{"medicationReference": ref("Medication/a")}, {"medicationReference": ref("Medication/b")}}, 2},
		{"by the words of a reference", []object{{"medicationReference": object{"display": "Leaf drops"}}, words("Leaf drops")}, 1},
	} {
		t.Run(r.name, func(t *testing.T) { require.Len(t, keys(t, r.list...), r.count) })
	}
	one := keys(t, product("77", "Leaf drops"))
	require.Equal(t, one, keys(t, product("77", "Another name")), "stable when it is named otherwise")

	b := only(t, p, f, atEight(t), statement(t, "a", product("77", "Zinc leaf")), statement(t, "b", product("77", "Leaf drops"), lastDose("2026-11-20")))
	require.Equal(t, "Leaf drops (code 77)", b.Case.Medicines[0].Name, "in any order of the records")
	require.Equal(t, "2026-11-20", b.Case.Medicines[0].Last.Day.String(), "its doses count as others' do")

	wrong := statement(t, "a", product("77", "Leaf drops"), status("entered-in-error"))
	b = only(t, p, f, atEight(t), wrong)
	require.Equal(t, one, b.Case.Disowned)
	b = only(t, p, f, atEight(t), wrong, statement(t, "b", product("77", "Leaf drops")))
	require.Empty(t, b.Case.Disowned)
	require.Equal(t, one, b.Case.Repeats[RepeatMedicine])
}
