package search

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/testdata"
)

func TestTable(t *testing.T) {
	own := map[string][]string{"Task": {"due", "opens"}, "Flag": {"status"}}
	for _, typ := range Types() {
		require.True(t, fhir.IsResourceType(typ))
		require.Contains(t, summaryElements, typ)
		seen := map[string]bool{}
		for _, p := range For(typ) {
			require.False(t, seen[p.Code], "%s %s twice", typ, p.Code)
			seen[p.Code] = true
			require.NotEmpty(t, p.Kind.String())
			base := "http://hl7.org/fhir/SearchParameter/"
			if slices.Contains(own[typ], p.Code) {
				base = "http://countback.example/fhir/SearchParameter/"
			}
			require.True(t, strings.HasPrefix(p.Definition, base), p.Definition)
			for _, target := range p.Targets {
				require.True(t, fhir.IsResourceType(target), target)
			}
			if p.only != "" { // shared rows exist
				shared, ok := Lookup(typ, p.rows)
				require.True(t, ok && shared.path != nil, typ+" "+p.Code)
			}
		}
		for _, code := range own[typ] {
			require.True(t, seen[code])
		}
	}
	require.Nil(t, For("Basic"))
}

// kindsNotOffered are the kinds of parameters that cannot be searched by.
var kindsNotOffered = map[string]string{
	"special": "no distances",
}

// notOffered are the parameters of R4 that cannot be searched by, and why.
var notOffered = map[string]string{
	"phonetic": "no sounds are compared", "context": "of definitions, whose context of use is not read", "context-type": "ditto",
	"context-quantity": "ditto", "context-type-quantity": "ditto", "context-type-value": "ditto",
	"combo-code-value-concept": "a pair within one component is not held as one", "combo-code-value-quantity": "ditto",
	"component-code-value-concept": "ditto", "component-code-value-quantity": "ditto",
	"composed-of": "definitions here are composed of nothing", "depends-on": "ditto",
	"predecessor": "ditto", "successor": "ditto", "definition": "ditto", "supplements": "ditto", "component": "ditto",
	"ext-context": "structures are found by url, name and status", "keyword": "ditto", "path": "ditto", "base-path": "ditto", "valueset": "ditto",
	"expansion": "value sets are not expanded", "ValueSet reference": "ditto",
	"ValueSet code":               "what a set holds is asked of the set",
	"PlanDefinition derived-from": "ditto", "Measure derived-from": "ditto", "SearchParameter derived-from": "ditto",
	"Task encounter": "a Task is rendered from a row that has no such column",
	"Task part-of":   "ditto", "Task performer": "ditto", "Task period": "ditto", "Task priority": "ditto", "Task requester": "ditto",
}

// TestTableIsR4 compares the table with the official SearchParameters: each row
// is one, and each of these is a row or stands in notOffered.
//
// Source: npm package hl7.fhir.r4.examples 4.0.1, Bundle-searchParams.json.
func TestTableIsR4(t *testing.T) {
	var bundle struct {
		Entry []struct {
			Resource struct {
				URL, Code, Type string
				Base, Target    []string
			}
		}
	}
	official(t, "Bundle-searchParams.json", &bundle)
	offered := 0
	for _, e := range bundle.Entry {
		r := e.Resource
		for _, typ := range r.Base {
			if table[typ] == nil && typ != "Resource" {
				continue
			}
			if typ == "Resource" {
				if p, ok := Lookup("Patient", r.Code); ok {
					require.Equal(t, []string{r.Type, r.URL}, []string{p.Kind.String(), p.Definition})
				}
				continue
			}
			p, ok := Lookup(typ, r.Code)
			if !ok {
				require.True(t, excused(typ, r.Code, r.Type), "%s %s is not offered, and nothing says why", typ, r.Code)
				continue
			}
			offered++
			require.Equal(t, []string{r.Type, r.URL}, []string{p.Kind.String(), p.Definition}, typ+" "+r.Code)
			for _, target := range p.Targets {
				require.Contains(t, r.Target, target, typ+" "+r.Code)
			}
		}
	}
	t.Log(offered, "parameters of R4 are offered")
	require.Greater(t, offered, 300)
}

func excused(typ, code, kind string) bool {
	_, byKind := kindsNotOffered[kind]
	_, byCode := notOffered[code]
	_, both := notOffered[typ+" "+code]
	return byKind || byCode || both
}

// TestSummaryIsR4 compares what a summary holds with the official definitions.
//
// Source: npm package hl7.fhir.r4.examples 4.0.1, Bundle-resources.json.
func TestSummaryIsR4(t *testing.T) {
	var bundle struct {
		Entry []struct {
			Resource struct {
				ID       string
				Snapshot struct {
					Element []struct {
						Path                  string
						Min                   int
						IsSummary, IsModifier bool
						Type                  []struct{ Code string }
					}
				}
			}
		}
	}
	official(t, "Bundle-resources.json", &bundle)
	found := 0
	for _, e := range bundle.Entry {
		list, ok := summaryElements[e.Resource.ID]
		if !ok || len(e.Resource.Snapshot.Element) == 0 {
			continue
		}
		found++
		var want []string
		for _, el := range e.Resource.Snapshot.Element {
			_, name, _ := strings.Cut(el.Path, ".")
			keep := el.Min > 0 || el.IsModifier
			if name == "" || strings.Contains(name, ".") || name == "id" || name == "meta" || name == "implicitRules" || !el.IsSummary && !keep {
				continue
			}
			names := []string{name}
			if stem, choice := strings.CutSuffix(name, "[x]"); choice {
				names = nil
				for _, typ := range el.Type {
					names = append(names, stem+strings.ToUpper(typ.Code[:1])+typ.Code[1:])
				}
			}
			for _, name := range names {
				if keep {
					name += "*"
				}
				want = append(want, name)
			}
		}
		require.ElementsMatch(t, want, strings.Fields(list), e.Resource.ID)
	}
	require.Len(t, summaryElements, found)
}

func official(t *testing.T, name string, into any) {
	t.Helper()
	folder := os.Getenv("COUNTBACK_NPM")
	if folder == "" {
		cache, err := os.UserCacheDir()
		require.NoError(t, err)
		folder = filepath.Join(cache, "countback-npm")
	}
	path := testdata.NeedFile(t, filepath.Join(folder, "node_modules", "hl7.fhir.r4.examples", name),
		"npm install --prefix "+folder+" hl7.fhir.r4.examples@4.0.1")
	body, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(body, into))
}
