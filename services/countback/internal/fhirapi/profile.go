package fhirapi

import (
	"fmt"
	"io/fs"
	"slices"
	"sync"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/profile"
)

// profiles are ours, as they are published; read once, when the edge is made.
var profiles = sync.OnceValues(func() (*profile.Set, error) {
	var all []*fhir.Resource
	for _, pattern := range []string{"fhir/StructureDefinition-*.json", "fhir/ValueSet-*.json"} {
		names, err := fs.Glob(api.FHIR, pattern)
		if err != nil {
			return nil, err
		}
		for _, name := range names {
			body, err := fs.ReadFile(api.FHIR, name)
			if err != nil {
				return nil, err
			}
			r, issues := fhir.Parse(body, 0)
			if len(issues) > 0 {
				return nil, fmt.Errorf("%s: %w", name, issues)
			}
			all = append(all, r)
		}
	}
	return profile.Read(all...), nil
})

// baseProfile is that of R4 itself, which every resource that is let in follows.
func baseProfile(typ string) string { return "http://hl7.org/fhir/StructureDefinition/" + typ }

// profilesOf are those that a resource of a type can be held against.
func profilesOf(typ string) []string {
	ours, _ := profiles() // without them there is no edge
	return append([]string{baseProfile(typ)}, ours.Of(typ)...)
}

func knowsProfile(url, typ string) bool { return slices.Contains(profilesOf(typ), url) }

// tries reports whether it is tried what would be done with the resource. What
// nobody sends, and a Task that is held against a profile, is only looked at.
func (v *validation) tries() bool {
	o, _ := offered(v.ask.typ)
	return o.received || v.mode != "" || o.worked && (v.resource == nil || len(v.named()) == 0)
}

// named are the profiles of ours that the caller names, or else the resource.
func (v *validation) named() []string {
	if v.profile != "" {
		return []string{v.profile}
	}
	var out []string
	if v.resource == nil {
		return nil
	}
	for _, p := range v.resource.Get("meta", "profile").Items() {
		out = append(out, p.Text())
	}
	return out
}

// profiled says how the resource stands to the profiles that are named.
func (v *validation) profiled() (out fhir.Issues) {
	informs := func(text string) {
		out = append(out, fhir.Issue{Severity: fhir.SeverityInformation, Code: "informational", Text: text})
	}
	if v.resource == nil {
		return nil
	}
	for _, url := range v.named() {
		ours, _ := profiles()
		issues, known := ours.Check(url, v.resource)
		switch {
		case url == baseProfile(v.ask.typ):
		case !known:
			informs("its profile " + url + " is not known here, and was not looked at")
		case len(issues) == 0:
			informs("it follows the profile " + url + ": cardinalities, fixed values, types, required bindings and extensions of ours were checked, and nothing else")
		}
		out = append(out, issues...)
	}
	if len(out) == 0 && !v.tries() {
		informs("it is sound R4; nothing of this type is taken in here")
	}
	return out
}
