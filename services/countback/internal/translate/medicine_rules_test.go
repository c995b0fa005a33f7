package translate

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// medicineTree is the rules on medicines as a tree that a test may change.
func medicineTree(t *testing.T) (Definitions, []byte, object) {
	defs, pd := embedded(t)
	var tree object
	require.NoError(t, json.Unmarshal(defs.Medicines.Raw, &tree))
	return defs, pd, tree
}

// A rule that could give no last dose, or that nobody answers for, is refused
// with its place when it is loaded.
func TestMedicineRulesAreRefused(t *testing.T) {
	says := func(a object) object { return a["extension"].([]any)[0].(object) }
	set := func(a object, part, key string, v any) {
		for _, e := range says(a)["extension"].([]any) {
			if e := e.(object); e["url"] == part {
				e[key] = v
			}
		}
	}
	drop := func(a object, part string) {
		var left []any
		for _, e := range says(a)["extension"].([]any) {
			if e.(object)["url"] != part {
				left = append(left, e)
			}
		}
		says(a)["extension"] = left
	}
	length := func(n int, code string) object { return object{"value": n, "system": ucum, "code": code} }
	for _, r := range []struct {
		name, rule string
		change     func(a object)
		says       string
	}{
		{"a hold of nothing", "warfarin-surgical", func(a object) { drop(a, "hold") }, "a hold needs whole days or hours"},
		{"a hold of months", "warfarin-surgical", func(a object) { set(a, "hold", "valueDuration", length(1, "mo")) }, "a hold needs whole days or hours"},
		{"a hold after surgery", "warfarin-surgical", func(a object) { set(a, "hold", "valueDuration", length(-1, "d")) }, "a hold needs whole days or hours"},
		{"a window without a beginning", "adalimumab-window", func(a object) { drop(a, "from") }, "a window needs the distance"},
		{"a window that ends before it begins", "adalimumab-window", func(a object) { set(a, "to", "valueDuration", length(13, "d")) }, "a window needs the distance"},
		{"a window from the dose itself", "adalimumab-window", func(a object) { set(a, "from", "valueDuration", length(0, "d")) }, "a window needs the distance"},
		{"a window of days that ends in months", "adalimumab-window", func(a object) { set(a, "to", "valueDuration", length(1, "mo")) }, "a window needs the distance"},
		{"a specialist without a name", "clopidogrel-stent", func(a object) { drop(a, "decides") }, "nothing says who decides"},
		{"a choice of nobody", "insulin-morning", func(a object) { drop(a, "decides") }, "nothing says who decides"},
		{"another action", "warfarin-surgical", func(a object) { set(a, "does", "valueCode", "stop") }, `"stop" is no code of CodeSystem/medicine-action`},
		{"no source", "warfarin-surgical", func(a object) { delete(a, "documentation") }, "the rule has no source"},
		{"no medicine", "warfarin-surgical", func(a object) { delete(a, "input") }, "the rule fits no medicine"},
		{"an unknown fact", "dabigatran-surgical", func(a object) {
			a["condition"] = []any{object{"kind": "applicability", "expression": object{"language": "text/cel", "expression": "kidneys > 50.0"}}}
		}, "undeclared reference to 'kidneys'"},
		{"a dose in words", "apixaban-neuraxial", func(a object) { set(a, "low-dose", "valueQuantity", object{"value": json.Number("1e999")}) }, "is not a number"},
	} {
		t.Run(r.name, func(t *testing.T) {
			defs, pd, tree := medicineTree(t)
			r.change(action(t, tree, r.rule))
			body, err := json.Marshal(tree)
			require.NoError(t, err)
			defs.Medicines = parse(t, body)
			_, err = ReadProtocol(parse(t, pd), defs)
			var refused *readiness.ProtocolError
			require.ErrorAs(t, err, &refused)
			require.Len(t, refused.Faults, 1)
			require.Contains(t, refused.Faults[0], r.rule+": ")
			require.Contains(t, refused.Faults[0], r.says)
		})
	}
	t.Run("a window of one day is one", func(t *testing.T) {
		defs, pd, tree := medicineTree(t)
		a := action(t, tree, "adalimumab-window")
		set(a, "from", "valueDuration", length(15, "d"))
		set(a, "to", "valueDuration", length(15, "d"))
		defs.Medicines = encoded(t, tree)
		_, err := ReadProtocol(parse(t, pd), defs)
		require.NoError(t, err)
	})
	t.Run("an unknown value set", func(t *testing.T) {
		defs, pd, _ := medicineTree(t)
		delete(defs.ValueSets, Base+"/ValueSet/medicine-warfarin")
		_, err := ReadProtocol(parse(t, pd), defs)
		require.ErrorContains(t, err, "warfarin-surgical: input names the value set")
	})
}

// How early a last dose may be taken without a question is data, with a mark of
// how it was checked; without it nothing is asked. Two days: common practice, no
// source.
func TestHowEarlyALastDoseMayBe(t *testing.T) {
	defs, pd, tree := medicineTree(t)
	p, err := ReadProtocol(parse(t, pd), defs)
	require.NoError(t, err)
	require.Equal(t, 2, p.EarlyDose)
	require.Equal(t, "common-practice", p.EarlyDoseMark)

	early := func(days int, mark string) object {
		parts := []any{object{"url": "margin", "valueDuration": object{"value": days, "unit": "days", "system": ucum, "code": "d"}}}
		if mark != "" {
			parts = append(parts, object{"url": "mark", "valueCode": mark})
		}
		return object{"url": Base + "/StructureDefinition/early-last-dose", "extension": parts}
	}
	for _, r := range []struct {
		ext  []any
		days int // -1: refused
	}{{nil, 0}, {[]any{early(1, "from-memory")}, 1}, {[]any{early(0, "from-memory")}, -1}, {[]any{early(3, "")}, -1}} {
		tree["extension"] = r.ext
		if r.ext == nil {
			delete(tree, "extension")
		}
		defs.Medicines = encoded(t, tree)
		p, err := ReadProtocol(parse(t, pd), defs)
		if r.days < 0 {
			require.ErrorContains(t, err, "early-last-dose needs a margin of at least a day, and a mark")
			continue
		}
		require.NoError(t, err)
		require.Equal(t, r.days, p.EarlyDose)
	}
}

// Rules that a named person of the hospital has approved carry no notice; a
// protocol without rules on medicines plans none.
func TestWhoseRulesTheyAre(t *testing.T) {
	defs, pd, tree := medicineTree(t)
	p, err := ReadProtocol(parse(t, pd), defs)
	require.NoError(t, err)
	require.NotEmpty(t, p.MedicineNotice)
	tree["status"], tree["approvalDate"] = "active", "2026-11-01"
	tree["endorser"] = []any{object{"name": "An Example Approver"}}
	defs.Medicines = encoded(t, tree)
	p, err = ReadProtocol(parse(t, pd), defs)
	require.NoError(t, err)
	require.Empty(t, p.MedicineNotice)
	require.Equal(t, 14, p.UndatedDecision)
	for name, short := range map[string]any{"status": "draft", "approvalDate": nil, "endorser": nil} {
		was := tree[name]
		if tree[name] = short; short == nil {
			delete(tree, name)
		}
		defs.Medicines = encoded(t, tree)
		p, err = ReadProtocol(parse(t, pd), defs)
		require.NoError(t, err)
		require.NotEmpty(t, p.MedicineNotice, name)
		tree[name] = was
	}

	defs.Medicines = nil
	p, err = ReadProtocol(parse(t, pd), defs)
	require.NoError(t, err)
	b := only(t, p, chicago(t), atEight(t), statement(t, "m", rx("11289", "warfarin")))
	require.Len(t, b.Case.Repeats[RepeatMedicine], 1, "a person decides")
	require.Equal(t, "Warfarin (code 11289)", b.Case.Medicines[0].Name, "no rule knows it, so that its code is told")
	require.Empty(t, b.Case.Medicines[0].Rules)
}

// How doses and intervals are read: a unit that is not understood is none.
func TestDosesAndIntervals(t *testing.T) {
	for _, r := range []struct {
		name   string
		repeat object
		days   float64 // 0: not known
	}{
		{"every two weeks", object{"frequency": 1, "period": 2, "periodUnit": "wk"}, 14},
		{"twice a day", object{"frequency": 2, "period": 1, "periodUnit": "d"}, 0.5},
		{"every twelve hours", object{"frequency": 1, "period": 12, "periodUnit": "h"}, 0.5},
		{"once a month", object{"frequency": 1, "period": 1, "periodUnit": "mo"}, 30},
		{"without a frequency it is once", object{"period": 1, "periodUnit": "wk"}, 7},
		{"no unit", object{"frequency": 1, "period": 1}, 0},
		{"seconds are none", object{"frequency": 1, "period": 1, "periodUnit": "s"}, 0},
		{"no period", object{"frequency": 1, "periodUnit": "d"}, 0},
	} {
		days, known := interval(encoded(t, object{"resourceType": "MedicationStatement", "status": "active", "subject": ref("Patient/p"), "medicationCodeableConcept": object{"text": "x"}, "dosage": []any{object{"timing": object{"repeat": r.repeat}}}}).Get("dosage").Item(0).Get("timing", "repeat"))
		require.Equal(t, r.days > 0, known, r.name)
		require.InDelta(t, r.days, days, 1e-9, r.name)
	}
	p, f := defaultProtocol(t), chicago(t)
	b := only(t, p, f, atEight(t), statement(t, "m1", rx("327361", "adalimumab"), every(40, 2, "wk")), statement(t, "m2", rx("327361", "adalimumab"), every(80, 1, "wk"), lastDose("2026-11-12")),
		statement(t, "m3", rx("327361", "adalimumab"), every(40, 1, "wk")))
	m := b.Case.Medicines[0]
	require.Equal(t, 80.0, m.Dose, "the greater dose counts")
	require.Empty(t, m.Facts, "two intervals that differ leave it unknown")
	require.Equal(t, date(t, "2026-11-12"), m.Last.Day)
	b = only(t, p, f, atEight(t), statement(t, "m1", rx("327361", "adalimumab"), lastDose("2026-12-24")))
	require.Zero(t, b.Case.Medicines[0].Last, "a dose after the operation is not the last one before it")
}
