package profile

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
)

// Check says where a resource does not follow the profile with the url. known is
// false when no such profile of its type is known.
func (s *Set) Check(url string, r *fhir.Resource) (issues fhir.Issues, known bool) {
	p := s.profiles[url]
	if p == nil || p.typ != r.Type {
		return nil, false
	}
	c := &checking{set: s}
	c.structure(p, found{r.Type, r.Root()})
	c.extensions(found{r.Type, r.Root()})
	return c.issues, true
}

type checking struct {
	set    *Set
	issues fhir.Issues
}

// found is an element, and where it is.
type found struct {
	at   string
	node *fhir.Node
}

func (c *checking) fail(at, code, text string) {
	c.issues = append(c.issues, fhir.Issue{Severity: fhir.SeverityError, Code: code, Expression: at, Text: text})
}

func (c *checking) structure(p *structure, root found) {
	for _, rule := range p.elements {
		holders := []found{root}
		for n := range rule.steps[:len(rule.steps)-1] {
			var next []found
			for _, h := range holders {
				next = append(next, p.below(h, rule.steps[:n+1])...)
			}
			holders = next
		}
		for _, h := range holders {
			c.rule(rule, h, p.below(h, rule.steps))
		}
	}
}

// below are the elements that the last of the steps leads to.
func (p *structure) below(h found, steps []step) []found {
	last := steps[len(steps)-1]
	var out []found
	for name, v := range h.node.Members() {
		stem, choice := strings.CutSuffix(last.name, "[x]")
		rest, begins := strings.CutPrefix(name, stem)
		if name != last.name && !(choice && begins && rest != "" && rest[0] >= 'A' && rest[0] <= 'Z') {
			continue
		}
		for i, item := range v.Items() {
			at := h.at + "." + name
			if v.Kind() == fhir.Array {
				at += "[" + strconv.Itoa(i) + "]"
			}
			if last.slice == "" || item.String("url") == p.urlOf(steps) {
				out = append(out, found{at, item})
			}
		}
	}
	return out
}

// urlOf is the url by which a slice of extension is known: that of its definition,
// or the one that is fixed for it.
func (p *structure) urlOf(steps []step) string {
	for _, r := range p.elements {
		if slices.Equal(r.steps, steps) && r.profile != "" {
			return r.profile
		}
		if len(r.steps) == len(steps)+1 && slices.Equal(r.steps[:len(steps)], steps) && r.steps[len(steps)].name == "url" {
			return r.fixed
		}
	}
	return ""
}

func (c *checking) rule(r rule, holder found, all []found) {
	last := r.steps[len(r.steps)-1]
	name := last.name
	if last.slice != "" {
		name += " " + last.slice
	}
	at := holder.at + "." + strings.TrimSuffix(last.name, "[x]")
	switch {
	case len(all) < r.min:
		c.fail(at, fhir.CodeRequired, fmt.Sprintf("the profile demands %d of %s, and there are %d", r.min, name, len(all)))
	case r.max >= 0 && len(all) > r.max:
		c.fail(at, fhir.CodeStructure, fmt.Sprintf("the profile allows %d of %s, and there are %d", r.max, name, len(all)))
	}
	for _, f := range all {
		c.value(r, f)
	}
}

func (c *checking) value(r rule, f found) {
	if r.fixed != "" && f.node.Text() != r.fixed {
		c.fail(f.at, fhir.CodeValue, "the profile fixes the value "+r.fixed)
	}
	if stem, choice := strings.CutSuffix(r.steps[len(r.steps)-1].name, "[x]"); choice && len(r.types) > 0 {
		typ := strings.TrimPrefix(f.at[strings.LastIndexByte(f.at, '.')+1:], stem)
		if !slices.ContainsFunc(r.types, func(t string) bool { return strings.EqualFold(t, typ) }) {
			c.fail(f.at, fhir.CodeStructure, "the profile allows a value of type "+strings.Join(r.types, ", "))
		}
	}
	if reference := f.node.String("reference"); len(r.targets) > 0 && reference != "" {
		ref, err := fhir.ParseRef(reference, "")
		if err == nil && ref.IsLocal() && !slices.Contains(r.targets, ref.Type) {
			c.fail(f.at, fhir.CodeValue, "the profile allows a reference to "+strings.Join(r.targets, ", "))
		}
	}
	if codes := c.set.codes[r.binding]; codes != nil && !bound(f.node, codes) {
		c.fail(f.at, "code-invalid", "the profile demands a code of "+r.binding)
	}
}

// bound reports whether one of the codes of a concept, a coding or a code is among
// those of a value set.
func bound(n *fhir.Node, codes []string) bool {
	if n.Kind() == fhir.String {
		return slices.ContainsFunc(codes, func(c string) bool { return strings.HasSuffix(c, "|"+n.Text()) })
	}
	codings := n.Get("coding")
	if !codings.Exists() {
		codings = n
	}
	for _, coding := range codings.Items() {
		if slices.Contains(codes, coding.String("system")+"|"+coding.String("code")) {
			return true
		}
	}
	return false
}

// extensions checks all extensions of ours, wherever they stand.
func (c *checking) extensions(f found) {
	for name, v := range f.node.Members() {
		for i, item := range v.Items() {
			inner := found{f.at + "." + name, item}
			if v.Kind() == fhir.Array {
				inner.at += "[" + strconv.Itoa(i) + "]"
			}
			if p := c.set.profiles[item.String("url")]; name == "extension" && p != nil && p.typ == "Extension" {
				c.structure(p, inner)
			}
			if item.Kind() == fhir.Object {
				c.extensions(inner)
			}
		}
	}
}
