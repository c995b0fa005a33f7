package publication

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"
	"path"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

func statement(date string) ([]byte, error) {
	return []byte(`{"resourceType":"CapabilityStatement","id":"countback","url":"` + Canonical + `/metadata","status":"active","date":"` + date +
		`","kind":"requirements","fhirVersion":"4.0.1","format":["json"]}`), nil
}

func packed(t *testing.T) []byte {
	t.Helper()
	body, err := Pack(Options{Version: "1.2.3", Statement: statement})
	require.NoError(t, err)
	return body
}

// unpacked reads a package as another program would.
func unpacked(t *testing.T, body []byte) (names []string, files map[string][]byte) {
	t.Helper()
	zipped, err := gzip.NewReader(bytes.NewReader(body))
	require.NoError(t, err)
	files = map[string][]byte{}
	for r := tar.NewReader(zipped); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return names, files
		}
		require.NoError(t, err)
		require.Nil(t, files[h.Name], "%s is there twice", h.Name)
		names = append(names, h.Name)
		files[h.Name], err = io.ReadAll(r)
		require.NoError(t, err)
	}
}

// Source: HL7 FHIR, FHIR NPM Packages (packages.html): the folder package, what
// package.json must have, and version 2 of the index.
func TestPackReadsBack(t *testing.T) {
	names, files := unpacked(t, packed(t))
	require.Equal(t, "package/package.json", names[0])
	var about manifest
	require.NoError(t, json.Unmarshal(files["package/package.json"], &about))
	require.Regexp(t, `^[a-z][a-z0-9-]*(\.[a-z][a-z0-9-]*)+$`, about.Name)
	require.Equal(t, "1.2.3", about.Version)
	require.Equal(t, []string{"4.0.1"}, about.FHIRVersions)
	require.Equal(t, map[string]string{"hl7.fhir.r4.core": "4.0.1"}, about.Dependencies)
	require.Equal(t, []string{Canonical, Canonical}, []string{about.Canonical, about.URL})
	require.NotEmpty(t, about.Author)
	require.NotEmpty(t, about.Description)
	require.Regexp(t, `^20\d{12}$`, about.Date)

	listed := 0
	for _, folder := range []string{"package", "package/example"} {
		var in index
		require.NoError(t, json.Unmarshal(files[folder+"/.index.json"], &in))
		require.Equal(t, 2, in.Version)
		for _, e := range in.Files {
			listed++
			r, issues := fhir.Parse(files[path.Join(folder, e.Filename)], limit)
			require.Empty(t, issues, e.Filename)
			require.Equal(t, []string{r.Type, r.ID(), r.String("url"), r.String("version"), r.String("kind")},
				[]string{e.ResourceType, e.ID, e.URL, e.Version, e.Kind}, e.Filename)
			if r.Type == "StructureDefinition" {
				require.Equal(t, []string{r.String("type"), "constraint"}, []string{e.Type, e.Derivation}, e.Filename)
			}
		}
	}
	require.Equal(t, len(files), listed+3, "the index lists every resource")
}

func TestPackHoldsEveryKind(t *testing.T) {
	_, files := unpacked(t, packed(t))
	for _, typ := range []string{
		"StructureDefinition", "CodeSystem", "ValueSet", "SearchParameter", "OperationDefinition",
		"Questionnaire", "PlanDefinition", "CapabilityStatement",
	} {
		found := false
		for name := range files {
			found = found || strings.HasPrefix(name, "package/"+typ+"-")
		}
		require.True(t, found, typ)
	}
}

// TestEveryStructureHasAnExample: each profile is followed by an example that says
// so, and each extension stands in an example or in a definition.
func TestEveryStructureHasAnExample(t *testing.T) {
	_, files := unpacked(t, packed(t))
	for name, body := range files {
		if !strings.HasPrefix(name, "package/StructureDefinition-") {
			continue
		}
		r, issues := fhir.Parse(body, limit)
		require.Empty(t, issues, name)
		quoted := `"` + r.String("url") + `"`
		shown := false
		for other, text := range files {
			example := strings.HasPrefix(other, "package/example/")
			if r.String("type") == "Extension" {
				example = example || !strings.HasPrefix(other, "package/StructureDefinition-") && !strings.HasSuffix(other, ".index.json")
				shown = shown || example && bytes.Contains(text, []byte(quoted))
				continue
			}
			if one, issues := fhir.Parse(text, limit); example && len(issues) == 0 {
				shown = shown || one.Type == r.String("type") && one.String("meta", "profile") == r.String("url")
			}
		}
		require.True(t, shown, "%s has no example", name)
	}
}

// TestBindingsAreWhole: the value sets of our profiles have every code of the
// code system that they stand for.
func TestBindingsAreWhole(t *testing.T) {
	_, files := unpacked(t, packed(t))
	codes := func(name string, path ...string) (out []string) {
		r, issues := fhir.Parse(files[name], limit)
		require.Empty(t, issues, name)
		for _, c := range r.Get(path...).Items() {
			out = append(out, c.String("code"))
		}
		return out
	}
	for _, name := range []string{"case-state", "item-state", "hold"} {
		all := codes("package/CodeSystem-"+name+".json", "concept")
		require.NotEmpty(t, all)
		require.Equal(t, all, codes("package/ValueSet-"+name+"s.json", "compose", "include", "concept"))
	}
}

func TestPackIsReproducible(t *testing.T) {
	require.True(t, bytes.Equal(packed(t), packed(t)))
}

func TestPackRefused(t *testing.T) {
	_, err := Pack(Options{Version: "1.2.3"})
	require.ErrorIs(t, err, ErrContent)
	_, err = Pack(Options{Version: "1.2.3", Statement: func(string) ([]byte, error) { return []byte("{"), nil }})
	require.ErrorIs(t, err, ErrContent)
	_, err = Pack(Options{Version: "1.2.3", Statement: func(string) ([]byte, error) { return nil, io.ErrUnexpectedEOF }})
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
}
