package casework

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

const (
	protocolID  = "hip-or-knee-replacement"
	protocolURL = "http://countback.example/fhir/PlanDefinition/" + protocolID
	draft       = "\"status\": \"draft\",\n  \"experimental\": true"
	signed      = `"status": "active", "experimental": false, "approvalDate": "2026-09-01", "endorser": [{"name": "Dr Wendeline Thatchmarsh"}]`
)

// signedText is the default protocol in another version, as an approver of the
// hospital has signed it.
func signedText(t *testing.T, version string, changes ...string) []byte {
	t.Helper()
	return protocolText(t, version, append([]string{draft, signed}, changes...)...)
}

// earlierCleanser are the changes that let the five days of one step end a day
// earlier.
func earlierCleanser(t *testing.T) []string {
	t.Helper()
	_, text, err := Definitions()
	require.NoError(t, err)
	return []string{cleanserWindow(t, string(text), 3), cleanserWindow(t, string(text), 4)}
}

func newProtocol(t *testing.T, body []byte) NewDefinition {
	t.Helper()
	r, issues := fhir.Parse(body, DefinitionLimit)
	require.Empty(t, issues)
	return NewDefinition{
		ID: protocolID, Source: "https://clinic.larkspindle.example", ContentType: "application/fhir+json",
		Target: "PlanDefinition/" + protocolID, Body: body, Resource: r,
	}
}

func (h *house) adopt(body []byte) Result {
	h.t.Helper()
	out, err := h.office.Adopt(context.Background(), newProtocol(h.t.(*testing.T), body))
	require.NoError(h.t, err)
	return out
}

// catchUp plans again whatever an earlier protocol planned.
func (h *house) catchUp() int {
	h.t.Helper()
	out, err := h.office.CatchUp(context.Background())
	require.NoError(h.t, err)
	require.NoError(h.t, out.Sick)
	return out.Planned
}

// version of the protocol by which a case stands.
func (h *house) ruledBy(plan string) string {
	h.t.Helper()
	_, row := cutCanonical(h.caseRow(plan).Protocol)
	_, served := cutCanonical(h.get("CarePlan/" + plan).String("instantiatesCanonical"))
	require.Equal(h.t, row, served)
	return row
}

// content is a Task without what each version has for itself.
func content(t tester, body []byte) string {
	t.Helper()
	var task map[string]any
	require.NoError(t, json.Unmarshal(body, &task))
	delete(task, "meta")
	delete(task, "lastModified")
	out, err := json.Marshal(task)
	require.NoError(t, err)
	return string(out)
}

// An adopted version plans new bookings at once and open cases when they are
// caught up with. Only what it changes is written and told, people's entries
// stay, and what was served before is served as it was.
func TestAdopt(t *testing.T) {
	h := newHouse(t)
	one, two := h.book("1", surgery), h.book("2", surgery)
	h.work(one.plan, "first-call", done(""))
	h.work(two.plan, "skin-cleanser", set("owner", ref("Practitioner/none")), set("note", []res{{"text": "hers"}}))
	before := map[string]store.Stored{}
	for _, b := range []booked{one, two} {
		for _, i := range h.items(b.plan) {
			before["Task/"+i.ID] = h.version("Task/"+i.ID, i.Version)
		}
		before["CarePlan/"+b.plan] = h.version("CarePlan/"+b.plan, 1)
	}
	h.setTo(h.clock().AddDate(0, 0, 1))
	body := signedText(t, "1.1.0", append(earlierCleanser(t), callTitle, newTitle)...)
	result := h.adopt(body)
	require.True(t, result.Changed)
	require.EqualValues(t, 2, result.Stored.Version)
	require.Equal(t, "1.1.0", parse(t, result.Stored.Body).String("version"))
	require.Equal(t, firstVersion, parse(t, h.version("PlanDefinition/"+protocolID, 1).Body).String("version"))
	h.read(func(tx *store.Tx) error {
		kept, err := tx.Archived(result.Stored.ReceivedID)
		require.Equal(t, body, kept.Body, "byte for byte")
		require.Equal(t, []string{"PUT", "PlanDefinition/" + protocolID, "https://clinic.larkspindle.example"}, []string{kept.Method, kept.Target, kept.Source})
		return err
	})

	require.Equal(t, "1.1.0", h.office.Protocol().Version)
	three := h.book("3", surgery)
	require.Equal(t, "1.1.0", h.ruledBy(three.plan), "at once")
	require.Equal(t, firstVersion, h.ruledBy(one.plan), "not yet")
	adoption, err := h.office.Adoption(context.Background())
	require.NoError(t, err)
	require.Equal(t, []any{protocolURL + "|1.1.0", true, int64(3), int64(2)}, []any{adoption.Protocol, adoption.Adopted, adoption.Open, adoption.Older})
	require.Equal(t, h.clock(), adoption.Since.UTC())

	mark, provenances := h.mark(), len(h.found("Provenance"))
	select {
	case <-h.office.Adopted():
	default:
		require.Fail(t, "nobody is told to catch up")
	}
	require.Equal(t, 2, h.catchUp())
	written := map[string]bool{}
	for _, b := range []booked{one, two} {
		require.Equal(t, "1.1.0", h.ruledBy(b.plan))
		for _, i := range h.items(b.plan) {
			was := before["Task/"+i.ID]
			now := h.version("Task/"+i.ID, i.Version)
			differs := content(t, was.Body) != content(t, now.Body)
			require.Equal(t, differs, i.Version > was.Version, "%s: a version for what changed, and for nothing else", i.Step)
			require.LessOrEqual(t, i.Version, was.Version+1)
			require.Equal(t, string(was.Body), string(h.version("Task/"+i.ID, was.Version).Body), i.Step)
			if differs {
				written[i.Step] = true
			}
		}
		require.Equal(t, string(before["CarePlan/"+b.plan].Body), string(h.version("CarePlan/"+b.plan, 1).Body))
		require.Equal(t, []string{event.TasksChanged}, names(h.ofCase(b.plan, mark)), "one message a case")
		require.Equal(t, "2027-01-07", h.step(b.plan, "skin-cleanser").Due)
	}
	require.Contains(t, written, "first-call")
	require.Contains(t, written, "skin-cleanser")
	require.Less(t, len(written), 6, "the cleanser, the call, and what names the call in its rule")
	require.Equal(t, []string{"done", "completed"}, []string{h.step(one.plan, "first-call").State, h.step(one.plan, "first-call").Status})
	task := h.get("Task/" + h.step(two.plan, "skin-cleanser").ID)
	require.Equal(t, []string{"Practitioner/none", "hers"}, []string{task.String("owner", "reference"), task.String("note", "text")})

	told := h.found("Provenance")[provenances:]
	require.Len(t, told, 2)
	for _, s := range told {
		p := parse(t, s.Body)
		require.Equal(t, "the protocol changed from version "+firstVersion+" to version 1.1.0", p.String("reason", "text"))
		require.Equal(t, protocolURL+"|1.1.0", p.String("policy"))
		require.Equal(t, "PlanDefinition/"+protocolID+"/_history/2", p.String("entity", "what", "reference"))
	}

	after := h.everything()
	require.Zero(t, h.catchUp())
	require.Equal(t, after, h.everything(), "a second time there is nothing to do")
}

// ofCase are the events of a case since a mark.
func (h *house) ofCase(plan string, mark int) []event.Event {
	h.t.Helper()
	var out []event.Event
	for _, e := range h.after(mark) {
		if strings.HasSuffix(e.Subject, plan) {
			out = append(out, e)
		}
	}
	return out
}

func TestAdoptRefuses(t *testing.T) {
	change := func(version string, changes ...string) func(*testing.T) []byte {
		return func(t *testing.T) []byte { return signedText(t, version, changes...) }
	}
	unsigned := func(approval string) func(*testing.T) []byte {
		return func(t *testing.T) []byte { return protocolText(t, "1.1.0", draft, approval) }
	}
	place := func(step string) string {
		_, text, err := Definitions()
		require.NoError(t, err)
		for n, a := range parse(t, text).Get("action").Items() {
			if a.String("id") == step {
				return fmt.Sprintf("PlanDefinition.action[%d]", n)
			}
		}
		return ""
	}
	for what, r := range map[string]struct {
		body   func(*testing.T) []byte
		to     func(*NewDefinition)
		err    error
		places []string // of the issues
		text   string   // of the first
	}{
		"a draft":              {body: func(t *testing.T) []byte { return protocolText(t, "1.1.0") }, err: ErrInvalid, places: []string{"PlanDefinition.status", "PlanDefinition.approvalDate", "PlanDefinition.endorser"}, text: "must be active"},
		"no day of approval":   {body: unsigned(`"status": "active", "endorser": [{"name": "Dr Wendeline Thatchmarsh"}]`), err: ErrInvalid, places: []string{"PlanDefinition.approvalDate"}, text: "is missing"},
		"approved tomorrow":    {body: unsigned(`"status": "active", "approvalDate": "2026-09-09", "endorser": [{"name": "Dr Wendeline Thatchmarsh"}]`), err: ErrInvalid, places: []string{"PlanDefinition.approvalDate"}, text: "still to come"},
		"approved by nobody":   {body: unsigned(`"status": "active", "approvalDate": "2026-09-08", "endorser": [{"telecom": [{"system": "phone", "value": "555-0101"}]}]`), err: ErrInvalid, places: []string{"PlanDefinition.endorser"}, text: "nobody is named"},
		"retired":              {body: unsigned(`"status": "retired", "approvalDate": "2026-09", "endorser": [{"name": "Dr Wendeline Thatchmarsh"}]`), err: ErrInvalid, places: []string{"PlanDefinition.status"}, text: "must be active"},
		"to be used later":     {body: change("1.1.0", `"date": "2026-11-25"`, `"date": "2026-11-25", "effectivePeriod": {"start": "2026-09-09"}`), err: ErrInvalid, places: []string{"PlanDefinition.effectivePeriod"}, text: "later day"},
		"no longer to be used": {body: change("1.1.0", `"date": "2026-11-25"`, `"date": "2026-11-25", "effectivePeriod": {"end": "2026-09-07"}`), err: ErrInvalid, places: []string{"PlanDefinition.effectivePeriod"}, text: "is over"},
		"no version":           {body: change("", `"version": "`+firstVersion+`",`, ""), err: ErrInvalid, places: []string{"PlanDefinition.version"}, text: "is missing"},
		"a version with a bar": {body: change("1|1"), err: ErrInvalid, places: []string{"PlanDefinition.version"}, text: "neither |"},
		"the version in force": {body: change(""), err: ErrConflict, places: []string{"PlanDefinition.version"}, text: "stored with another text"},
		"another url":          {body: change("1.1.0", `"url": "`+protocolURL+`"`, `"url": "http://clinic.larkspindle.example/other"`), err: ErrInvalid, places: []string{"PlanDefinition.url"}, text: protocolURL},
		"another id":           {body: change("1.1.0"), to: func(n *NewDefinition) { n.ID = "other" }, err: ErrNotAllowed, places: []string{"PlanDefinition.id"}, text: "there is one protocol here, PlanDefinition/" + protocolID},
		"another id within":    {body: change("1.1.0", `"id": "`+protocolID+`"`, `"id": "other"`), err: ErrMalformed, places: []string{"PlanDefinition.id"}, text: "must be the id"},
		"If-Match of another":  {body: change("1.1.0"), to: func(n *NewDefinition) { n.IfMatch = `W/"2"` }, err: ErrVersion, places: []string{"PlanDefinition"}, text: "has changed"},
		"a set that nobody has": {body: func(t *testing.T) []byte {
			return everywhere(signedText(t, "1.1.0"), "ValueSet/emergency-booking", "ValueSet/none")
		}, err: ErrInvalid, places: []string{place("surgery")}, text: "ValueSet/none, which is not known"},
		"a step twice": {body: change("1.1.0", `"id": "skin-cleanser"`, `"id": "first-call"`), err: ErrInvalid, places: []string{place("skin-cleanser")}, text: "first-call is defined twice"},
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			before := h.everything()
			n := newProtocol(t, r.body(t))
			if r.to != nil {
				r.to(&n)
			}
			_, err := h.office.Adopt(context.Background(), n)
			require.ErrorIs(t, err, r.err)
			var refused *Refusal
			require.ErrorAs(t, err, &refused)
			var places []string
			for _, i := range refused.Issues {
				places = append(places, i.Expression)
			}
			require.Equal(t, r.places, places)
			require.Contains(t, refused.Issues[0].Text, r.text)
			require.Equal(t, before, h.everything())
			require.Zero(t, h.catchUp())
			require.Equal(t, firstVersion, h.office.Protocol().Version)
			require.Equal(t, firstVersion, h.ruledBy(h.book("2", surgery).plan))
			require.Equal(t, firstVersion, h.ruledBy(b.plan))
		})
	}
}

// everywhere replaces every occurrence of a text.
func everywhere(body []byte, old, by string) []byte {
	return []byte(strings.ReplaceAll(string(body), old, by))
}

// Every fault has an issue of its own, those of reading and those of the whole.
func TestAdoptNamesEveryFault(t *testing.T) {
	h := newHouse(t)
	_, text, err := Definitions()
	require.NoError(t, err)
	var definition map[string]any
	require.NoError(t, json.Unmarshal(text, &definition))
	definition["version"], definition["status"] = "1.1.0", "active"
	actions := definition["action"].([]any)
	want := map[string]string{}
	for n, a := range actions {
		action := a.(map[string]any)
		if action["requiredBehavior"] == nil {
			continue // a moment, not a step
		}
		switch fmt.Sprint(n % 10) {
		case "5":
			delete(action, "participant")
			want[fmt.Sprintf("PlanDefinition.action[%d]", n)] = action["id"].(string) + " has nobody to do it"
		case "7":
			delete(action, "requiredBehavior")
			want[fmt.Sprintf("PlanDefinition.action[%d]", n)] = action["id"].(string) + ": requiredBehavior"
		}
	}
	want["PlanDefinition.approvalDate"], want["PlanDefinition.endorser"] = "missing", "nobody"
	body, err := json.Marshal(definition)
	require.NoError(t, err)
	_, err = h.office.Adopt(context.Background(), newProtocol(t, body))
	var refused *Refusal
	require.ErrorAs(t, err, &refused)
	require.Len(t, refused.Issues, len(want))
	for _, i := range refused.Issues {
		require.Contains(t, i.Text, want[i.Expression], i.Expression)
	}
	require.Greater(t, len(want), 15)
}

// What is in force, sent again, is no change, also as it is served; a version
// that was in force before comes back.
func TestAdoptAgain(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	served := h.version("PlanDefinition/"+protocolID, 1).Body
	same := func(body []byte) {
		t.Helper()
		before := h.everything()
		result := h.adopt(body)
		require.False(t, result.Changed)
		after := h.everything()
		delete(before, "received")
		delete(after, "received")
		require.Equal(t, before, after)
		require.Zero(t, h.catchUp())
	}
	same(served)
	first := signedText(t, "1.1.0", callTitle, newTitle)
	second := signedText(t, "1.2.0", earlierCleanser(t)...)
	h.adopt(first)
	require.Equal(t, 1, h.catchUp())
	same(first)
	same(h.version("PlanDefinition/"+protocolID, 2).Body)
	h.adopt(second)
	require.Equal(t, 1, h.catchUp())
	require.Equal(t, "First call", h.get("Task/"+h.step(b.plan, "first-call").ID).String("code", "coding", "display"))

	back := h.adopt(h.version("PlanDefinition/"+protocolID, 2).Body)
	require.True(t, back.Changed)
	require.EqualValues(t, 4, back.Stored.Version)
	require.Equal(t, 1, h.catchUp())
	require.Equal(t, "1.1.0", h.ruledBy(b.plan))
	require.Equal(t, "2027-01-08", h.step(b.plan, "skin-cleanser").Due)
	require.Equal(t, "The very first call", h.get("Task/"+h.step(b.plan, "first-call").ID).String("code", "coding", "display"))
	_, err := h.office.Adopt(context.Background(), newProtocol(t, protocolText(t, "")))
	require.ErrorIs(t, err, ErrInvalid, "the example was in force, and is signed by nobody")
}

// What was adopted stays in force at the next start, whatever the service is
// started with.
func TestAdoptedStaysInForce(t *testing.T) {
	h := newHouse(t)
	h.book("1", surgery)
	body := signedText(t, "1.1.0", callTitle, newTitle)
	h.adopt(body)
	for _, start := range [][]byte{nil, protocolText(t, "1.5.0", callTitle, `"title": "Another call"`), nil} {
		h.close()
		h.open(start)
		require.Equal(t, "1.1.0", h.office.Protocol().Version)
		want := ""
		if start != nil {
			want = protocolURL + "|1.5.0"
		}
		require.Equal(t, want, h.office.Overruled())
		require.Equal(t, "1.1.0", h.ruledBy(h.book(fmt.Sprint(len(h.found("Patient"))+1), surgery).plan))
	}
	require.Equal(t, "1.1.0", h.get("PlanDefinition/"+protocolID).String("version"))
	require.Equal(t, 1, h.catchUp())
}
