package fhirapi

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// form sends a search as a form.
func (h *house) form(path, body string, header ...string) response {
	h.t.Helper()
	return h.send("POST", path, body, append([]string{"Content-Type", "", "Content-Type", "application/x-www-form-urlencoded"}, header...)...)
}

func TestSearch(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.must(201, "POST", root+"/Patient", patient("2"))
	found := h.must(200, "GET", root+"/Patient?identifier="+personSystem+"|canary-p1&canary=1&_format=json", "")
	require.Equal(t, "searchset", found.String("type"))
	require.Equal(t, "1", found.String("total"))
	require.Len(t, found.entries(), 1)
	require.Equal(t, "match", found.String("entry", "search", "mode"))
	require.Equal(t, testBase+strings.TrimPrefix(who.patient, root), found.String("entry", "fullUrl"))
	self, err := url.Parse(found.link("self"))
	require.NoError(t, err)
	require.Equal(t, root+"/Patient", self.Path)
	require.Equal(t, url.Values{"identifier": {personSystem + "|canary-p1"}, "_format": {"json"}}, self.Query(),
		"what was not known is not in it")
	require.Empty(t, found.link("next"))
	require.Equal(t, found.raw, h.must(200, "GET", found.link("self"), "").raw)

	require.Equal(t, "0", h.must(200, "GET", root+"/Patient?_id=canary", "").String("total"), "an unknown id finds nothing")
	all := h.must(200, "GET", root+"/Patient", "")
	require.Equal(t, "2", all.String("total"))
	require.Equal(t, root+"/Patient", all.link("self"))
	require.Empty(t, h.must(200, "HEAD", root+"/Patient", "").raw)
}

func TestSearchCountOnly(t *testing.T) {
	h := open(t)
	h.book("1")
	r := h.must(200, "GET", root+"/Task?_count=0", "")
	require.NotEqual(t, "0", r.String("total"))
	require.Empty(t, r.entries())
	require.Empty(t, r.link("next"))
	require.Equal(t, root+"/Task?_count=0", r.link("self"))
}

// TestSearchPages follows the links while others are added: who was there all
// along is seen once.
func TestSearchPages(t *testing.T) {
	h := open(t)
	var want []string
	for n := range 7 {
		want = append(want, h.must(201, "POST", root+"/Patient", patient(fmt.Sprint(n))).String("id"))
		h.pass(time.Second)
	}
	var got []string
	pages := 0
	for next := root + "/Patient?_count=3&_sort=-_lastUpdated"; next != ""; pages++ {
		r := h.must(200, "GET", next, "")
		require.Equal(t, next, r.link("self"))
		for _, e := range r.entries() {
			got = append(got, e.String("resource", "id"))
		}
		next = r.link("next")
		h.must(201, "POST", root+"/Patient", patient(fmt.Sprint("late", pages)))
	}
	require.Equal(t, 3, pages)
	slices.Reverse(got)
	require.Equal(t, want, got)
}

func TestSearchByForm(t *testing.T) {
	h := open(t)
	h.book("1")
	h.must(201, "POST", root+"/Patient", patient("2"))
	get := h.must(200, "GET", root+"/Patient?family=canary&gender=female", "")
	require.Equal(t, "2", get.String("total"))
	for name, r := range map[string]response{
		"form":       h.form(root+"/Patient/_search", "family=canary&gender=female"),
		"both":       h.form(root+"/Patient/_search?gender=female", "family=canary"),
		"query only": h.form(root+"/Patient/_search?family=canary&gender=female", ""),
	} {
		require.Equal(t, 200, r.status, name)
		require.Equal(t, get.raw, r.raw, name)
	}
	require.Equal(t, 400, h.form(root+"/Patient/_search", "canary=1", "Prefer", "handling=strict").status)
}

func TestStrict(t *testing.T) {
	h := open(t, func(o *Options) { o.Strict = true })
	h.must(400, "GET", root+"/Patient?canary=1", "")
	h.must(200, "GET", root+"/Patient?canary=1", "", "Prefer", "handling=lenient")
	h.must(200, "GET", root+"/Patient?_format=json", "", "Prefer", "handling=strict")
}

// TestTaskSearchAgreesWithTasks searches for what a Task says of itself.
func TestTaskSearchAgreesWithTasks(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.book("2")
	task := h.task(who, "name-coach")
	token := func(path ...string) string {
		n := task.body.Get(path...)
		code := n.String("code")
		if code == "" {
			code = n.String("value")
		}
		return n.String("system") + "|" + code
	}
	for name, value := range map[string]string{
		"identifier":       token("identifier"),
		"group-identifier": token("groupIdentifier"),
		"code":             token("code", "coding"),
		"business-status":  token("businessStatus", "coding"),
		"status":           task.String("status"),
		"patient":          task.String("for", "reference"),
		"due":              task.String("restriction", "period", "end"),
		"opens":            task.String("restriction", "period", "start"),
		"_lastUpdated":     task.String("meta", "lastUpdated"),
	} {
		require.NotEmpty(t, value, name)
		r := h.must(200, "GET", root+"/Task?_id="+task.String("id")+"&"+name+"="+url.QueryEscape(value), "", "Prefer", "handling=strict")
		require.Equal(t, "1", r.String("total"), "%s=%s", name, value)
	}
	group := h.must(200, "GET", root+"/Task?_count=200&group-identifier="+url.QueryEscape(token("groupIdentifier")), "")
	plan := h.must(200, "GET", who.carePlan, "")
	require.Len(t, group.entries(), plan.body.Get("activity").Len(), "all Tasks of the plan, and no other's")
}
