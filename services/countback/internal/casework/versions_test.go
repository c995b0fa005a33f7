package casework

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
)

// A database keeps each protocol and questionnaire by its version, and one that
// holds another text of it does not start. So a text that was ever released under a
// version stays as it is: who changes it gives it a new one, and adds it to the list
// of testdata/versions.txt with UPDATE=1.
func TestAVersionHasOneText(t *testing.T) {
	const list = "testdata/versions.txt"
	was, err := os.ReadFile(list)
	require.NoError(t, err)
	released := map[string]string{}
	for line := range strings.Lines(string(was)) {
		canonical, digest, ok := strings.Cut(strings.TrimSpace(line), " ")
		require.True(t, ok, line)
		released[canonical] = digest
	}
	now := string(was)
	for _, dir := range []struct {
		files fs.FS
		glob  string
	}{{api.Protocol, "protocol/PlanDefinition-*.json"}, {api.FHIR, "fhir/Questionnaire-*.json"}} {
		names, err := fs.Glob(dir.files, dir.glob)
		require.NoError(t, err)
		require.NotEmpty(t, names)
		for _, name := range names {
			body, err := fs.ReadFile(dir.files, name)
			require.NoError(t, err)
			r, issues := fhir.Parse(body, DefinitionLimit)
			require.Empty(t, issues)
			canonical := r.String("url") + "|" + r.String("version")
			digest := fmt.Sprintf("%x", sha256.Sum256(body))
			if released[canonical] == "" && os.Getenv("UPDATE") != "" {
				now += canonical + " " + digest + "\n"
				continue
			}
			require.Equal(t, released[canonical], digest, "%s: a changed text needs a new version, and a line in %s", name, list)
		}
	}
	if now != string(was) {
		require.NoError(t, os.WriteFile(list, []byte(now), 0o644))
	}
}
