package translate

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// others are the medicines without a rule, by name, in the order of names.
func others(c *readiness.Case) []string {
	var out []string
	for _, m := range c.Medicines {
		if len(m.Rules) == 0 {
			out = append(out, m.Name)
		}
	}
	slices.Sort(out)
	return out
}

func ruled(c *readiness.Case) []string {
	var out []string
	for _, m := range c.Medicines {
		if len(m.Rules) > 0 {
			out = append(out, strings.TrimPrefix(m.Key, "medicine-"))
		}
	}
	return out
}

// Of a ready-made product what no rule knows is asked about, and what another set
// knows takes part by that set's rules. Names: RxNorm 2024-01, ATC 2026-04-25.
func TestTheOtherPartOfAProduct(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	code := func(system, code, display, text string) object {
		coding := object{"system": system, "code": code}
		if display != "" {
			coding["display"] = display
		}
		c := object{"coding": []any{coding}}
		if text != "" {
			c["text"] = text
		}
		return object{"medicationCodeableConcept": c}
	}
	whole := "aspirin 325 MG / oxycodone hydrochloride 4.84 MG Oral Tablet"
	for _, r := range []struct {
		name  string
		taken object
		ruled []string
		asked []string
	}{
		{"by code alone", code(rxnorm, "848768", "", ""), []string{"aspirin"}, []string{"Oxycodone (in " + whole + ")"}},
		{"as the set names it", code(rxnorm, "848768", strings.ToUpper(whole), whole), []string{"aspirin"}, []string{"Oxycodone (in " + whole + ")"}},
		{"in other words", code(rxnorm, "848768", "Oxycodone/aspirin", "Oxycodone 4.84 mg and aspirin 325 mg"), []string{"aspirin"}, []string{"Oxycodone (in " + whole + ")"}},
		{"two others", code(rxnorm, "994237", "", ""), []string{"aspirin"}, []string{
			"Butalbital (in aspirin 325 MG / butalbital 50 MG / caffeine 40 MG / codeine phosphate 30 MG Oral Capsule)",
			"Caffeine (in aspirin 325 MG / butalbital 50 MG / caffeine 40 MG / codeine phosphate 30 MG Oral Capsule)",
			"Codeine (in aspirin 325 MG / butalbital 50 MG / caffeine 40 MG / codeine phosphate 30 MG Oral Capsule)",
		}},
		{"a second set knows the other", code(rxnorm, "1811631", "", ""), []string{"aspirin", "proton-pump-inhibitors"}, nil},
		{"both kinds", code(rxnorm, "308297", "", ""), []string{"aspirin", "paracetamol"}, []string{"Caffeine (in acetaminophen 250 MG / aspirin 250 MG / caffeine 65 MG Oral Tablet)"}},
		{"a code that does not say what else", code(atc, "M01AE51", "", ""), []string{"ibuprofen"}, []string{"What is combined with ibuprofen (in ibuprofen, combinations)"}},
		{"a pattern of codes", code(atc, "C09BA02", "", "Enalapril and diuretics"), []string{"blood-pressure-renin-medicines"}, []string{"The diuretic combined with a medicine on the renin system (in Enalapril and diuretics)"}},
		{"another part in the words sent", code(rxnorm, "1191", "aspirin", "Aspirin 500 mg / leafroot 20 mg tablets"), []string{"aspirin"}, []string{"Leafroot (in Aspirin 500 mg / leafroot 20 mg tablets)"}},
		{"in Spanish", code(rxnorm, "1364430", "", "Apixaban y raíz de hoja 20 mg"), []string{"apixaban"}, []string{"Raíz de hoja (in Apixaban y raíz de hoja 20 mg)"}},
		{"an ordinary name", code(rxnorm, "1364445", "apixaban 5 MG Oral Tablet", "Apixaban 5 mg, morning and evening"), []string{"apixaban"}, nil},
		{"strengths and times", code(rxnorm, "11289", "", "Warfarin 5 mg Monday and Thursday, and 2 mg/day 1/2 tablet/week"), []string{"warfarin"}, nil},
		{"a class known by a pattern", code(atc, "C07AB12", "", "Nebivolol and leafroot"), []string{"beta-blockers"}, []string{"The other part of Nebivolol and leafroot"}},
		{"a class known by a pattern, alone", code(atc, "C07AB02", "", "Metoprolol 50 mg"), []string{"beta-blockers"}, nil},
		{"a product that its rule is about as a whole", code(rxnorm, "351267", "", "Buprenorphine and naloxone"), []string{"buprenorphine"}, nil},
		{"the same, by a pattern", code(atc, "R03AK06", "", "Salmeterol / fluticasone"), []string{"inhaled-airway-medicines"}, nil},
		{"two insulins of one name", code(atc, "A10AD05", "insulin aspart", "Insulin aspart / insulin aspart protamine"), []string{"insulin"}, nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := only(t, p, f, atEight(t), statement(t, "x", r.taken))
			require.ElementsMatch(t, r.ruled, ruled(&b.Case))
			require.Equal(t, r.asked, others(&b.Case))
			for _, m := range b.Case.Medicines {
				if len(m.Rules) == 0 {
					require.Contains(t, b.Case.Repeats[RepeatMedicine], m.Key)
					a := readiness.Advise(&m, &b.Case, f.Calendar)
					require.Contains(t, a.Headline(), "prescriber decides")
				}
			}
		})
	}
}

// Words alone start no rule: a part that the words sent name, and another set
// knows, is asked about, and the question says what it looks like.
func TestTheOtherPartIsAskedAboutByItsWords(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	b := only(t, p, f, atEight(t), statement(t, "x", rx("1191", "Aspirin and apixaban 5 mg")))
	require.Equal(t, []string{"aspirin"}, ruled(&b.Case))
	require.Equal(t, []string{"Apixaban (in Aspirin and apixaban 5 mg)"}, others(&b.Case))
	require.Equal(t, "apixaban", b.Case.Medicines[len(b.Case.Medicines)-1].Like)
}

// One part of two products is asked about once, and as the same medicine when it is
// recorded in words by itself; a record made in error takes the question back.
func TestTheOtherPartIsOneMedicine(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	product := func(code string) object { return object{"medicationCodeableConcept": coded(rxnorm, code)} }
	words := statement(t, "c", object{"medicationCodeableConcept": object{"text": "Oxycodone"}})
	b := only(t, p, f, atEight(t), statement(t, "a", product("848768")), statement(t, "b", product("637540")), words)
	require.Len(t, others(&b.Case), 1)
	key := b.Case.Medicines[len(b.Case.Medicines)-1].Key
	wrong := statement(t, "a", product("848768"), status("entered-in-error"))
	b = only(t, p, f, atEight(t), wrong)
	require.Contains(t, b.Case.Disowned, key)
	b = only(t, p, f, atEight(t), wrong, words)
	require.NotContains(t, b.Case.Disowned, key)
}

// Every ingredient that the name of a product in a set names is accounted for: by
// a set in which the product stands, or as one to ask about; and what is asked
// about is in the name, the same in every set of the product. That the rule on
// buprenorphine is about its films and tablets with naloxone, and those on Parkinson
// medicines, inhalers, eye drops and oestrogens about their usual mixtures, is common
// practice, no source.
func TestEveryPartOfAProductIsAccountedFor(t *testing.T) {
	in, named, asked, whole := map[Coding][]string{}, map[Coding]string{}, map[Coding][]string{}, map[Coding]bool{}
	for _, s := range codeSets(t) {
		kind, medicine := strings.CutPrefix(s.ID, "medicine-")
		if !medicine {
			continue
		}
		for _, g := range s.Compose.Include {
			for _, c := range g.Concept {
				k, parts := Coding{g.System, c.Code}, []string(nil)
				for _, e := range c.Extension {
					if strings.HasSuffix(e.URL, "/other-ingredient") {
						parts = append(parts, e.ValueString)
					}
					whole[k] = whole[k] || strings.HasSuffix(e.URL, "/whole-product")
				}
				if had, again := asked[k]; again {
					require.Equal(t, had, parts, "%s is asked about otherwise in %s", c.Code, s.ID)
				}
				in[k], named[k], asked[k] = append(in[k], kind), c.Display, parts
			}
		}
	}
	between, unsaid := regexp.MustCompile(` / |, (?:combinations)?| and `), regexp.MustCompile(`, combinations\b`)
	strength := regexp.MustCompile(`\d`)
	products := 0
	for k, display := range named {
		for _, part := range asked[k] {
			require.True(t, unsaid.MatchString(display) || mentions(display, part), "%s (%s) does not name %s", k.Code, display, part)
		}
		if whole[k] {
			require.Empty(t, asked[k], display)
			products++
			continue
		}
		if unsaid.MatchString(display) {
			require.Len(t, asked[k], 1, display)
			products++
			continue
		}
		if k.System == rxnorm && !strings.Contains(display, " / ") {
			continue
		}
		parts := between.Split(display, -1)
		if k.System == rxnorm {
			parts = strings.Split(display, " / ")
		}
		if len(parts) < 2 {
			continue
		}
		products++
		for _, part := range parts {
			known := slices.ContainsFunc(in[k], func(kind string) bool { return names(kind).MatchString(part) }) ||
				slices.ContainsFunc(asked[k], func(other string) bool { return mentions(part, other) }) ||
				k.System != rxnorm && strings.HasPrefix(k.Code, "A10A") && strings.HasPrefix(part, "insulin") // its group is a pattern
			require.True(t, known && (strength.MatchString(part) || k.System != rxnorm), "%s (%s) and %q", k.Code, display, part)
		}
	}
	require.Greater(t, products, 200)
}
