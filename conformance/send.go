package conformance

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// ErrSend says that what is to be sent cannot be read.
var ErrSend = errors.New("it cannot be sent")

// play sends records of one's own, and prints what came of each. failed is true
// when the server refused anything.
func (c *command) play(ctx context.Context) (failed bool, err error) {
	files, err := jsonFiles(c.send)
	if err != nil {
		return false, err
	}
	o := c.options()
	if _, _, err := meet(ctx, o); err != nil {
		return false, err
	}
	f := &feed{run: &run{Options: o, script: &Script{}}, command: c, seen: map[string]string{}}
	for _, file := range files {
		body, err := os.ReadFile(file)
		if err != nil {
			return false, err
		}
		requests, err := f.requests(body)
		if err != nil {
			return false, fmt.Errorf("%s: %w", file, err)
		}
		fmt.Fprintf(c.stdout, "%s\n", file)
		for _, q := range requests {
			if err := f.send(ctx, q); err != nil {
				return false, err
			}
		}
	}
	fmt.Fprintf(c.stdout, "\n%d files: %d sent, %d refused\n", len(files), f.sent, f.refused)
	return f.refused > 0, nil
}

// jsonFiles are a file, or those of a folder by name.
func jsonFiles(path string) ([]string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		return []string{path}, nil
	}
	var out []string
	err = filepath.WalkDir(path, func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && filepath.Ext(name) == ".json" {
			out = append(out, name)
		}
		return err
	})
	if err == nil && len(out) == 0 {
		err = fmt.Errorf("%w: there is no .json file in %s", ErrSend, path)
	}
	slices.Sort(out)
	return out, err
}

// feed is a source of records being played.
type feed struct {
	*run
	command       *command
	seen          map[string]string // version by CarePlan/id and Task/id
	sent, refused int
}

// request is one message of a feed.
type request struct {
	method, at, name string
	body             []byte
}

// head is what is read of a resource to send it.
type head struct {
	ResourceType string                               `json:"resourceType"`
	ID           string                               `json:"id"`
	Type         string                               `json:"type"`
	Identifier   json.RawMessage                      `json:"identifier"`
	Entry        []struct{ Resource json.RawMessage } `json:"entry"`
}

// requests are how a resource is sent: a transaction or batch as it is, another
// Bundle resource by resource, and a resource as an update of the one with its
// identifier, else of the one with its id, else as a create.
func (f *feed) requests(body []byte) ([]request, error) {
	var h head
	if err := json.Unmarshal(body, &h); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrSend, err)
	}
	switch {
	case h.ResourceType == "":
		return nil, fmt.Errorf("%w: it is no FHIR resource", ErrSend)
	case h.ResourceType == "Bundle" && (h.Type == "transaction" || h.Type == "batch"):
		return []request{{http.MethodPost, f.Base, h.Type + " of " + fmt.Sprint(len(h.Entry)), body}}, nil
	case h.ResourceType == "Bundle":
		var out []request
		for n, e := range h.Entry {
			one, err := f.requests(e.Resource)
			if err != nil {
				return nil, fmt.Errorf("entry %d: %w", n, err)
			}
			out = append(out, one...)
		}
		return out, nil
	}
	at := f.Base + "/" + h.ResourceType
	var identifiers []struct{ System, Value string }
	if json.Unmarshal(h.Identifier, &identifiers) == nil && len(identifiers) > 0 && identifiers[0].System != "" && identifiers[0].Value != "" {
		condition := identifiers[0].System + "|" + identifiers[0].Value
		return []request{{http.MethodPut, at + "?identifier=" + url.QueryEscape(condition), h.ResourceType + " " + condition, body}}, nil
	}
	if h.ID != "" {
		return []request{{http.MethodPut, at + "/" + h.ID, h.ResourceType + "/" + h.ID, body}}, nil
	}
	return []request{{http.MethodPost, at, h.ResourceType, body}}, nil
}

// send sends one message and prints what the server made of it.
func (f *feed) send(ctx context.Context, q request) error {
	header := http.Header{"Accept": {jsonType}, "Content-Type": {jsonType}, "Prefer": {"return=representation"}}
	x, err := f.exchange(ctx, q.method, q.at, header, q.body)
	if err != nil {
		return err
	}
	f.sent++
	fmt.Fprintf(f.command.stdout, "  %d  %s %s\n", x.Status, q.method, q.name)
	refused := x.Status >= http.StatusBadRequest
	answer, _ := x.received.(object)
	f.issues(answer)
	list, _ := answer["entry"].([]any)
	for _, e := range list {
		entry, _ := e.(object)
		response, _ := entry["response"].(object)
		status, _ := response["status"].(string)
		location, _ := response["location"].(string)
		fmt.Fprintf(f.command.stdout, "       %s  %s\n", status, strings.TrimPrefix(location, f.Base+"/"))
		refused = refused || strings.HasPrefix(status, "4") || strings.HasPrefix(status, "5")
		outcome, _ := response["outcome"].(object)
		f.issues(outcome)
	}
	if refused {
		f.refused++
	}
	people := map[string]bool{}
	patients(x.received, people)
	patients(x.sent, people)
	for _, id := range slices.Sorted(maps.Keys(people)) {
		if err := f.cameOf(ctx, id); err != nil {
			return err
		}
	}
	return nil
}

// issues prints what an OperationOutcome says.
func (f *feed) issues(outcome object) {
	if outcome["resourceType"] != "OperationOutcome" {
		return
	}
	list, _ := outcome["issue"].([]any)
	for _, i := range list {
		issue, _ := i.(object)
		details, _ := issue["details"].(object)
		text := []string{fmt.Sprint(issue["severity"]), fmt.Sprint(issue["code"])}
		if places, ok := issue["expression"].([]any); ok {
			text = append(text, fmt.Sprint(places...))
		}
		for _, more := range []any{details["text"], issue["diagnostics"]} {
			if more != nil {
				text = append(text, fmt.Sprint(more))
			}
		}
		fmt.Fprintf(f.command.stdout, "       %s\n", strings.Join(text, "  "))
	}
}

// patients collects the ids of the Patients that a body is or refers to.
func patients(v any, into map[string]bool) {
	switch v := v.(type) {
	case []any:
		for _, item := range v {
			patients(item, into)
		}
	case object:
		if id, ok := v["id"].(string); ok && v["resourceType"] == "Patient" {
			into[id] = true
		}
		if ref, ok := v["reference"].(string); ok {
			if parts := strings.Split(ref, "/"); len(parts) >= 2 && parts[len(parts)-2] == "Patient" {
				into[parts[len(parts)-1]] = true
			}
		}
		for _, member := range v {
			patients(member, into)
		}
	}
}

// cameOf prints which CarePlans and Tasks of a person are new or changed.
func (f *feed) cameOf(ctx context.Context, patient string) error {
	plans, err := f.all(ctx, "CarePlan?_count=100&patient="+url.QueryEscape(patient))
	if err != nil {
		return err
	}
	for _, plan := range plans {
		if how := f.news(plan); how != "" {
			fmt.Fprintf(f.command.stdout, "       -> CarePlan/%s %s: %s\n", plan["id"], how, planText(plan))
		}
	}
	tasks, err := f.all(ctx, "Task?_count=100&patient="+url.QueryEscape(patient))
	if err != nil {
		return err
	}
	news, byStatus := map[string]int{}, map[string]int{}
	var changed []object
	for _, task := range tasks {
		how := f.news(task)
		if how == "" {
			continue
		}
		news[strings.Fields(how)[0]]++
		byStatus[fmt.Sprint(task["status"])]++
		changed = append(changed, task)
	}
	if len(changed) > 0 {
		fmt.Fprintf(f.command.stdout, "       -> Tasks: %d new, %d changed; of these %s\n", news["new"], news["now"], counts(byStatus))
		f.dueFirst(changed)
	}
	return nil
}

// mostTasks is how many Tasks are printed after a message.
const mostTasks = 8

// dueFirst prints those Tasks that are asked for now, the first due first.
func (f *feed) dueFirst(tasks []object) {
	tasks = slices.DeleteFunc(tasks, func(t object) bool { return t["status"] != "requested" })
	due := func(t object) string { return first(t, "restriction", "period", "end") }
	slices.SortFunc(tasks, func(a, b object) int { return cmp.Compare(due(a), due(b)) })
	for n, task := range tasks {
		if n == mostTasks {
			fmt.Fprintf(f.command.stdout, "            … and %d more that are asked for now\n", len(tasks)-n)
			return
		}
		fmt.Fprintf(f.command.stdout, "            Task/%s  %s  due %s\n", task["id"], first(task, "code", "coding", "code"), due(task))
	}
}

// planText says how a plan stands, as far as the server tells.
func planText(plan object) string {
	out := []string{fmt.Sprint(plan["status"])}
	list, _ := plan["extension"].([]any)
	for _, e := range list {
		extension, _ := e.(object)
		at, _ := extension["url"].(string)
		value := first(extension, "valueDate") + first(extension, "valueCodeableConcept", "coding", "code")
		if value != "" {
			out = append(out, at[strings.LastIndex(at, "/")+1:]+" "+value)
		}
	}
	return strings.Join(out, ", ")
}

// news says whether a resource is new or of another version than was seen before;
// empty when it is neither.
func (f *feed) news(r object) string {
	key, version := fmt.Sprint(r["resourceType"], "/", r["id"]), first(r, "meta", "versionId")
	before, known := f.seen[key]
	f.seen[key] = version
	switch {
	case !known && version == "1":
		return "new"
	case !known, before != version:
		return "now of version " + version
	}
	return ""
}

// all reads every page of a search. A server that does not know the type or the
// parameter has nothing to show.
func (f *feed) all(ctx context.Context, search string) ([]object, error) {
	var out []object
	for at := f.Base + "/" + search; at != ""; {
		x, err := f.exchange(ctx, http.MethodGet, at, http.Header{"Accept": {jsonType}}, nil)
		if err != nil || x.Status != http.StatusOK {
			return out, err
		}
		at = ""
		page, _ := x.received.(object)
		list, _ := page["entry"].([]any)
		for _, e := range list {
			entry, _ := e.(object)
			if resource, ok := entry["resource"].(object); ok {
				out = append(out, resource)
			}
		}
		links, _ := page["link"].([]any)
		for _, l := range links {
			if link, _ := l.(object); link["relation"] == "next" {
				at = first(link, "url")
			}
		}
	}
	return out, nil
}

// first follows names, through the first item of arrays, to a text.
func first(v any, names ...string) string {
	for _, name := range names {
		if list, ok := v.([]any); ok && len(list) > 0 {
			v = list[0]
		}
		o, _ := v.(object)
		v = o[name]
	}
	text, _ := v.(string)
	return text
}

func counts(by map[string]int) string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(by)) {
		out = append(out, fmt.Sprint(by[name], " ", name))
	}
	return strings.Join(out, ", ")
}
