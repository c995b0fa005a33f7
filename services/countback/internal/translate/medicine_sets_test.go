package translate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

const (
	rxnorm    = "http://www.nlm.nih.gov/research/umls/rxnorm"
	atcGerman = "http://fhir.de/CodeSystem/bfarm/atc"
	loincURI  = "http://loinc.org"
)

// medicineSets are the value sets that the rules on medicines name.
func medicineSets(defs Definitions) map[string]bool {
	out := map[string]bool{}
	for _, a := range defs.Medicines.Get("action").Items() {
		for _, in := range a.Get("input").Items() {
			out[in.String("codeFilter", "valueSet")] = true
		}
	}
	return out
}

// Which codes are known as which medicine. RxNorm ingredients of the blood
// thinners, the SGLT2 and GLP-1 medicines: one careful public class list; the
// ATC codes of the JAK inhibitors, which moved in 2024: public drug data; the
// others as their value sets say.
func TestMedicineMembership(t *testing.T) {
	p := defaultProtocol(t)
	for _, r := range []struct{ name, system, code, kind, mark string }{
		{"warfarin", rxnorm, "11289", "medicine-warfarin", secondary},
		{"warfarin", atc, "B01AA03", "medicine-warfarin", secondary},
		{"phenprocoumon is another", atc, "B01AA04", "medicine-other-vitamin-k-antagonists", fromMemory},
		{"apixaban", rxnorm, "1364430", "medicine-apixaban", secondary},
		{"edoxaban, often mislabelled", rxnorm, "1599538", "medicine-edoxaban", secondary},
		{"rivaroxaban in German data", atcGerman, "B01AF01", "medicine-rivaroxaban", secondary},
		{"dabigatran", atc, "B01AE07", "medicine-dabigatran", secondary},
		{"tofacitinib, new code", atc, "L04AF01", "medicine-tofacitinib", secondary},
		{"tofacitinib, old code", atc, "L04AA29", "medicine-tofacitinib", secondary},
		{"upadacitinib, old code", atc, "L04AA44", "medicine-upadacitinib", secondary},
		{"rituximab, old code", atc, "L01XC02", "medicine-rituximab", secondary},
		{"tirzepatide, outside A10BJ", atc, "A10BX16", "medicine-tirzepatide", secondary},
		{"insulin glargine", atc, "A10AE04", "medicine-insulin", fromMemory},
		{"a sulfonylurea", atc, "A10BB12", "medicine-other-glucose-tablets", fromMemory},
		{"a brand is not recognised", rxnorm, "855334", "", practice},
		{"a beta blocker", atc, "C07AB02", "medicine-beta-blockers", fromMemory},
		{"levodopa", atc, "N04BA01", "medicine-parkinson-medicines", fromMemory},
		{"selegiline is a MAO inhibitor first", atc, "N04BD01", "medicine-mao-inhibitors", fromMemory},
		{"a product of RxNorm", rxnorm, "855332", "medicine-warfarin", published},
		{"right code, other system", snomed, "11289", "", practice},
		{"no system", "", "11289", "", practice},
		{"a prefix is no code", atc, "B01AA", "", practice},
	} {
		t.Run(r.name, func(t *testing.T) {
			var in []string
			for _, k := range p.drugs.kinds {
				if k.set.Has(Coding{r.system, r.code}) {
					in = append(in, k.key)
				}
			}
			if r.kind == "" {
				require.Empty(t, in, r.mark)
				return
			}
			require.Equal(t, []string{r.kind}, in, r.mark)
		})
	}
}

// Every set that a rule names is there, and every rule has a source with a mark.
func TestMedicineSetsAreSound(t *testing.T) {
	defs, _ := embedded(t)
	p := defaultProtocol(t)
	require.Greater(t, len(p.drugs.kinds), 70)
	for name := range medicineSets(defs) {
		require.NotNil(t, defs.ValueSets[name], name)
	}
	for _, k := range p.drugs.kinds {
		for _, rule := range k.rules {
			require.NotEmpty(t, rule.Sources, rule.Code)
			for _, s := range rule.Sources {
				require.Contains(t, []string{"published", "secondary", "from-memory", "common-practice"}, s.Mark, rule.Code)
				require.NotEmpty(t, s.Text, rule.Code)
			}
		}
	}
}
