package fhirapi

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// badRow is a request that is refused, and what its sender is told.
type badRow struct {
	name, method, path, body string
	header                   []string
	status                   int
	code, expression, text   string
}

// seed is what is held before anything bad comes.
type seed struct {
	told
	tasks map[string]response
}

func (h *house) seed() seed {
	h.t.Helper()
	s := seed{told: h.book("1"), tasks: map[string]response{}}
	for range 2 { // nothing keeps a sender from giving two people one number
		h.must(201, "POST", root+"/Patient", patient("twins"))
	}
	call := h.task(s.told, "first-call")
	h.must(200, "PUT", root+"/Task/"+call.String("id"), status(h.t, call, "completed"))
	for _, step := range []string{"first-call", "name-coach", "joint-class", "surgical-consent"} {
		s.tasks[step] = h.task(s.told, step)
	}
	return s
}

// TestBadInput sends what must be refused. What is told names the element and
// says in words what is wrong; nothing is stored, archived or sent for it.
//
// The statuses follow FHIR R4 (4.0.1), RESTful API: 400 for what cannot be read
// or breaks a basic rule, 422 for a rule of business.
func TestBadInput(t *testing.T) {
	h := open(t, func(o *Options) { o.MaxEntries = 20 })
	s := h.seed()
	rows := contentRows(t, s)
	rows = append(rows, requestRows(t, s)...)
	rows = append(rows, bundleRows(t, s)...)
	rows = append(rows, taskRows(t, s)...)
	rows = append(rows, operationRows(t, s, h.seedEnded())...)
	require.GreaterOrEqual(t, len(rows), 60)
	before := h.held()
	seen := map[string]bool{}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			require.False(t, seen[row.name], "two rows of one name")
			seen[row.name] = true
			h.t = t
			r := h.send(row.method, row.path, row.body, row.header...)
			require.Equal(t, "OperationOutcome", r.String("resourceType"), "%s", r.raw)
			code, expression, text := r.issue()
			require.Equal(t, row.status, r.status, "%s", r.raw)
			require.Equal(t, []string{row.code, row.expression}, []string{code, expression}, "%s", r.raw)
			require.Contains(t, text, row.text)
			require.NotEmpty(t, row.text)
			require.Equal(t, "error", r.String("issue", "severity"))
			require.Empty(t, r.header.Get("Retry-After"), "no repetition mends this")
			require.Equal(t, row.status == 405, r.header.Get("Allow") != "")
			was, now := before, h.held()
			before = now
			require.Equal(t, was, now, "something was kept of it")
		})
	}
	t.Logf("%d rows", len(rows))
}
