package translate

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Everyday medicines by their codes, and what must not pass for one of them:
// another form of the same ingredient, and products that join it with another.
// ATC: WHO index of 2026-04-25; RxNorm as the value sets say.
func TestWhichMedicineIsAnEverydayOne(t *testing.T) {
	p := defaultProtocol(t)
	for _, r := range []struct{ name, system, code, kind string }{
		{"levothyroxine", rxnorm, "10582", "thyroid-hormones"},
		{"levothyroxine", atc, "H03AA01", "thyroid-hormones"},
		{"levothyroxine with iodine", atcGerman, "H03AA51", "thyroid-hormones"},
		{"a medicine against the thyroid", atc, "H03BB02", ""},
		{"omeprazole", rxnorm, "7646", "proton-pump-inhibitors"},
		{"pantoprazole", atcGerman, "A02BC02", "proton-pump-inhibitors"},
		{"pantoprazole with antibiotics", atc, "A02BD04", ""},
		{"omeprazole in combinations", atc, "A02BC51", ""},
		{"famotidine", rxnorm, "4278", "h2-blockers"},
		{"ranitidine", atc, "A02BA02", "h2-blockers"},
		{"ranitidine with bismuth", atc, "A02BA07", ""},
		{"paracetamol", rxnorm, "161", "paracetamol"},
		{"paracetamol", atc, "N02BE01", "paracetamol"},
		{"paracetamol with codeine, in some countries", atc, "N02BE51", ""},
		{"paracetamol with an opioid", atc, "N02AJ06", ""},
		{"salbutamol, inhaled", atc, "R03AC02", "inhaled-airway-medicines"},
		{"salbutamol, inhaled, a product", rxnorm, "745679", "inhaled-airway-medicines"},
		{"salbutamol tablets", atc, "R03CC02", ""},
		{"salbutamol in no form", rxnorm, "435", ""},
		{"formoterol with budesonide, inhaled", atc, "R03AK07", "inhaled-airway-medicines"},
		{"budesonide, inhaled", atcGerman, "R03BA02", "inhaled-airway-medicines"},
		{"budesonide in no form", rxnorm, "19831", ""},
		{"tiotropium", atc, "R03BB04", "inhaled-airway-medicines"},
		{"theophylline", atc, "R03DA04", ""},
		{"amlodipine", rxnorm, "17767", "calcium-channel-blockers"},
		{"diltiazem", atc, "C08DB01", "calcium-channel-blockers"},
		{"amlodipine with a diuretic", atc, "C08GA02", ""},
		{"amlodipine with celecoxib", atc, "C08CA51", ""},
		{"perindopril with amlodipine", atc, "C09BB04", "blood-pressure-renin-medicines"},
		{"bisoprolol with amlodipine", atc, "C07FB07", "beta-blockers"},
		{"timolol eye drops", atc, "S01ED01", "glaucoma-eye-drops"},
		{"timolol by mouth", atc, "C07AA06", "beta-blockers"},
		{"timolol in no form", rxnorm, "10600", ""},
		{"dorzolamide with timolol, drops", rxnorm, "1923432", "glaucoma-eye-drops"},
		{"latanoprost", atcGerman, "S01EE01", "glaucoma-eye-drops"},
		{"acetazolamide, by mouth, though among the eye drops", atc, "S01EC01", ""},
		{"methazolamide, by mouth", atc, "S01EC05", ""},
		{"ecothiopate, which lengthens a muscle relaxant", atc, "S01EB03", ""},
		{"an antidepressant", atc, "N06AB04", ""},
		{"a diuretic", atc, "C03CA01", ""},
		{"a nitrate", atc, "C01DA14", ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			var in []string
			for _, k := range p.drugs.kinds {
				if k.set.Has(Coding{r.system, r.code}) {
					in = append(in, strings.TrimPrefix(k.key, "medicine-"))
				}
			}
			if r.kind == "" {
				require.Empty(t, in)
				return
			}
			require.Equal(t, []string{r.kind}, in)
		})
	}
}

// What is known to go on takes along nothing else of its mixture: the strictest
// rule of its ingredients counts, and one that no rule knows is asked about.
func TestMixturesWithAnEverydayMedicine(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct {
		name  string
		taken object
		asked []string // what a prescriber decides on
	}{
		{"amlodipine with valsartan", mixture(ingredient(coded(rxnorm, "17767")), ingredient(coded(rxnorm, "69749"))), []string{"blood-pressure-renin-medicines"}},
		{"esomeprazole with naproxen", object{"medicationCodeableConcept": coded(atc, "M01AE52")}, []string{"naproxen"}},
		{"paracetamol with oxycodone", mixture(ingredient(coded(rxnorm, "161")), ingredient(coded(rxnorm, "7804"))), []string{"other"}},
		{"oxycodone with aspirin", mixture(ingredient(coded(rxnorm, "7804")), ingredient(coded(rxnorm, "1191"))), []string{"other"}},
		{"a filler", mixture(ingredient(coded(rxnorm, "161")), ingredient(coded(rxnorm, "7804"), object{"isActive": false})), nil},
		{"paracetamol alone", mixture(ingredient(coded(rxnorm, "161"))), nil},
		{"lansoprazole with paracetamol", mixture(ingredient(coded(rxnorm, "17128")), ingredient(coded(atc, "N02BE01"))), nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := only(t, p, f, atEight(t), statement(t, "x", r.taken)).Case
			var asked []string
			for _, key := range c.Repeats[RepeatMedicine] {
				if strings.HasPrefix(key, readiness.OtherMedicine) {
					key = "medicine-other"
				}
				asked = append(asked, strings.TrimPrefix(key, "medicine-"))
			}
			require.Equal(t, r.asked, asked)
		})
	}
	words := func(code, text string) object {
		c := coded(rxnorm, code)
		c["text"] = text
		return c
	}
	c := only(t, p, f, atEight(t), statement(t, "x", mixture(ingredient(words("161", "acetaminophen")), ingredient(words("7804", "oxycodone"))))).Case
	require.Equal(t, "Oxycodone (code 7804)", c.Medicines[1].Name)
	require.Empty(t, c.Medicines[1].Like, "the words of the part that is known are not its own")
	wrong := statement(t, "x", mixture(ingredient(coded(rxnorm, "161")), ingredient(coded(rxnorm, "7804"))), status("entered-in-error"))
	c = only(t, p, f, atEight(t), wrong).Case
	require.Len(t, c.Disowned, 2, "both of a mixture that was entered in error")
}
