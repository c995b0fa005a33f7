package kitcheck

import (
	"encoding/json"
	"maps"
	"net/http"
	"slices"
	"strings"
	"sync/atomic"
)

// httpFaults are wrong in what REST and HTTP demand.
var httpFaults = []fault{
	{name: "create answers 200", answer: status(201, 200)},
	{name: "every success is 201", answer: status(200, 201)},
	{name: "not found is 200", answer: status(404, 200)},
	{name: "not allowed is 200", answer: status(405, 200)},
	{name: "refusals are 200", about: "the body is right, the status is not", answer: func(m *message) {
		if m.status >= 400 {
			m.status = 200
		}
	}},
	{name: "refusals are 500", answer: func(m *message) {
		if m.status >= 400 {
			m.status = 500
		}
	}},
	{name: "refusals say nothing", answer: func(m *message) {
		if m.status >= 400 {
			m.out = nil
		}
	}},
	{name: "not modified is 200", answer: status(304, 200)},
	{name: "no Location", answer: without("Location")},
	{name: "Location without a version", answer: func(m *message) {
		if at := m.header.Get("Location"); at != "" {
			m.header.Set("Location", at[:strings.Index(at, "/_history")])
		}
	}},
	{name: "Location leads nowhere", answer: func(m *message) {
		if at := m.header.Get("Location"); at != "" {
			m.header.Set("Location", strings.Replace(at, "/_history/", "0/_history/", 1))
		}
	}},
	{name: "no ETag", answer: without("Etag")},
	{name: "ETag of another version", answer: func(m *message) {
		if m.header.Get("ETag") != "" {
			m.header.Set("ETag", `W/"99"`)
		}
	}},
	{name: "no Last-Modified", answer: without("Last-Modified")},
	{name: "no Allow", answer: without("Allow")},
	{name: "no Content-Length without a body", answer: func(m *message) {
		if len(m.out) == 0 && m.status == 201 {
			m.out = []byte("created")
		}
	}},
	{name: "HEAD is refused", answer: func(m *message) {
		if m.Method == http.MethodHead {
			m.status = 405
		}
	}},
	{name: "If-Match is ignored", ask: deaf("If-Match")},
	{name: "If-Match is compared strongly", answer: func(m *message) {
		if tag := m.Header.Get("If-Match"); tag != "" && !strings.HasPrefix(tag, "W/") {
			m.status = 412
		}
	}},
	{name: "If-None-Match is ignored", ask: deaf("If-None-Match")},
	{name: "If-None-Match is always met", answer: func(m *message) {
		if m.Header.Get("If-None-Match") != "" {
			m.status, m.out = 304, nil
		}
	}},
	{name: "If-Modified-Since is ignored", ask: deaf("If-Modified-Since")},
	{name: "If-None-Exist is ignored", ask: deaf("If-None-Exist")},
	{name: "Prefer is ignored", ask: deaf("Prefer")},
	{name: "Accept is ignored", ask: func(m *message) { m.Header.Set("Accept", "application/json"); m.query.Del("_format") }},
	{name: "_format is ignored", ask: func(m *message) { m.query.Del("_format") }},
	{name: "only application/fhir+json is accepted", answer: func(m *message) {
		if accept := m.Header.Get("Accept"); accept != "application/fhir+json" {
			m.status, m.out = 406, nil
		}
	}},
	{name: "only application/fhir+json is taken", answer: func(m *message) {
		if sent := m.Header.Get("Content-Type"); len(m.body) > 0 && sent != "application/fhir+json" {
			m.status, m.out = 415, nil
		}
	}},
	{name: "Content-Type of a body is ignored", ask: func(m *message) {
		if len(m.body) > 0 {
			m.Header.Set("Content-Type", "application/json")
		}
	}},
	{name: "answers are text/plain", answer: func(m *message) { m.header.Set("Content-Type", "text/plain") }},
	{name: "letters are lost", answer: func(m *message) {
		m.out = []byte(strings.Map(func(r rune) rune {
			if r > 127 {
				return '?'
			}
			return r
		}, string(m.out)))
	}},
	{name: "a version is read as the current one", ask: func(m *message) {
		if at, _, ok := strings.Cut(m.URL.Path, "/_history/"); ok && m.Method == http.MethodGet {
			m.URL.Path = at
		}
	}},
	{name: "a read gives the first version", ask: func(m *message) {
		if parts := strings.Split(m.path(), "/"); len(parts) == 2 && m.Method == http.MethodGet && parts[0] == "Patient" {
			m.URL.Path += "/_history/1"
		}
	}},
	{name: "the number of versions stands still", answer: func(m *message) { m.edit(func(o object) { oneVersion(o) }) }},
	{name: "every read is a new version", answer: rising},
	{name: "an update is answered and not stored", instead: func(b *broken, m *message) bool {
		if m.Method != http.MethodPut {
			return false
		}
		sent := m.body
		m.status, m.header, m.out = b.send(http.MethodGet, m.URL.RequestURI(), http.Header{}, nil)
		m.out = sent
		return true
	}},
	{name: "what is refused is stored", about: "the rest of the resource, without what was wrong", instead: func(b *broken, m *message) bool {
		if m.Method != http.MethodPost || m.path() != "Patient" {
			return false
		}
		b.forward(m)
		if m.status == 400 {
			sound := edited(m.body, func(o object) {
				maps.DeleteFunc(o, func(k string, _ any) bool { return k == "gender" || k == "birthDate" })
			})
			b.send(http.MethodPost, m.URL.RequestURI(), m.Header, sound)
		}
		return true
	}},
	{name: "what is unsound is taken", instead: func(b *broken, m *message) bool {
		b.forward(m)
		if (m.status == 400 || m.status == 422) && m.Method == http.MethodPost && m.path() != "" {
			m.status, m.out = 201, m.body
		}
		return true
	}},
	{name: "the id that was sent is kept", answer: func(m *message) {
		if m.Method == http.MethodPost && m.of("Patient") {
			sent := object{}
			if json.Unmarshal(m.body, &sent) == nil && sent["id"] != nil {
				m.edit(func(o object) { o["id"] = sent["id"] })
			}
		}
	}},
	{name: "contained resources and extensions are lost", answer: func(m *message) {
		m.edit(func(o object) {
			for name := range o {
				if name == "contained" || name == "extension" || strings.HasPrefix(name, "_") {
					delete(o, name)
				}
			}
		})
	}},
	{name: "an identifier is lost", answer: func(m *message) { m.edit(func(o object) { each(o, func(r object) { delete(r, "identifier") }) }) }},
	{name: "an element of the server's own", answer: func(m *message) { m.edit(func(o object) { o["unheardof"] = true }) }},
	{name: "everything is of type Basic", answer: func(m *message) { m.edit(func(o object) { o["resourceType"] = "Basic" }) }},
	{name: "an unknown operation is carried out", answer: func(m *message) {
		if strings.Contains(m.path(), "$unheardof") {
			m.status = 200
		}
	}},
	{name: "capabilities are 404", about: "for those who ask for a version", answer: func(m *message) {
		if strings.Contains(m.Header.Get("Accept"), "fhirVersion") {
			m.status = 404
		}
	}},
}

// status answers one status with another.
func status(from, to int) func(*message) {
	return func(m *message) {
		if m.status == from {
			m.status = to
		}
	}
}

func without(header string) func(*message) { return func(m *message) { m.header.Del(header) } }

// deaf does not hear a header.
func deaf(header string) func(*message) { return func(m *message) { m.Header.Del(header) } }

// each changes a resource, or each resource of a Bundle.
func each(o object, change func(object)) {
	entries, ok := o["entry"].([]any)
	if !ok {
		change(o)
		return
	}
	for _, e := range entries {
		if r, ok := inside(e, "resource").(object); ok {
			change(r)
		}
	}
}

// inside follows names into objects.
func inside(v any, names ...string) any {
	for _, name := range names {
		o, _ := v.(object)
		v = o[name]
	}
	return v
}

func oneVersion(o object) {
	each(o, func(r object) {
		if meta, ok := r["meta"].(object); ok {
			meta["versionId"] = "1"
		}
	})
}

var reads atomic.Int64

// rising gives each read a version of its own.
func rising(m *message) {
	if m.Method != http.MethodGet || strings.Contains(m.path(), "_history") {
		return
	}
	m.edit(func(o object) {
		each(o, func(r object) {
			if meta, ok := r["meta"].(object); ok {
				meta["versionId"] = "1" + strings.Repeat("0", int(reads.Add(1)%9)+1)
			}
		})
	})
}

// entries are those of a Bundle.
func entries(o object) []any { list, _ := o["entry"].([]any); return list }

// bundleFaults are wrong in batches and transactions.
var bundleFaults = []fault{
	{name: "half of a failed transaction is stored", instead: func(b *broken, m *message) bool {
		if m.path() != "" || m.Method != http.MethodPost {
			return false
		}
		b.forward(m)
		if m.status >= 400 {
			b.send(http.MethodPost, m.URL.RequestURI(), m.Header, edited(m.body, func(o object) { o["type"] = "batch"; o["entry"] = entries(o)[:1] }))
		}
		return true
	}},
	{name: "a transaction is carried out as a batch", ask: retyped("transaction", "batch")},
	{name: "a batch is carried out as a transaction", ask: retyped("batch", "transaction")},
	{name: "any Bundle is a batch", ask: func(m *message) {
		m.editSent(func(o object) {
			if o["resourceType"] != "Bundle" {
				return
			}
			o["type"] = "batch"
			for _, e := range entries(o) {
				if one := e.(object); one["request"] == nil {
					one["request"] = object{"method": "POST", "url": "Patient"}
				}
			}
		})
	}},
	{name: "answers of a Bundle stand in another order", answer: answers(func(o object) { slices.Reverse(entries(o)) })},
	{name: "a Bundle is answered without its entries", answer: answers(func(o object) { delete(o, "entry") })},
	{name: "entries without location", answer: answers(inResponse("location"))},
	{name: "entries without etag", answer: answers(inResponse("etag"))},
	{name: "entries without outcome", answer: answers(inResponse("outcome"))},
	{name: "entries without what was read", answer: answers(func(o object) {
		for _, e := range entries(o) {
			delete(e.(object), "resource")
		}
	})},
	{name: "ifNoneExist is ignored", ask: inRequest("ifNoneExist")},
	{name: "ifMatch of an entry is ignored", ask: inRequest("ifMatch")},
	{name: "references are not replaced", answer: func(m *message) {
		if m.of("Condition") {
			m.edit(func(o object) {
				each(o, func(r object) { r["subject"] = object{"reference": "urn:uuid:6b2a1c7e-0f0d-4c1b-9d55-2f6f6f0a0001"} })
			})
		}
	}},
}

func retyped(from, to string) func(*message) {
	return func(m *message) {
		m.editSent(func(o object) {
			if o["resourceType"] == "Bundle" && o["type"] == from {
				o["type"] = to
			}
		})
	}
}

// answers changes the answer to a Bundle.
func answers(change func(object)) func(*message) {
	return func(m *message) {
		if m.path() == "" {
			m.edit(change)
		}
	}
}

func inResponse(name string) func(object) {
	return func(o object) {
		for _, e := range entries(o) {
			if r, ok := inside(e, "response").(object); ok {
				delete(r, name)
			}
		}
	}
}

func inRequest(name string) func(*message) {
	return func(m *message) {
		m.editSent(func(o object) {
			for _, e := range entries(o) {
				if r, ok := inside(e, "request").(object); ok {
					delete(r, name)
				}
			}
		})
	}
}
