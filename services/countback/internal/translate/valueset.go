package translate

import (
	"fmt"
	"regexp"
	"slices"

	"example.org/countback/pkg/fhir"
)

// ValueSet decides whether a code belongs to a set. System and code must both
// match; a bare number means nothing without its system.
type ValueSet struct {
	URL      string
	includes []inclusion
	excludes []inclusion
}

type inclusion struct {
	system   string
	codes    map[string]bool
	names    []string // of the codes, where the set gives them
	patterns []*regexp.Regexp
	named    map[string]string   // by code
	others   map[string][]string // by code or pattern: what else is in a product that no set knows
	whole    map[string]bool     // by code or pattern: the rule is about all that is in it
}

// Coding is a system and a code.
type Coding struct{ System, Code string }

// ReadValueSet reads a ValueSet whose compose lists codes, and patterns
// (filter on "code" with op regex) for systems whose hierarchy is a prefix.
// Anything it could not decide by itself (is-a filters, other value sets) is an
// error that names the element.
func ReadValueSet(r *fhir.Resource) (*ValueSet, error) {
	v := &ValueSet{URL: r.String("url")}
	for what, into := range map[string]*[]inclusion{"include": &v.includes, "exclude": &v.excludes} {
		for n, in := range r.Get("compose", what).Items() {
			read, err := readInclusion(in)
			if err != nil {
				return nil, fmt.Errorf("ValueSet %s: compose.%s[%d]: %w", v.URL, what, n, err)
			}
			*into = append(*into, read)
		}
	}
	return v, nil
}

func readInclusion(n *fhir.Node) (inclusion, error) {
	in := inclusion{system: n.String("system"), codes: map[string]bool{}, named: map[string]string{}, others: map[string][]string{}, whole: map[string]bool{}}
	if in.system == "" || n.Get("valueSet").Exists() {
		return in, fmt.Errorf("only codes of a named system can be decided here")
	}
	for _, c := range n.Get("concept").Items() {
		in.codes[c.String("code")] = true
		if name := c.String("display"); name != "" {
			in.names = append(in.names, name)
			in.named[c.String("code")] = name
		}
		in.also(c.String("code"), c)
	}
	for i, f := range n.Get("filter").Items() {
		if f.String("property") != "code" || f.String("op") != "regex" {
			return in, fmt.Errorf("filter[%d]: only a regex on code can be decided here", i)
		}
		re, err := regexp.Compile("^(?:" + f.String("value") + ")$")
		if err != nil {
			return in, fmt.Errorf("filter[%d].value: %w", i, err)
		}
		in.patterns = append(in.patterns, re)
		in.also(re.String(), f)
	}
	return in, nil
}

// Has reports whether the set holds the coding.
func (v *ValueSet) Has(c Coding) bool {
	return anyHas(v.includes, c) && !anyHas(v.excludes, c)
}

func anyHas(list []inclusion, c Coding) bool {
	for _, in := range list {
		if in.system != c.System {
			continue
		}
		if in.codes[c.Code] || len(in.codes) == 0 && len(in.patterns) == 0 {
			return true
		}
		for _, re := range in.patterns {
			if re.MatchString(c.Code) {
				return true
			}
		}
	}
	return false
}

// also notes what else a product holds, of which its concept or pattern tells.
func (in *inclusion) also(key string, n *fhir.Node) {
	if value(extension(n, "whole-product")).Bool() {
		in.whole[key] = true
	}
	for _, e := range extensions(n, "other-ingredient") {
		if name := value(e).Text(); name != "" {
			in.others[key] = append(in.others[key], name)
		}
	}
}

// Others names the ingredients of a product beside those in whose sets it stands.
func (v *ValueSet) Others(c Coding) []string {
	var out []string
	for _, in := range v.includes {
		for _, key := range in.keys(c) {
			out = append(out, in.others[key]...)
		}
	}
	return out
}

// Whole reports whether the set is about a product with all that is in it.
func (v *ValueSet) Whole(c Coding) bool {
	for _, in := range v.includes {
		if slices.ContainsFunc(in.keys(c), func(key string) bool { return in.whole[key] }) {
			return true
		}
	}
	return false
}

// keys are the code and the patterns by which an inclusion holds a code.
func (in *inclusion) keys(c Coding) []string {
	if in.system != c.System {
		return nil
	}
	out := []string{c.Code}
	for _, re := range in.patterns {
		if re.MatchString(c.Code) {
			out = append(out, re.String())
		}
	}
	return out
}

// Name is what the set calls a code; empty where it does not say.
func (v *ValueSet) Name(c Coding) string {
	for _, in := range v.includes {
		if name := in.named[c.Code]; in.system == c.System && name != "" {
			return name
		}
	}
	return ""
}
