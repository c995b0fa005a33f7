package kitcheck

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
)

// restFaults are wrong in patches, deletions, histories, includes, parts of
// resources and validation.
var restFaults = []fault{
	{name: "a patch is answered and not stored", instead: func(b *broken, m *message) bool {
		if m.Method != http.MethodPatch {
			return false
		}
		m.status, m.header, m.out = b.send(http.MethodGet, m.URL.RequestURI(), http.Header{}, nil)
		return true
	}},
	{name: "a refused patch is 200", answer: func(m *message) {
		if m.Method == http.MethodPatch && (m.status == 400 || m.status == 422) {
			m.status = 200
		}
	}},
	{name: "a FHIRPath Patch is 415", answer: func(m *message) {
		if m.Method == http.MethodPatch && strings.HasPrefix(m.Header.Get("Content-Type"), "application/fhir+json") {
			m.status = 415
		}
	}},
	{name: "a patch of nothing is 200", answer: onMethod(http.MethodPatch, 404, 200)},
	{name: "If-Match of a patch is ignored", ask: func(m *message) {
		if m.Method == http.MethodPatch {
			m.Header.Del("If-Match")
		}
	}},
	{name: "If-Match of a patch is never met", answer: func(m *message) {
		if m.Method == http.MethodPatch && m.Header.Get("If-Match") != "" {
			m.status = 412
		}
	}},
	{name: "the media type of a patch is ignored", ask: func(m *message) {
		if m.Method == http.MethodPatch {
			m.Header.Set("Content-Type", "application/json-patch+json")
		}
	}},
	{name: "a patch has no ETag", answer: func(m *message) {
		if m.Method == http.MethodPatch {
			m.header.Del("ETag")
		}
	}},
	{name: "only an identifier is a condition", answer: func(m *message) {
		byQuery := m.Method != http.MethodGet && m.Method != http.MethodPost && m.URL.RawQuery != ""
		condition := m.URL.RawQuery + m.Header.Get("If-None-Exist")
		if (byQuery || m.Header.Get("If-None-Exist") != "") && !strings.Contains(condition, "identifier=") {
			m.status = 400
		}
	}},
	{name: "unknown conditions are left out", ask: dropped(func(name string) bool { return name == "no-such-parameter" })},
	{name: "profiles are not looked at", ask: func(m *message) {
		if strings.HasSuffix(m.path(), "$validate") {
			m.query.Del("profile")
			m.editSent(func(o object) { delete(o, "meta") })
		}
	}},
	{name: "a delete is 405", answer: func(m *message) {
		if m.Method == http.MethodDelete {
			m.status = 405
		}
	}},
	{name: "a delete is answered and not carried out", instead: func(_ *broken, m *message) bool {
		m.status, m.header = 204, http.Header{}
		return m.Method == http.MethodDelete
	}},
	{name: "what was deleted is 404", answer: status(410, 404)},
	{name: "anything can be deleted", answer: onMethod(http.MethodDelete, 405, 204)},
	{name: "a second delete is 404", answer: afterDelete(func(m *message, again bool) {
		if again && m.Method == http.MethodDelete {
			m.status = 404
		}
	})},
	{name: "what was deleted stays away", answer: afterDelete(func(m *message, _ bool) {
		if m.Method == http.MethodPut {
			m.status = 410
		}
	})},
	{name: "a deletion takes the versions with it", answer: afterDelete(func(m *message, _ bool) {
		if strings.Contains(m.path(), "_history/") {
			m.status = 410
		}
	})},
	{name: "a conditional delete fails", answer: func(m *message) {
		if m.Method == http.MethodDelete && m.URL.RawQuery != "" {
			m.status = 500
		}
	}},
	{name: "a conditional delete takes one of several", instead: deleteFirst},

	{name: "histories begin with the oldest", answer: searched(func(o object) { slices.Reverse(entries(o)) })},
	{name: "histories do not say by what", answer: searched(func(o object) { each1(o, func(e object) { delete(e, "request") }) })},
	{name: "histories do not say what was answered", answer: searched(func(o object) { each1(o, func(e object) { delete(e, "response") }) })},
	{name: "histories count one page", answer: searched(func(o object) { o["total"] = 1 })},
	{name: "_since is lost", ask: dropped(func(name string) bool { return name == "_since" })},
	{name: "_count is lost", ask: dropped(func(name string) bool { return name == "_count" })},
	{name: "histories of types are empty", answer: func(m *message) {
		if m.path() == "Patient/_history" || m.path() == "_history" {
			m.edit(func(o object) { delete(o, "entry") })
		}
	}},
	{name: "the history of nothing is 200", answer: onMethod(http.MethodGet, 404, 200)},
	{name: "a deletion has a resource", answer: searched(func(o object) {
		each1(o, func(e object) {
			if e["resource"] == nil {
				e["resource"] = object{"resourceType": "Patient"}
			}
		})
	})},
	{name: "histories have no links", answer: searched(func(o object) { delete(o, "link") })},

	{name: "_include is lost", ask: dropped(func(name string) bool { return name == "_include" })},
	{name: "_revinclude is lost", ask: dropped(func(name string) bool { return name == "_revinclude" })},
	{name: "what was included counts", answer: searched(func(o object) { o["total"] = len(entries(o)) })},
	{name: "what was included is a match", answer: searched(func(o object) { each1(o, func(e object) { e["search"] = object{"mode": "match"} }) })},
	{name: "it is included for each match", answer: searched(func(o object) {
		if list := entries(o); len(list) > 0 {
			o["entry"] = append(list, list[len(list)-1])
		}
	})},
	{name: "an unreadable include is ignored", answer: func(m *message) {
		if m.query.Get("_include") == "unheardof" {
			m.status = 200
		}
	}},
	{name: "chains are lost", ask: dropped(func(name string) bool { return strings.Contains(name, ".") })},
	{name: "_has is lost", ask: dropped(func(name string) bool { return strings.HasPrefix(name, "_has") })},
	{name: "_has finds nobody", answer: func(m *message) {
		if strings.Contains(m.URL.RawQuery, "_has") {
			m.edit(func(o object) { delete(o, "entry"); o["total"] = 0 })
		}
	}},
	{name: "self does not name the include", answer: searched(func(o object) {
		selfLink(o, func(at string) string { bare, _, _ := strings.Cut(at, "_include"); return bare })
	})},

	{name: "_summary is lost", ask: dropped(func(name string) bool { return name == "_summary" })},
	{name: "_elements is lost", ask: dropped(func(name string) bool { return name == "_elements" })},
	{name: "parts are not tagged", answer: func(m *message) {
		m.edit(func(o object) {
			each(o, func(r object) {
				if meta, ok := r["meta"].(object); ok {
					delete(meta, "tag")
				}
			})
		})
	}},
	{name: "everything is tagged as a part", answer: func(m *message) {
		m.edit(func(o object) {
			each(o, func(r object) {
				if meta, ok := r["meta"].(object); ok {
					meta["tag"] = []any{object{"system": "http://terminology.hl7.org/CodeSystem/v3-ObservationValue", "code": "SUBSETTED"}}
				}
			})
		})
	}},
	{name: "parts lack what is mandatory", answer: of("Condition", func(r object) { delete(r, "subject") })},
	{name: "an unknown summary is the whole", ask: func(m *message) {
		if m.query.Get("_summary") == "unheardof" {
			m.query.Del("_summary")
		}
	}},

	{name: "everything is valid", answer: validated(func(m *message) {
		m.out = []byte(`{"resourceType":"OperationOutcome","issue":[{"severity":"information","code":"informational"}]}`)
	})},
	{name: "nothing is valid", answer: validated(func(m *message) {
		m.out = []byte(`{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"invalid"}]}`)
	})},
	{name: "what is unsound is a failure of $validate", answer: validated(func(m *message) {
		if bytes.Contains(m.out, []byte(`"error"`)) {
			m.status = 422
		}
	})},
	{name: "$validate does not say where", answer: validated(func(m *message) {
		m.edit(func(o object) {
			for _, i := range o["issue"].([]any) {
				delete(i.(object), "expression")
			}
		})
	})},
	{name: "$validate takes no Parameters", answer: validated(func(m *message) {
		if bytes.Contains(m.body, []byte(`"Parameters"`)) {
			m.status = 400
		}
	})},
	{name: "$validate stores", instead: func(b *broken, m *message) bool {
		if strings.HasSuffix(m.path(), "$validate") {
			b.send(http.MethodPost, "/fhir/Patient", m.Header, m.body)
		}
		return false
	}},
}

// onMethod answers one status with another, to requests of one method.
func onMethod(method string, from, to int) func(*message) {
	return func(m *message) {
		if m.Method == method && m.status == from {
			m.status = to
		}
	}
}

// each1 changes each entry of a Bundle.
func each1(o object, change func(object)) {
	for _, e := range entries(o) {
		change(e.(object))
	}
}

func dropped(which func(string) bool) func(*message) {
	return func(m *message) {
		for name := range m.query {
			if which(name) {
				m.query.Del(name)
			}
		}
	}
}

func validated(change func(*message)) func(*message) {
	return func(m *message) {
		if strings.HasSuffix(m.path(), "$validate") {
			change(m)
		}
	}
}

// afterDelete changes the answers to what concerns a resource that was deleted
// before; again tells that it was.
func afterDelete(change func(m *message, again bool)) func(*message) {
	var gone sync.Map
	return func(m *message) {
		parts := strings.Split(m.path(), "/")
		if len(parts) < 2 {
			return
		}
		key := parts[0] + "/" + parts[1]
		if _, again := gone.Load(key); again {
			change(m, true)
		} else if m.Method == http.MethodDelete {
			gone.Store(key, true)
		}
	}
}

// deleteFirst deletes the first of those that a condition finds.
func deleteFirst(b *broken, m *message) bool {
	if m.Method != http.MethodDelete || m.URL.RawQuery == "" {
		return false
	}
	_, _, found := b.send(http.MethodGet, m.URL.RequestURI(), http.Header{}, nil)
	var o object
	if json.Unmarshal(found, &o) == nil && len(entries(o)) > 0 {
		b.send(http.MethodDelete, "/fhir/Patient/"+url.PathEscape(fmt.Sprint(inside(entries(o)[0], "resource", "id"))), http.Header{}, nil)
	}
	m.status, m.header = 204, http.Header{}
	return true
}
