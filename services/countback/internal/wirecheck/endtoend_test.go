package wirecheck

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/app"
	"example.org/countback/services/countback/internal/demo"
	"example.org/countback/services/countback/internal/search"
)

// played runs the invented hospital through the service and gives everything
// that it then serves: every resource in every version, the search results they
// came in, and the CapabilityStatement.
func played(t *testing.T) []golden {
	t.Helper()
	begin, err := demo.Begins()
	require.NoError(t, err)
	a, err := app.Start(t.Context(), app.Config{
		Addr: "127.0.0.1:0", Admin: "127.0.0.1:0", Data: t.TempDir(), Facility: "main",
		Zone: "America/Chicago", Holidays: "us-federal", OperatingDays: "Mon-Fri", Today: begin.Format(time.RFC3339),
	}, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, a.Close()) }()
	today := a.Office.Facility().Calendar.At(mustDate(t, app.DemoToday), 12, 0)
	require.NoError(t, demo.Play(t.Context(), demo.Options{
		Base: a.URL(), Today: today, Stand: a.Clock.Stand, Tick: a.Tick, Out: io.Discard,
		Published: func(context.Context) (map[string]uint64, error) { return nil, nil },
	}))
	protocol := a.URL() + "/PlanDefinition/hip-or-knee-replacement"
	out := []golden{
		{"metadata", get(t, a.URL()+"/metadata")}, {"adoption", get(t, protocol+"/$adoption")},
		{"preview", previewed(t, a.URL(), strings.ReplaceAll(string(get(t, protocol)), `"must-unless-documented"`, `"could"`))},
		{"preview of faults", previewed(t, a.URL(), strings.ReplaceAll(string(get(t, protocol)), `"before-start"`, `"concurrent-with-start"`))},
	}
	for _, typ := range search.Types() {
		for next := a.URL() + "/" + typ + "?_count=200"; next != ""; {
			body := get(t, next)
			out = append(out, golden{typ + " search", body})
			var page struct {
				Entry []struct {
					Resource struct {
						ID   string
						Meta struct{ VersionID string }
					}
				}
				Link []struct{ Relation, URL string }
			}
			require.NoError(t, json.Unmarshal(body, &page))
			next = ""
			for _, l := range page.Link {
				if l.Relation == "next" {
					next = l.URL
				}
			}
			for _, e := range page.Entry {
				last, err := strconv.Atoi(e.Resource.Meta.VersionID)
				require.NoError(t, err)
				for v := 1; v <= last; v++ {
					name := fmt.Sprintf("%s/%s/_history/%d", typ, e.Resource.ID, v)
					out = append(out, golden{name, get(t, a.URL()+"/"+name)})
				}
			}
		}
	}
	return append(out, asked(t, a.URL(), out)...)
}

// asked calls the operations on all that was played: the earliest safe date of
// each plan and Appointment, and each person's plan as booked, or for another
// day by turns. A refusal is checked too.
func asked(t *testing.T, base string, all []golden) []golden {
	t.Helper()
	apply := base + "/PlanDefinition/hip-or-knee-replacement/$apply?subject="
	var out []golden
	answers, people := 0, 0
	for _, one := range all {
		ref, version, _ := strings.Cut(one.name, "/_history/")
		if version != "1" {
			continue
		}
		var urls []string
		switch typ, _, _ := strings.Cut(ref, "/"); typ {
		case "Appointment", "CarePlan":
			urls = []string{base + "/" + ref + "/$earliest-safe-date"}
		case "Measure":
			urls = []string{base + "/" + ref + "/$evaluate-measure?periodStart=2026-01-01&periodEnd=2027-12-31"}
		case "Patient":
			more := []string{"", "&surgery=2027-05-14", "&surgery=2026-11-30&stay=same-day"}
			urls = []string{apply + ref + more[people%len(more)]}
			people++
		}
		for _, url := range urls {
			status, body := fetch(t, url)
			require.Contains(t, []int{200, 422}, status, "%s: %s", url, body)
			if status == 200 {
				answers++
			}
			out = append(out, golden{strings.TrimPrefix(url, base+"/"), body})
		}
	}
	require.Greater(t, answers, 20)
	reports := map[string]bool{}
	for _, one := range out {
		if bytes.Contains(one.body, []byte(`"resourceType":"MeasureReport"`)) {
			reports[one.name] = true
		}
	}
	require.Len(t, reports, len(readiness.Indicators), "each measure has its report among what is checked")
	return out
}

// previewed is what a definition would change.
func previewed(t *testing.T, base, definition string) []byte {
	t.Helper()
	resp, err := http.Post(base+"/PlanDefinition/$preview", "application/fhir+json", strings.NewReader(definition))
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.Equal(t, 200, resp.StatusCode, "%s", body)
	return body
}

func get(t *testing.T, url string) []byte {
	t.Helper()
	status, body := fetch(t, url)
	require.Equal(t, 200, status, "%s: %s", url, body)
	return body
}

func fetch(t *testing.T, url string) (status int, body []byte) {
	t.Helper()
	resp, err := http.Get(url)
	require.NoError(t, err)
	defer resp.Body.Close()
	body, err = io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp.StatusCode, body
}

func mustDate(t *testing.T, s string) calendar.Date {
	t.Helper()
	d, err := calendar.ParseDate(s)
	require.NoError(t, err)
	return d
}

// unwrapped takes the resources out of Parameters, each to be looked at by itself
// with a value in its place: jsonformat does not read Parameters.parameter.resource.
func unwrapped(t *testing.T, body []byte) [][]byte {
	t.Helper()
	var p struct {
		ResourceType string                       `json:"resourceType"`
		Parameter    []map[string]json.RawMessage `json:"parameter"`
	}
	require.NoError(t, json.Unmarshal(body, &p))
	if p.ResourceType != "Parameters" {
		return [][]byte{body}
	}
	var out [][]byte
	for _, one := range p.Parameter {
		if inner := one["resource"]; inner != nil {
			out = append(out, inner)
			delete(one, "resource")
			one["valueBoolean"] = json.RawMessage("true")
		}
	}
	outer, err := json.Marshal(p)
	require.NoError(t, err)
	return append(out, outer)
}

// TestEndToEnd checks everything that a run of the invented hospital wrote.
func TestEndToEnd(t *testing.T) {
	all := played(t)
	require.Greater(t, len(all), 1000)
	bad := 0
	for _, one := range all {
		var found []string
		for _, part := range unwrapped(t, one.body) {
			found = append(found, faults(part)...)
		}
		if len(found) > 0 {
			if bad++; bad <= 10 {
				t.Errorf("%s: %v", one.name, found)
			}
		}
	}
	require.Zero(t, bad, "%d of %d are faulty", bad, len(all))
	t.Logf("%d resources and result bundles", len(all))
}

// TestEndToEndInvariants holds the same against the official invariants.
func TestEndToEndInvariants(t *testing.T) {
	npmFolder(t)
	found := checkInvariants(t, played(t))
	require.Empty(t, found.errorsOf())
	t.Logf("%d resources, %d evaluations", found.Resources, found.Evaluated)
}
