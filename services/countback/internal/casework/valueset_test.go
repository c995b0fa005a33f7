package casework

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// replaceSet sends a set as it is served, with one text changed.
func (h *house) replaceSet(id, old, by string) Result {
	h.t.Helper()
	body := replaceOnce(h.t, string(h.get("ValueSet/"+id).Raw), old, by)
	r, issues := fhir.Parse([]byte(body), DefinitionLimit)
	require.Empty(h.t, issues)
	out, err := h.office.ReplaceSet(context.Background(), NewDefinition{
		ID: id, ContentType: "application/fhir+json", Target: "ValueSet/" + id, Body: []byte(body), Resource: r,
	})
	require.NoError(h.t, err)
	return out
}

// A version of the protocol goes by the sets that it was adopted with, also
// after a start, and when it comes back after another.
func TestSetsStayWithTheirVersion(t *testing.T) {
	h := newHouse(t)
	number := 0
	opens := func(want bool, when string) {
		t.Helper()
		number++
		n := strings.Repeat("1", number)
		refs := h.send(bookingMessage(n, surgery))
		require.Equal(t, want, len(h.cases(refs[0])) == 1, when)
	}
	with, without := `"`+hipCode+`"`, `"none"`
	opens(true, "at first")
	require.EqualValues(t, 2, h.replaceSet("total-hip-replacement", with, without).Stored.Version)
	opens(true, "with another set, and the same protocol")
	h.restart("2026-09-08 10:30")
	opens(true, "after a start")
	require.Equal(t, "2", h.get("ValueSet/total-hip-replacement").String("meta", "versionId"), "what comes with the service replaces nothing that was sent")

	first := signedText(t, "1.1.0")
	h.adopt(first)
	opens(false, "with a protocol that came after the set")
	require.EqualValues(t, 3, h.replaceSet("total-hip-replacement", without, with).Stored.Version)
	opens(false, "with the set as it was, and the same protocol")
	h.adopt(signedText(t, "1.2.0"))
	opens(true, "with the protocol after that")
	h.restart("2026-09-08 10:40")
	opens(true, "after a start")
	h.adopt(first)
	opens(false, "with the protocol before")
	h.restart("2026-09-08 10:50")
	opens(false, "after a start")
}

// A set that is replaced while a protocol is judged is not left out of it.
func TestSetsReplacedWhileAdopting(t *testing.T) {
	h := newHouse(t)
	versions := make([][]byte, 4)
	for n := range versions {
		versions[n] = signedText(t, "1."+string(rune('1'+n))+".0")
	}
	set := string(h.get("ValueSet/both-sides").Raw)
	for _, err := range together(8, func(n int) error {
		if n < len(versions) {
			_, err := h.office.Adopt(context.Background(), newProtocol(t, versions[n]))
			return err
		}
		body := strings.Replace(set, `"title": "Both sides"`, `"title": "Both sides `+string(rune('0'+n))+`"`, 1)
		r, issues := fhir.Parse([]byte(body), DefinitionLimit)
		if len(issues) > 0 {
			return issues
		}
		_, err := h.office.ReplaceSet(context.Background(), NewDefinition{ID: "both-sides", Body: []byte(body), Resource: r})
		return err
	}) {
		require.NoError(t, err)
	}
	require.Equal(t, "5", h.get("ValueSet/both-sides").String("meta", "versionId"))
	require.Equal(t, "5", h.get("PlanDefinition/"+protocolID).String("meta", "versionId"))
	const pinned = ` FROM protocol_set s JOIN protocol_in_force f ON f.url = s.url AND f.version = s.version
		JOIN resource p ON p.type = 'PlanDefinition'
		JOIN resource_version pv ON pv.resource = p.seq AND 'PlanDefinition/' || p.id || '/_history/' || pv.version = f.resource
		JOIN resource r ON r.type = 'ValueSet' AND r.id = s.id WHERE s.id = 'both-sides'`
	require.Equal(t, "5", h.ask(`SELECT count(*)`+pinned))
	require.Equal(t, "5", h.ask(`SELECT count(*)`+pinned+` AND s.set_version =
		(SELECT max(version) FROM resource_version v WHERE v.resource = r.seq AND v.seq < pv.seq)`), "each has the set that stood when it was stored")
}
