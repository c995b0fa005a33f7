package translate

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

type object = map[string]any

// decoded is the default PlanDefinition as a tree that a test may change.
func decoded(t testing.TB) (Definitions, object) {
	t.Helper()
	defs, pd := embedded(t)
	var out object
	require.NoError(t, json.Unmarshal(pd, &out))
	return defs, out
}

func encoded(t testing.TB, v any) *fhir.Resource {
	t.Helper()
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return parse(t, b)
}

func actions(pd object) []object {
	var out []object
	for _, a := range pd["action"].([]any) {
		out = append(out, a.(object))
	}
	return out
}

func action(t testing.TB, pd object, id string) object {
	t.Helper()
	for _, a := range actions(pd) {
		if a["id"] == id {
			return a
		}
	}
	require.Fail(t, "no action "+id)
	return nil
}

// renameIDs gives every step another code, wherever an action is named.
func renameIDs(v any, name func(string) string) {
	switch v := v.(type) {
	case []any:
		for _, e := range v {
			renameIDs(e, name)
		}
	case object:
		for key, e := range v {
			if s, ok := e.(string); ok && key == "actionId" || ok && v["url"] == "actionId" && key != "url" {
				v[key] = name(s)
				continue
			}
			renameIDs(e, name)
		}
	}
}

// The steps, their dates and their texts are data: under other names, with one
// step more, the plan is the same plan with one item more.
func TestStepsAreData(t *testing.T) {
	defs, pd := decoded(t)
	rename := func(code string) string {
		if readiness.IsAnchor(code) {
			return code
		}
		return "x-" + code
	}
	for _, a := range actions(pd) {
		a["id"] = rename(a["id"].(string))
		renameIDs(a, rename)
	}
	added := object{}
	b, err := json.Marshal(action(t, pd, "x-home-safety"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(b, &added))
	added["id"], added["title"] = "x-added", "A step of this hospital's own"
	added["relatedAction"] = []any{object{
		"actionId": "surgery", "relationship": "before-start",
		"offsetRange": object{"low": days(9), "high": days(12)},
	}}
	pd["action"] = append(pd["action"].([]any), added)

	p, err := ReadProtocol(encoded(t, pd), defs)
	require.NoError(t, err)
	f, first := chicago(t), defaultProtocol(t)
	c := f.hipOn(t, onS)
	c.Facts = allFacts(first)
	now := f.clock(t, "2026-11-16 09:00")
	want := map[string]string{"x-added": "open Wed 18 Nov 2026 Sat 21 Nov 2026 Sun 29 Nov 2026"}
	for _, i := range readiness.Make(&c, first.Protocol, f.Calendar, now).Items {
		want["x-"+i.Key.Step] = dated(i)
	}
	got := map[string]string{}
	for _, i := range readiness.Make(&c, p.Protocol, f.Calendar, now).Items {
		got[i.Key.Step] = dated(i)
	}
	want["x-added"] = strings.Replace(want["x-added"], "open", "upcoming", 1) // opens in two days
	require.Equal(t, want, got)
	require.Greater(t, len(want), 80)
}

func days(n int) object {
	return object{"value": n, "unit": "days", "system": "http://unitsofmeasure.org", "code": "d"}
}

func dated(i readiness.Item) string {
	out := strings.Join([]string{string(i.State), i.Opens.Words(), i.Due.Words(), i.Last.Words()}, " ")
	for _, w := range i.Waits {
		out += " waits for " + strings.TrimPrefix(w, "x-")
	}
	return out
}

// Whoever does a step, and the patient or coach, can do it from the text.
func TestEveryStepIsComplete(t *testing.T) {
	const shortest = 25 // words for the patient
	_, pd := decoded(t)
	p := defaultProtocol(t)
	roles, kinds, marks := codesOf(t, "role"), codesOf(t, "step-kind"), codesOf(t, "source-mark")
	for n := range p.Steps {
		s := &p.Steps[n]
		t.Run(s.Code, func(t *testing.T) {
			require.NotEmpty(t, s.Title)
			require.NotEmpty(t, s.Summary)
			require.NotEmpty(t, s.ForPerformer)
			require.GreaterOrEqual(t, len(strings.Fields(s.ForPatient)), shortest)
			require.NotEmpty(t, s.Sources)
			for _, src := range s.Sources {
				require.NotEmpty(t, src.Text)
				require.Contains(t, marks, src.Mark)
			}
			for _, pf := range s.Performers {
				require.Contains(t, roles, pf.Role)
				require.NotEmpty(t, pf.Display)
			}
			if s.Kind != "" {
				require.Contains(t, kinds, s.Kind)
			}
			names := map[string]bool{}
			for _, e := range action(t, pd, s.Code)["extension"].([]any) {
				names[strings.TrimPrefix(e.(object)["url"].(string), ExtensionBase)] = true
			}
			require.True(t, names["evidence-expiry"], "how long it counts once done")
			require.True(t, names["on-hold"], "what a hold does to it")
		})
	}
	require.Greater(t, len(p.Steps), 80)
}

func codesOf(t testing.TB, codeSystem string) []string {
	t.Helper()
	b, err := api.FHIR.ReadFile("fhir/CodeSystem-" + codeSystem + ".json")
	require.NoError(t, err)
	var out []string
	for _, c := range parse(t, b).Get("concept").Items() {
		out = append(out, c.String("code"))
	}
	require.NotEmpty(t, out)
	return out
}

// Conditions are checked against the list of facts when they are compiled; what
// the inputs give, and what the value sets are called, is checked here.
func TestEveryFactIsListed(t *testing.T) {
	p, known := defaultProtocol(t), codesOf(t, "fact")
	require.NotEmpty(t, p.rules)
	for _, r := range p.rules {
		require.Contains(t, known, r.Fact)
		require.NotNil(t, r.Set)
		require.NotNil(t, r.Value)
	}
	for _, f := range p.Facts {
		require.NotEmpty(t, f.Question, f.Name)
		require.Regexp(t, "^(on )?wh", f.Question, "%s: the question must fit behind “it must be known”", f.Name)
	}
}

// An example protocol says so until a named approver signs it.
func TestApproval(t *testing.T) {
	defs, pd := decoded(t)
	require.False(t, defaultProtocol(t).Approved)
	approve := map[string]any{"status": "active", "approvalDate": "2026-11-02", "endorser": []any{object{"name": "Dr Wendeline Thatchmarsh"}}}
	for missing := range approve {
		changed := object{}
		for k, v := range pd {
			changed[k] = v
		}
		for k, v := range approve {
			if k != missing {
				changed[k] = v
			}
		}
		p, err := ReadProtocol(encoded(t, changed), defs)
		require.NoError(t, err)
		require.False(t, p.Approved, "without %s", missing)
	}
	for k, v := range approve {
		pd[k] = v
	}
	p, err := ReadProtocol(encoded(t, pd), defs)
	require.NoError(t, err)
	require.True(t, p.Approved)
}

// Every fault of a definition is told at once, each with its action.
func TestReadProtocolNamesEveryFault(t *testing.T) {
	condition := func(language, text string) []any {
		return []any{object{"kind": "applicability", "expression": object{"language": language, "expression": text}}}
	}
	related := func(a object) object { return a["relatedAction"].([]any)[0].(object) }
	setExt := func(a object, name, key string, v any) {
		for _, e := range a["extension"].([]any) {
			if e := e.(object); e["url"] == ExtensionBase+name {
				if parts, ok := e["extension"].([]any); ok {
					e = parts[0].(object)
				}
				e[key] = v
			}
		}
	}
	for _, r := range []struct {
		name   string
		change func(step, surgery object)
		says   string
	}{
		{"unknown fact", func(a, _ object) { a["condition"] = condition("text/cel", "has_cats") }, "home-safety: condition \"has_cats\": ERROR: <input>:1:1: undeclared reference to 'has_cats'"},
		{"not true or false", func(a, _ object) { a["condition"] = condition("text/cel", "joint") }, "the condition gives string"},
		{"another language", func(a, _ object) { a["condition"] = condition("text/cql", "true") }, `a condition is written in "text/cql"; only text/cel is understood`},
		{"two conditions", func(a, _ object) {
			a["condition"] = append(condition("text/cel", "has_pets"), condition("text/cel", "diabetes")...)
		}, "home-safety: more than one condition: join them with &&"},
		{"no need", func(a, _ object) { delete(a, "requiredBehavior") }, `home-safety: requiredBehavior "" is none of must, must-unless-documented, could`},
		{"unknown unit", func(a, _ object) {
			related(a)["offsetRange"].(object)["low"] = object{"value": 9, "system": "http://unitsofmeasure.org", "code": "mL"}
		}, `home-safety: the unit "mL" is none of min, h, d, wk, mo, a`},
		{"half a day", func(a, _ object) { related(a)["offsetRange"].(object)["low"] = object{"value": 0.5, "code": "d"} }, `home-safety: "0.5" is not a whole number`},
		{"concurrent", func(a, _ object) { related(a)["relationship"] = "concurrent" }, `home-safety: relationship "concurrent" is neither before nor after`},
		{"no expiry", func(a, _ object) { setExt(a, "evidence-expiry", "valueCode", "sometimes") }, `home-safety: evidence-expiry "sometimes" is none of never, days, this-date, own-end-date`},
		{"unknown action", func(a, _ object) { related(a)["actionId"] = "nowhere" }, `home-safety refers to "nowhere", which is no action of this protocol`},
		{"nobody", func(a, _ object) { delete(a, "participant") }, "home-safety has nobody to do it"},
		{"unknown value set", func(_, s object) {
			s["input"].([]any)[0].(object)["codeFilter"].([]any)[0].(object)["valueSet"] = "http://hospital.example/none"
		}, "surgery: input names the value set http://hospital.example/none, which is not known"},
		{"unknown fact given", func(_, s object) {
			gives := s["input"].([]any)[0].(object)["extension"].([]any)[0].(object)["extension"].([]any)
			gives[0].(object)["valueCode"] = "weather"
		}, `surgery: input gives the fact "weather", which is not in the list of facts`},
	} {
		t.Run(r.name, func(t *testing.T) {
			defs, pd := decoded(t)
			r.change(action(t, pd, "home-safety"), action(t, pd, "surgery"))
			_, err := ReadProtocol(encoded(t, pd), defs)
			var refused *readiness.ProtocolError
			require.ErrorAs(t, err, &refused)
			require.NotEmpty(t, refused.Faults)
			for _, f := range refused.Faults {
				require.Contains(t, f, r.says, "no other fault")
			}
		})
	}
}

func TestFaultsAreToldTogether(t *testing.T) {
	defs, pd := decoded(t)
	delete(action(t, pd, "home-safety"), "requiredBehavior")
	delete(action(t, pd, "bag-packed"), "requiredBehavior")
	_, err := ReadProtocol(encoded(t, pd), defs)
	require.ErrorContains(t, err, "home-safety: ")
	require.ErrorContains(t, err, "bag-packed: ")
}
