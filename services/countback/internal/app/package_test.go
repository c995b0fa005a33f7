package app

import (
	"archive/tar"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/publication"
)

// packaged are the resources of a package file, by their names in it.
func packaged(t *testing.T, file string) map[string][]byte {
	t.Helper()
	f, err := os.Open(file)
	require.NoError(t, err)
	defer f.Close()
	zipped, err := gzip.NewReader(f)
	require.NoError(t, err)
	out := map[string][]byte{}
	for r := tar.NewReader(zipped); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		out[h.Name], err = io.ReadAll(r)
		require.NoError(t, err)
	}
}

// TestPackageIsServed: every definition of the package is served where its
// canonical url says, below the base of the server in place of ours, with the
// same content.
func TestPackageIsServed(t *testing.T) {
	file := filepath.Join(t.TempDir(), "countback.r4.tgz")
	require.NoError(t, Package(file, DefinitionsVersion))
	a := started(t, settings(t))
	served := 0
	for name, body := range packaged(t, file) {
		inside, ok := strings.CutPrefix(name, "package/")
		if !ok || strings.Contains(inside, "/") || !strings.Contains(inside, "-") {
			continue // the manifest, an index or an example
		}
		packed := map[string]any{}
		require.NoError(t, json.Unmarshal(body, &packed))
		below, ours := strings.CutPrefix(packed["url"].(string), publication.Canonical)
		require.True(t, ours, name)
		status, got := send(t, "GET", a.URL()+below, nil)
		require.Equal(t, 200, status, name)
		there := map[string]any{}
		require.NoError(t, json.Unmarshal(got, &there))
		served++
		if packed["resourceType"] == "CapabilityStatement" {
			require.Equal(t, packed["rest"], there["rest"])
			require.Equal(t, []any{"capability", nil}, []any{packed["kind"], packed["implementation"]}, "cpb-15: what is no instance has no implementation")
			continue
		}
		delete(there, "meta")
		delete(packed, "meta")
		require.Equal(t, packed, there, name)
	}
	require.Greater(t, served, 200)
}
