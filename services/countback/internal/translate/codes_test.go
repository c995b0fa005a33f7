package translate

import (
	"encoding/json"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
)

// codeSet is a value set as it is written.
type codeSet struct {
	ID        string
	URL       string
	Copyright string
	Compose   struct{ Include, Exclude []codeGroup }
}

type codeGroup struct {
	System    string
	Extension []codeMark
	Concept   []struct {
		Code, Display string
		Extension     []codeMark
	}
	Filter []struct {
		Value     string
		Extension []codeMark
	}
}

type codeMark struct{ URL, ValueString string }

func codeSets(t *testing.T) []codeSet {
	names, err := fs.Glob(api.Protocol, "protocol/ValueSet-*.json")
	require.NoError(t, err)
	require.Greater(t, len(names), 100)
	var out []codeSet
	for _, name := range names {
		body, err := fs.ReadFile(api.Protocol, name)
		require.NoError(t, err)
		var s codeSet
		require.NoError(t, json.Unmarshal(body, &s), name)
		require.Equal(t, "ValueSet-"+s.ID+".json", path.Base(name))
		out = append(out, s)
	}
	return out
}

// marked reports whether one of the extensions says where a code was read.
func marked(list ...[]codeMark) bool {
	for _, e := range slices.Concat(list...) {
		said := strings.HasPrefix(e.ValueString, "verified") || strings.HasPrefix(e.ValueString, "weak: ") ||
			strings.HasPrefix(e.ValueString, "from memory: ") || strings.HasPrefix(e.ValueString, "a range only: ") ||
			strings.HasPrefix(e.ValueString, "our own ")
		if strings.HasSuffix(e.URL, "/code-source") && said {
			return true
		}
	}
	return false
}

// Every code and every pattern of every value set says where it was read, and
// every set under which licence its codes are.
func TestEveryCodeIsMarked(t *testing.T) {
	for _, s := range codeSets(t) {
		require.NotEmpty(t, s.Copyright, s.ID)
		for _, g := range slices.Concat(s.Compose.Include, s.Compose.Exclude) {
			for _, c := range g.Concept {
				require.True(t, marked(g.Extension, c.Extension), "%s: %s has no mark", s.ID, c.Code)
			}
			for _, f := range g.Filter {
				require.True(t, marked(g.Extension, f.Extension), "%s: %s has no mark", s.ID, f.Value)
			}
		}
	}
}

// also are the words by which products name what a set holds, where its own name
// is not such a word.
var also = map[string]string{
	"aspirin":      "aspirin|acetylsalicylic acid",
	"indomethacin": "indomethacin|indometacin",
	"steroids":     "corticosteroids|prednisone|prednisolone|hydrocortisone|dexamethasone",
	"paracetamol":  "paracetamol|acetaminophen",
	"h2-blockers":  "cimetidine|famotidine|nizatidine|ranitidine",
	"calcium-channel-blockers": "amlodipine|felodipine|isradipine|lacidipine|lercanidipine|nicardipine|nifedipine|" +
		"nisoldipine|nitrendipine|diltiazem|verapamil",
	"glaucoma-eye-drops":       "latanoprost|ophthalmic",
	"inhaled-airway-medicines": "salmeterol|tiotropium|albuterol|metered dose inhaler",
	"proton-pump-inhibitors":   "omeprazole|esomeprazole|lansoprazole|dexlansoprazole|pantoprazole|rabeprazole",
	"thyroid-hormones":         "levothyroxine|liothyronine",
	"other-glucose-tablets": "glipizide|glimepiride|glyburide|chlorpropamide|tolazamide|tolbutamide|sulfonylureas|" +
		"pioglitazone|rosiglitazone|lobeglitazone|sitagliptin|saxagliptin|linagliptin|alogliptin|vildagliptin|gemigliptin|" +
		"evogliptin|teneligliptin|acarbose|miglitol|repaglinide|nateglinide|pramlintide",
}

func names(set string) *regexp.Regexp {
	words := also[set]
	if words == "" {
		words = regexp.QuoteMeta(set)
	}
	return regexp.MustCompile(`(?i)\b(` + words + `)\b`)
}

// A product stands in the set of each ingredient that its name says, and in no
// other: a code and its name agree, no ingredient of a combination is left out,
// and no code is in two sets that its name does not join. Brands, which RxNorm
// writes in brackets, are not listed.
func TestProductsAgreeWithTheirNames(t *testing.T) {
	in, named := map[Coding][]string{}, map[Coding]string{}
	kinds := map[string]*regexp.Regexp{}
	for _, s := range codeSets(t) {
		kind, medicine := strings.CutPrefix(s.ID, "medicine-")
		if !medicine {
			continue
		}
		kinds[kind] = names(kind)
		for _, g := range s.Compose.Include {
			for _, c := range g.Concept {
				k := Coding{g.System, c.Code}
				in[k] = append(in[k], kind)
				if had := named[k]; had != "" {
					require.Equal(t, had, c.Display, "%s has two names", c.Code)
				}
				named[k] = c.Display
				require.NotContains(t, c.Display, "[", "%s is a brand", c.Code)
			}
		}
	}
	products := 0
	for k, display := range named {
		if !strings.ContainsAny(display, "0123456789") && !strings.Contains(display, " and ") && len(in[k]) == 1 {
			continue // an ingredient, or a code without a name
		}
		products++
		for kind, re := range kinds {
			if k.System != rxnorm && kind == "insulin" {
				continue // its group A10A is a pattern
			}
			require.Equal(t, re.MatchString(display), slices.Contains(in[k], kind), "%s (%s) and the set of %s", k.Code, display, kind)
		}
	}
	require.Greater(t, products, 500)
}

// Products that records send, by the ingredients that count. RxNorm names: NLM
// value sets Anticoagulant Therapy, Hypoglycemics Treatment Medications and
// Medications for Opioid Use Disorder (RxNorm 2024-01); ATC: index of 2026-04-25.
func TestProductsOfSeveralIngredients(t *testing.T) {
	p := defaultProtocol(t)
	for _, r := range []struct {
		name, system, code string
		kinds              []string
	}{
		{"apixaban 5 MG Oral Tablet", rxnorm, "1364445", []string{"apixaban"}},
		{"a pack of two strengths", rxnorm, "1549682", []string{"rivaroxaban"}},
		{"dabigatran, the active part", rxnorm, "1546356", []string{"dabigatran"}},
		{"empagliflozin with linagliptin and metformin", rxnorm, "2359351", []string{"empagliflozin", "metformin", "other-glucose-tablets"}},
		{"insulin glargine with lixisenatide", rxnorm, "1858995", []string{"insulin", "lixisenatide"}},
		{"the same in ATC", atc, "A10AE54", []string{"insulin", "lixisenatide"}},
		{"metformin with empagliflozin", atc, "A10BD20", []string{"empagliflozin", "metformin"}},
		{"bupropion with naltrexone", atcGerman, "A08AA62", []string{"naltrexone"}},
		{"aspirin with oxycodone", rxnorm, "848768", []string{"aspirin"}},
		{"naproxen with esomeprazole", atc, "M01AE52", []string{"naproxen", "proton-pump-inhibitors"}},
		{"buprenorphine with naloxone", rxnorm, "351267", []string{"buprenorphine"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			var in []string
			for _, k := range p.drugs.kinds {
				if k.set.Has(Coding{r.system, r.code}) {
					in = append(in, strings.TrimPrefix(k.key, "medicine-"))
				}
			}
			require.ElementsMatch(t, r.kinds, in)
		})
	}
}
