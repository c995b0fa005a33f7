package wirecheck

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// golden is one resource kept in the module as JSON, alone in its file or
// somewhere inside it.
type golden struct {
	name string // file, and the place in it
	body []byte
}

// TestGoldens checks every resource that the module keeps as JSON.
func TestGoldens(t *testing.T) {
	all := goldens(t)
	for _, one := range all {
		t.Run(one.name, func(t *testing.T) { checkResource(t, one.body) })
	}
	// None may be empty: a pattern that finds nothing finds no fault either.
	for _, folder := range []string{"api/fhir", "api/protocol", "testdata"} {
		require.True(t, hasBelow(all, folder), "no resource below %s", folder)
	}
	t.Logf("%d resources", len(all))
}

func hasBelow(all []golden, folder string) bool {
	for _, one := range all {
		if strings.HasPrefix(one.name, folder+"/") {
			return true
		}
	}
	return false
}

// goldens reads all JSON files of the module, but for those below a folder named
// "refused", and for the conformance kit, whose resources hold placeholders and
// are often wrong on purpose: the server that it is played against judges them.
func goldens(t testing.TB) []golden {
	t.Helper()
	root := os.DirFS(moduleRoot(t))
	var all []golden
	err := fs.WalkDir(root, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		base := entry.Name()
		if entry.IsDir() {
			if name != "." && (strings.HasPrefix(base, ".") || base == "refused" || base == "node_modules" || name == "conformance") {
				return fs.SkipDir
			}
			return nil
		}
		if filepath.Ext(name) != ".json" {
			return nil
		}
		body, err := fs.ReadFile(root, name)
		if err != nil {
			return err
		}
		found, err := resourcesIn(name, body)
		all = append(all, found...)
		return err
	})
	require.NoError(t, err)
	return all
}

// resourcesIn finds the outermost resources of a JSON document, wherever it
// keeps them, with their bytes as they stand there.
func resourcesIn(name string, body []byte) ([]golden, error) {
	var object map[string]json.RawMessage
	var list []json.RawMessage
	switch first := strings.TrimSpace(string(body)); {
	case strings.HasPrefix(first, "{"):
		if err := json.Unmarshal(body, &object); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if kind, ok := object["resourceType"]; ok && strings.HasPrefix(string(kind), `"`) {
			return []golden{{name, body}}, nil
		}
	case strings.HasPrefix(first, "["):
		if err := json.Unmarshal(body, &list); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	var all []golden
	for key, member := range object {
		found, err := resourcesIn(name+"#"+key, member)
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	for i, member := range list {
		found, err := resourcesIn(fmt.Sprintf("%s#%d", name, i), member)
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	return all, nil
}

func TestResourcesIn(t *testing.T) {
	found, err := resourcesIn("a.json", []byte(`{"story":"x","steps":[{"post":{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"Task"}}]}},{"resourceType":1}]}`))
	require.NoError(t, err)
	require.Len(t, found, 1)
	require.Equal(t, "a.json#steps#0#post", found[0].name)
	_, err = resourcesIn("b.json", []byte(`{"a":`))
	require.ErrorContains(t, err, "b.json")
}

// moduleRoot walks up from the test's folder to the one that holds go.mod.
func moduleRoot(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		require.NotEqual(t, dir, parent, "no go.mod above the test")
		dir = parent
	}
}
