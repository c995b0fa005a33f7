package wirecheck

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
)

// byHand looks for what the validators let pass, in a decoded resource.
func byHand(tree any) []string {
	w := &walk{}
	w.value("", tree, &scope{})
	slices.Sort(w.found)
	return w.found
}

// scope is what a reference inside a resource can point to without leaving it.
type scope struct {
	contained map[string]bool // "#id"
	entries   map[string]bool // fullUrl of the Bundle's entries
}

type walk struct{ found []string }

func (w *walk) fault(at, format string, args ...any) {
	w.found = append(w.found, strings.TrimPrefix(at, ".")+": "+fmt.Sprintf(format, args...))
}

func (w *walk) value(at string, value any, in *scope) {
	switch value := value.(type) {
	case nil:
		w.fault(at, "null")
	case string:
		if strings.TrimSpace(value) == "" {
			w.fault(at, "empty string")
		}
	case []any:
		if len(value) == 0 {
			w.fault(at, "empty array")
		}
		for i, item := range value {
			w.value(fmt.Sprintf("%s[%d]", at, i), item, in)
		}
	case map[string]any:
		w.object(at, value, in)
	}
}

func (w *walk) object(at string, object map[string]any, in *scope) {
	if len(object) == 0 {
		w.fault(at, "empty object")
	}
	if _, isResource := object["resourceType"]; isResource && !strings.HasSuffix(trimIndex(at), ".contained") {
		in = inside(object, in)
	}
	if turnedRound(object) {
		w.fault(at, "ends before it starts")
	}
	if name, ok := object["reference"].(string); ok && !in.has(name) {
		w.fault(at, "nothing here is called %s", name)
	}
	if div, ok := object["div"].(string); ok {
		if err := checkNarrative(div); err != nil {
			w.fault(at, "narrative: %v", err)
		}
	}
	for name, value := range object {
		list, isList := value.([]any)
		if beside, ok := object["_"+name].([]any); ok && isList {
			value = withoutHeld(list, beside)
		}
		if strings.HasPrefix(name, "_") && isList {
			value = withoutNull(list)
		}
		w.value(at+"."+name, value, in)
	}
}

// withoutHeld replaces each null that stands for an extension in the list beside.
func withoutHeld(list, beside []any) []any {
	list = slices.Clone(list)
	for i := range list {
		if list[i] == nil && i < len(beside) && beside[i] != nil {
			list[i] = true
		}
	}
	return list
}

func withoutNull(list []any) []any {
	return slices.DeleteFunc(slices.Clone(list), func(one any) bool { return one == nil })
}

func trimIndex(at string) string {
	if open := strings.LastIndex(at, "["); open > 0 && strings.HasSuffix(at, "]") {
		return at[:open]
	}
	return at
}

// inside is the scope of a resource that is not a contained one.
func inside(resource map[string]any, outer *scope) *scope {
	in := &scope{contained: map[string]bool{"#": true}, entries: outer.entries}
	for _, one := range members(resource, "contained") {
		if id, ok := one["id"].(string); ok {
			in.contained["#"+id] = true
		}
	}
	if resource["resourceType"] == "Bundle" {
		in.entries = map[string]bool{}
		for _, entry := range members(resource, "entry") {
			if name, ok := entry["fullUrl"].(string); ok {
				in.entries[name] = true
			}
		}
	}
	return in
}

func members(object map[string]any, name string) []map[string]any {
	list, _ := object[name].([]any)
	var found []map[string]any
	for _, one := range list {
		if member, ok := one.(map[string]any); ok {
			found = append(found, member)
		}
	}
	return found
}

func (s *scope) has(name string) bool {
	switch {
	case strings.HasPrefix(name, "#"):
		return s.contained[name]
	case strings.HasPrefix(name, "urn:uuid:") && s.entries != nil:
		return s.entries[name]
	}
	return true
}

// turnedRound compares the start and end of a Period, an Appointment or a slot
// as far as both are given: a month ends no earlier than any of its days starts.
func turnedRound(object map[string]any) bool {
	start, _ := object["start"].(string)
	end, _ := object["end"].(string)
	if start == "" || end == "" {
		return false
	}
	from, errStart := time.Parse(time.RFC3339, start)
	to, errEnd := time.Parse(time.RFC3339, end)
	if errStart == nil && errEnd == nil {
		return to.Before(from)
	}
	shorter := min(len(start), len(end), len(time.DateOnly))
	return end[:shorter] < start[:shorter]
}

const xhtml = "http://www.w3.org/1999/xhtml"

// narrativeElements is what R4 lets a narrative use: the text, list and table
// elements of HTML 4.0 chapters 7 to 11 and 15, links and images.
// Source: hl7.org/fhir/R4/narrative.html (list of elements from memory).
var narrativeElements = strings.Fields(`div p br b i u em strong small big tt code pre samp kbd var cite dfn abbr
	acronym sub sup q blockquote span ul ol li dl dt dd table caption thead tfoot tbody colgroup col tr th td
	h1 h2 h3 h4 h5 h6 a img hr address bdo ins del`)

// checkNarrative reads the div as XML, which it must be.
func checkNarrative(div string) error {
	decoder := xml.NewDecoder(strings.NewReader(div))
	content := false
	for {
		token, err := decoder.Token()
		switch {
		case errors.Is(err, io.EOF) && !content:
			return errors.New("says nothing")
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		switch token := token.(type) {
		case xml.StartElement:
			if err := checkElement(token); err != nil {
				return err
			}
			content = content || token.Name.Local == "img"
		case xml.CharData:
			content = content || strings.TrimSpace(string(token)) != ""
		}
	}
}

func checkElement(element xml.StartElement) error {
	name := element.Name
	if name.Space != xhtml || !slices.Contains(narrativeElements, name.Local) {
		return fmt.Errorf("<%s> of %q has no place in it", name.Local, name.Space)
	}
	for _, attribute := range element.Attr {
		if strings.HasPrefix(strings.ToLower(attribute.Name.Local), "on") {
			return fmt.Errorf("<%s> carries a script", name.Local)
		}
	}
	return nil
}
