package fhir

import (
	"fmt"
	"strings"
)

// Bundle is a received bundle taken apart.
type Bundle struct {
	Type    string // code of the value set bundle-type
	Entries []Entry
}

// Entry is one entry of a received bundle.
type Entry struct {
	Index    int
	FullURL  string
	Resource *Resource // nil when the entry has none
	Node     *Node     // the whole entry, for what is not listed here

	Method          string // of request; empty when there is none
	URL             string // of request, relative to the base
	IfMatch         string
	IfNoneMatch     string
	IfNoneExist     string
	IfModifiedSince string

	// What URL points at: a type, a type and an id, or a type and a query. All
	// empty for a read of anything else, such as metadata.
	TargetType, TargetID, Query string

	// Issues are set in a batch only, where one bad entry does not harm the
	// others; nothing of such an entry may be carried out.
	Issues Issues
}

// Bundle takes a bundle apart and checks the rules of R4 for the requests of a
// transaction or batch. maxEntries limits the entries; 0 means no limit.
// The issues concern the bundle as a whole; in a batch those of one entry are
// with the entry.
func (r *Resource) Bundle(maxEntries int) (*Bundle, Issues) {
	if r.Type != "Bundle" {
		return nil, Issues{{Severity: SeverityError, Code: CodeStructure, Expression: r.Type, Text: "a Bundle is needed here"}}
	}
	list := r.tree.member("entry")
	if maxEntries > 0 && list.Len() > maxEntries {
		return nil, Issues{{
			Severity: SeverityError, Code: CodeTooCostly, Expression: "Bundle.entry",
			Text: fmt.Sprintf("the bundle has more than the %d entries that are allowed here", maxEntries),
		}}
	}
	b := &Bundle{Type: r.tree.String("type"), Entries: make([]Entry, 0, list.Len())}
	var issues Issues
	for i, n := range list.Items() {
		e := r.entry(i, n)
		if b.isRequest() && len(e.Issues) == 0 {
			found := e.requestIssues()
			if b.Type == "batch" {
				e.Issues = found
			} else {
				issues = append(issues, found...)
			}
		}
		b.Entries = append(b.Entries, e)
	}
	issues = append(issues, b.uniqueness()...)
	if len(issues) > 0 {
		return nil, issues
	}
	return b, nil
}

func (b *Bundle) isRequest() bool { return b.Type == "transaction" || b.Type == "batch" }

func (r *Resource) entry(i int, n *Node) Entry {
	req := n.Get("request")
	e := Entry{
		Index: i, Node: n, FullURL: n.String("fullUrl"), Issues: r.entries[i],
		Method: req.String("method"), URL: req.String("url"),
		IfMatch: req.String("ifMatch"), IfNoneMatch: req.String("ifNoneMatch"),
		IfNoneExist: req.String("ifNoneExist"), IfModifiedSince: req.String("ifModifiedSince"),
	}
	if body := n.Get("resource"); body.Kind() == Object {
		e.Resource = r.inner(body)
	}
	e.TargetType, e.TargetID, e.Query = splitURL(e.URL)
	return e
}

// splitURL reads Type, Type/id and Type?query; anything else gives nothing.
func splitURL(url string) (resourceType, id, query string) {
	path, query, _ := strings.Cut(url, "?")
	resourceType, id, _ = strings.Cut(path, "/")
	if !IsResourceType(resourceType) || id != "" && !validID(id) {
		return "", "", ""
	}
	return resourceType, id, query
}

// requestIssues are the rules for one entry of a transaction or batch.
func (e *Entry) requestIssues() Issues {
	var out Issues
	at := fmt.Sprintf("Bundle.entry[%d]", e.Index)
	add := func(element, code, text string) {
		out = append(out, Issue{Severity: SeverityError, Code: code, Expression: at + element, Text: at + element + " " + text})
	}
	if !e.Node.Get("request").Exists() {
		add(".request", CodeRequired, "is missing: every entry of a batch or transaction says what to do (bdl-3)")
		return out
	}
	if e.Node.Get("response").Exists() {
		add(".response", CodeInvariant, "belongs in a response only (bdl-4)")
	}
	if e.Node.Get("search").Exists() {
		add(".search", CodeInvariant, "belongs in a search result only (bdl-2)")
	}
	if strings.Contains(e.FullURL, "/_history/") {
		add(".fullUrl", CodeInvariant, "must not name a version (bdl-8)")
	}
	if e.IfNoneExist != "" && e.Method != "POST" {
		add(".request.ifNoneExist", CodeInvariant, "is for POST only")
	}
	if e.IfMatch != "" && e.Method != "PUT" && e.Method != "PATCH" && e.Method != "DELETE" {
		add(".request.ifMatch", CodeInvariant, "is for PUT, PATCH and DELETE only")
	}
	if hasScheme(e.URL) || strings.HasPrefix(e.URL, "/") || strings.Contains(e.URL, "..") {
		add(".request.url", CodeValue, "must be relative to the base of the service, such as Appointment or Appointment/123")
		return out
	}
	e.methodIssues(add)
	return out
}

func (e *Entry) methodIssues(add func(element, code, text string)) {
	reads := e.Method == "GET" || e.Method == "HEAD"
	if reads {
		if e.Resource != nil {
			add(".resource", CodeInvariant, "does not belong to a "+e.Method)
		}
		return
	}
	if e.Method == "POST" && (strings.Contains(e.URL, "$") || strings.HasSuffix(e.URL, "/_search")) {
		return // operations and searches say themselves what they take
	}
	if e.TargetType == "" {
		add(".request.url", CodeValue, "must begin with a resource type of R4, such as Appointment or Appointment/123")
		return
	}
	if e.Method == "DELETE" {
		if e.Resource != nil {
			add(".resource", CodeInvariant, "does not belong to a DELETE")
		}
	} else if e.Resource == nil {
		add(".resource", CodeRequired, "is missing: "+e.Method+" needs one (bdl-5)")
		return
	}
	switch {
	case e.Method == "POST" && (e.TargetID != "" || e.Query != ""):
		add(".request.url", CodeValue, "is the resource type alone for a POST; the service gives the id")
	case e.Method != "POST" && (e.TargetID == "") == (e.Query == ""):
		add(".request.url", CodeValue, "names one resource for "+e.Method+": a type and an id, or a type and a query")
	}
	e.bodyIssues(add)
}

// bodyIssues compares the resource with the URL it is sent to.
func (e *Entry) bodyIssues(add func(element, code, text string)) {
	switch e.Method {
	case "PATCH":
		if e.Resource.Type != "Binary" && e.Resource.Type != "Parameters" {
			add(".resource", CodeStructure, "of a PATCH is a Binary (JSON Patch) or Parameters (FHIRPath Patch)")
		}
	case "POST", "PUT":
		if e.Resource.Type != e.TargetType {
			add(".request.url", CodeInvariant, "names "+e.TargetType+", but the resource is of type "+e.Resource.Type)
		}
		if id := e.Resource.ID(); e.Method == "PUT" && e.TargetID != "" && id != e.TargetID {
			add(".resource.id", CodeInvariant, "must be the id that request.url names")
		}
	}
}

// uniqueness checks what entries must not share.
func (b *Bundle) uniqueness() Issues {
	var out Issues
	urls, targets := map[string]int{}, map[string]int{}
	clash := func(seen map[string]int, key, at string, i int, text string) {
		if first, found := seen[key]; found {
			out = append(out, Issue{
				Severity: SeverityError, Code: CodeDuplicate, Expression: fmt.Sprintf("Bundle.entry[%d].%s", i, at),
				Text: fmt.Sprintf("Bundle.entry[%d].%s: ", i, at) + fmt.Sprintf(text, first),
			})
			return
		}
		seen[key] = i
	}
	for i, e := range b.Entries {
		if e.FullURL != "" && b.Type != "history" {
			key := e.FullURL
			if e.Resource != nil {
				key += " " + e.Resource.String("meta", "versionId")
			}
			if b.isRequest() {
				key = e.FullURL
			}
			clash(urls, key, "fullUrl", i, "entry %d has the same fullUrl, which must be unique (bdl-7)")
		}
		if b.Type != "transaction" || e.TargetType == "" {
			continue
		}
		switch {
		case e.Method == "PUT" || e.Method == "PATCH" || e.Method == "DELETE":
			clash(targets, e.TargetType+"/"+e.TargetID+"?"+e.Query, "request.url", i,
				"entry %d changes the same resource; a transaction may do so once")
		case e.Method == "POST" && e.IfNoneExist != "":
			clash(targets, e.TargetType+"/?"+e.IfNoneExist, "request.ifNoneExist", i,
				"entry %d has the same condition; both would stand for the same resource")
		}
	}
	return out
}
