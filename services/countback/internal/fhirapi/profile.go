package fhirapi

import (
	"fmt"
	"io/fs"
	"slices"
	"strings"
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

// knowsProfile gives the canonical url of a profile that a caller names: by that
// url, with the version that it has or without, or by where it is served.
func (s *server) knowsProfile(named, typ string) (string, bool) {
	ours, _ := profiles()
	local := strings.TrimPrefix(named, s.Base+"/")
	url, version, pinned := strings.Cut(local, "|")
	if strings.HasPrefix(url, definitions) {
		url = ownBase + url
	}
	if !slices.Contains(profilesOf(typ), url) {
		return "", false
	}
	return url, !pinned || url == baseProfile(typ) && strings.HasPrefix(version, "4.0") || version == ours.Version(url)
}

const (
	definitions = "StructureDefinition/"
	ownBase     = "http://countback.example/fhir/"
)

// tries reports whether it is tried what would be done with the resource. What
// nobody sends, and a Task that is held against a profile, is only looked at.
func (v *validation) tries() bool {
	o, _ := offered(v.ask.typ)
	if v.mode == modeProfile {
		return false
	}
	return o.received || v.mode != "" || o.worked && (v.resource == nil || len(v.named()) == 0)
}

// claim is a profile that a resource is held against, and where that is said;
// empty where the caller says it.
type claim struct{ url, at string }

// named are the profiles that the caller names, or else the resource.
func (v *validation) named() []claim {
	if v.profile != "" {
		return []claim{{url: v.profile}}
	}
	return v.claims()
}

// claims are the profiles that the resource says it follows.
func (v *validation) claims() []claim {
	if v.resource == nil {
		return nil
	}
	var out []claim
	for n, p := range v.resource.Get("meta", "profile").Items() {
		out = append(out, claim{p.Text(), fmt.Sprintf("%s.meta.profile[%d]", v.ask.typ, n)})
	}
	return out
}

// profiled says how the resource stands to the profiles that are named, and that
// those which are not known here were not looked at.
func (s *server) profiled(v *validation) (out fhir.Issues) {
	says := func(severity, at, text string) {
		out = append(out, fhir.Issue{Severity: severity, Code: "informational", Expression: at, Text: text})
	}
	if v.resource == nil {
		return nil
	}
	ours, _ := profiles()
	for _, p := range v.named() {
		url, known := s.knowsProfile(p.url, v.ask.typ)
		if !known || url == baseProfile(v.ask.typ) {
			continue
		}
		issues, _ := ours.Check(url, v.resource)
		if len(issues) == 0 {
			says(fhir.SeverityInformation, p.at, "it follows the profile "+url+": cardinalities, fixed values, types, required bindings and extensions of ours were checked, and nothing else")
		}
		out = append(out, issues...)
	}
	for _, p := range v.claims() {
		if _, known := s.knowsProfile(p.url, v.ask.typ); !known {
			out = append(out, fhir.Issue{
				Severity: fhir.SeverityWarning, Code: fhir.CodeNotSupported, Expression: p.at, Diagnostics: p.url,
				Text: "this profile is not known here, and was not checked: the resource is taken with it, and looked at as plain R4",
			})
		}
	}
	if len(out) == 0 && !v.tries() {
		text := "it is sound R4"
		if v.mode != modeProfile {
			text += "; nothing of this type is taken in here"
		}
		says(fhir.SeverityInformation, "", text)
	}
	return out
}
