package translate

import (
	"encoding/json"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// OutputAgreed is the code of a Task.output that says, as a valueBoolean, whether
// a second person agrees with a signature later than the rules give.
const OutputAgreed = "agreed"

// looks takes what a second person says of a signature into the work: that they
// agree, or that they do not and why, with the name of somebody else than who
// signed.
func (f Facility) looks(w *Work, sent *fhir.Resource, item *readiness.Item, o WorkOptions) fhir.Issues {
	if item.Step.Trigger != readiness.TriggerLateSigned {
		return nil
	}
	var said []bool
	for _, out := range sent.Get("output").Items() {
		if outputCode(out) == OutputAgreed && out.Get("valueBoolean").Exists() {
			said = append(said, out.Get("valueBoolean").Bool())
		}
	}
	switch {
	case len(said) == 0:
		return refuse("output", "required", "Task.output is missing: say whether you agree with what was signed (type "+SystemOutput+"|"+OutputAgreed+", valueBoolean); not agreed asks for the signature again")
	case slices.Contains(said, !said[0]):
		return refuse("output", "business-rule", "Task.output contradicts itself: agreed is said once")
	case !said[0] && reasonText(sent) == "":
		return refuse("statusReason.text", "required", "Task.statusReason.text is missing: say why you do not agree with what was signed")
	}
	if issues := another(sent.Bytes(sent.Get("owner")), o); len(issues) > 0 {
		return issues
	}
	w.Look, w.Reason = string(readiness.Agreed), reasonText(sent)
	if !said[0] {
		w.Look = string(readiness.NotAgreed)
	}
	return nil
}

// another refuses whoever signed, and whoever cannot be told apart from them.
func another(owner json.RawMessage, o WorkOptions) fhir.Issues {
	a, b := o.identity(owner), o.identity(o.Signer)
	switch {
	case a.reference != "" && a.reference == b.reference, a.number != "" && a.number == b.number, sameName(a.name, b.name):
		return refuse("owner", "business-rule", "Task.owner is, or may be, whoever signed the last dose: a second person looks at it; where two people have a name in common, give both names in full")
	case a.name != "" && b.name != "", a.reference != "" && b.reference != "" && a.kind() == b.kind(), a.system() != "" && a.system() == b.system():
		return nil
	}
	return refuse("owner", "business-rule", "Task.owner cannot be told apart from whoever signed the last dose: give the name of the second person as its display")
}

// identity is what a Reference to a person tells them apart by.
type identity struct {
	reference string // Type/id
	number    string // system|value of an identifier
	name      string
}

func (s identity) kind() string {
	kind, _, _ := strings.Cut(s.reference, "/")
	return kind
}

func (s identity) system() string {
	system, _, _ := strings.Cut(s.number, "|")
	return system
}

func (o *WorkOptions) identity(owner json.RawMessage) identity {
	var r struct {
		Reference, Display string
		Identifier         struct{ System, Value string }
	}
	if json.Unmarshal(owner, &r) != nil {
		return identity{}
	}
	out := identity{name: strings.TrimSpace(r.Display)}
	if ref, _, _ := strings.Cut(r.Reference, "/_history/"); ref != "" {
		parts := strings.Split(ref, "/")
		out.reference = strings.Join(parts[max(0, len(parts)-2):], "/")
	}
	if r.Identifier.System != "" && r.Identifier.Value != "" {
		out.number = r.Identifier.System + "|" + r.Identifier.Value
	}
	if out.name == "" && out.reference != "" && o.NameOf != nil {
		if name := o.NameOf(out.reference); name != out.reference {
			out.name = name
		}
	}
	return out
}

// sameName reports whether two names may be those of one person: each word of the
// shorter one stands in the other, or is an initial of a word there, in any
// order. Titles and roles are no part of a name.
func sameName(a, b string) bool {
	short, long := nameWords(a), nameWords(b)
	if len(short) > len(long) {
		short, long = long, short
	}
	if len(short) == 0 {
		return false
	}
	for _, word := range short {
		n := slices.IndexFunc(long, func(other string) bool {
			return word == other || len([]rune(word)) == 1 && strings.HasPrefix(other, word) || len([]rune(other)) == 1 && strings.HasPrefix(word, other)
		})
		if n < 0 {
			return false
		}
		long = slices.Delete(slices.Clone(long), n, n+1)
	}
	return true
}

// nameWords are the words of a name in lower case, without accents or titles.
func nameWords(name string) []string {
	return slices.DeleteFunc(wordsOf(name), func(word string) bool { return theWords().ofNobody[word] })
}
