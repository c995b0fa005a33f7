package fhirapi

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// archived is the last message that was kept.
func (h *house) archived() store.Received {
	h.t.Helper()
	var out store.Received
	last := h.received()
	require.NoError(h.t, h.db.Read(h.t.Context(), func(tx *store.Tx) error {
		var err error
		out, err = tx.Archived(last)
		return err
	}))
	return out
}

// h1 sends one Bundle to a new house and gives what was kept of it.
func h1(t *testing.T, body string) store.Received {
	t.Helper()
	h := open(t)
	h.must(200, "POST", root, body)
	m := h.archived()
	require.Equal(t, body, string(m.Body))
	return m
}

// TestArchive: single requests and batch entries are kept byte for byte, with
// where they went.
func TestArchive(t *testing.T) {
	h := open(t)
	who := h.book("1")
	body := " \n" + patient("2") + "\n "
	h.must(201, "PUT", root+"/Patient?identifier="+personSystem+"|canary-p2", body)
	m := h.archived()
	require.Equal(t, body, string(m.Body))
	require.Equal(t, []string{"PUT", "Patient?identifier=" + personSystem + "|canary-p2", personSystem}, []string{m.Method, m.Target, m.Source})

	h.must(200, "POST", root, bundleOf("batch", entry("", "POST", "Patient", patient("3"))))
	m = h.archived()
	require.Equal(t, patient("3"), string(m.Body), "the entry alone")
	require.Equal(t, []string{"POST", "Patient"}, []string{m.Method, m.Target})

	task := h.task(who, "name-coach")
	sent := status(t, task, "accepted")
	h.must(200, "PUT", root+"/Task/"+task.String("id"), sent)
	m = h.archived()
	require.Equal(t, sent, string(m.Body))
	require.Equal(t, "Task/"+task.String("id"), m.Target)
}
