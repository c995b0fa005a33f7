package kitcheck

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
)

// searchFaults are wrong in searches and histories.
var searchFaults = slices.Concat([]fault{
	{name: "modifiers are ignored", ask: renamed(func(name string) string { before, _, _ := strings.Cut(name, ":"); return before })},
	{name: "prefixes of dates are ignored", ask: revalued(func(name, v string) string {
		if name == "birthdate" || name == "_lastUpdated" || name == "due" {
			return strings.TrimLeft(v, "geltns")
		}
		return v
	})},
	{name: "only the first of several values counts", ask: revalued(func(_, v string) string { first, _, _ := strings.Cut(v, ","); return first })},
	{name: "only the first of a repeated parameter counts", ask: func(m *message) {
		for name, values := range m.query {
			m.query[name] = values[:1]
		}
	}},
	{name: "the system of an identifier is ignored", ask: revalued(func(name, v string) string {
		if _, value, ok := strings.Cut(v, "|"); ok && name == "identifier" && !strings.Contains(v, ",") {
			return value
		}
		return v
	})},
	{name: "a missing system is any system", ask: revalued(func(_, v string) string { return strings.TrimPrefix(v, "|") })},
	{name: "escapes are ignored", ask: revalued(func(_, v string) string { return strings.ReplaceAll(v, `\`, "") })},
	{name: "the form of a search is ignored", ask: func(m *message) {
		if strings.HasSuffix(m.path(), "_search") {
			m.body = nil
		}
	}},
	{name: "the address beside a form is ignored", ask: func(m *message) {
		if strings.HasSuffix(m.path(), "_search") {
			clear(m.query)
		}
	}},
	{name: "unknown parameters are always refused", ask: func(m *message) { m.Header.Set("Prefer", "handling=strict") }},
	{name: "handling=strict is ignored", ask: func(m *message) { m.Header.Del("Prefer") }},
	{name: "an empty parameter finds what is empty", answer: func(m *message) {
		if m.query.Has("family") && m.query.Get("family") == "" {
			m.edit(func(o object) { o["total"] = 0 })
		}
	}},
	{name: "unknown parameters stay in self", answer: func(m *message) {
		m.edit(func(o object) { selfLink(o, func(at string) string { return at + "&unheardof=1" }) })
	}},
	{name: "the link self is bare", answer: func(m *message) {
		m.edit(func(o object) {
			selfLink(o, func(at string) string { bare, _, _ := strings.Cut(at, "?"); return bare })
		})
	}},
	{name: "no links", answer: searched(func(o object) { delete(o, "link") })},
	{name: "total is one too many", answer: searched(func(o object) { o["total"] = fmt.Sprint(o["total"]) + "1" })},
	{name: "no fullUrl", answer: searched(func(o object) {
		for _, e := range entries(o) {
			delete(e.(object), "fullUrl")
		}
	})},
	{name: "fullUrl of another", answer: searched(func(o object) {
		for _, e := range entries(o) {
			e.(object)["fullUrl"] = fmt.Sprint(e.(object)["fullUrl"]) + "0"
		}
	})},
	{name: "no search mode", answer: searched(func(o object) {
		for _, e := range entries(o) {
			delete(e.(object), "search")
		}
	})},
	{name: "the order is turned round", answer: searched(func(o object) { slices.Reverse(entries(o)) })},
	{name: "the last page goes on", answer: func(m *message) {
		if m.query.Has("_page") {
			m.edit(func(o object) {
				if links, ok := o["link"].([]any); ok {
					o["link"] = append(links, object{"relation": "next", "url": inside(links[0], "url")})
				}
			})
		}
	}},
	{name: "every page is the first", ask: func(m *message) { m.query.Del("_page") }},
	{name: "a search finds nothing", answer: searched(func(o object) { delete(o, "entry"); o["total"] = 0 })},
	{name: "quantities are lost", ask: dropped(func(name string) bool { return strings.HasSuffix(name, "value-quantity") })},
	{name: "the unit of a quantity is ignored", ask: revalued(func(name, v string) string {
		if name == "value-quantity" {
			v, _, _ = strings.Cut(v, "|")
		}
		return v
	})},
	{name: "upper and lower case count", ask: revalued(func(name, v string) string {
		if name == "family" && (v == strings.ToLower(v) || v == strings.ToUpper(v)) {
			return v + "~"
		}
		return v
	})},
	{name: "a search by a day finds the year, too", ask: revalued(func(name, v string) string {
		if name == "birthdate" && len(v) > 4 && v[0] == '1' {
			return v[:4]
		}
		return v
	})},
	{name: "POST search is not served", answer: func(m *message) {
		if strings.HasSuffix(m.path(), "_search") {
			m.status = 404
		}
	}},
	{name: "references are found by id only", ask: revalued(func(name, v string) string {
		if name == "patient" || name == "subject" {
			return strings.ReplaceAll(v, "/", "-")
		}
		return v
	})},
}, lost("_id", "identifier", "family", "gender", "birthdate", "patient", "status", "code", "due", "business-status",
	"group-identifier", "_count", "_sort", "_lastUpdated", "family:exact", "family:contains", "gender:not", "gender:missing", "code:text"))

// lost makes a fault of each search parameter that a server may forget.
func lost(names ...string) []fault {
	var out []fault
	for _, name := range names {
		out = append(out, fault{name: "search parameter " + name + " is lost", ask: func(m *message) {
			if m.Method == http.MethodGet {
				m.query.Del(name)
			}
		}})
	}
	return out
}

// renamed changes the names of parameters.
func renamed(change func(string) string) func(*message) {
	return func(m *message) {
		for name, values := range m.query {
			if to := change(name); to != name {
				m.query.Del(name)
				m.query[to] = append(m.query[to], values...)
			}
		}
	}
}

// revalued changes their values.
func revalued(change func(name, value string) string) func(*message) {
	return func(m *message) {
		for name, values := range m.query {
			for n := range values {
				values[n] = change(name, values[n])
			}
		}
	}
}

// searched changes the answer to a search or a history.
func searched(change func(object)) func(*message) {
	return func(m *message) {
		m.edit(func(o object) {
			if o["type"] == "searchset" || o["type"] == "history" {
				change(o)
			}
		})
	}
}

func selfLink(o object, change func(string) string) {
	links, _ := o["link"].([]any)
	for _, l := range links {
		if one := l.(object); one["relation"] == "self" {
			one["url"] = change(fmt.Sprint(one["url"]))
		}
	}
}
