package publication

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
)

// Canonical is where the urls of what is packed begin.
const Canonical = "http://countback.example/fhir"

// name of the package: an owner and a scope, joined by a dot.
const name = "countback.r4"

// The release of FHIR that all is written for, and its package of definitions.
const (
	release = "4.0.1"
	core    = "hl7.fhir.r4.core"
)

// Folders of the package.
const (
	folder   = "package"
	examples = "package/example"
)

// The protocol that is served, and the rules on medicines, which are part of the
// program and served only by what they lead to: they show how such rules are
// written.
const (
	protocol  = "protocol/PlanDefinition-hip-or-knee-replacement.json"
	medicines = "protocol/PlanDefinition-perioperative-medicines.json"
)

// limit is the largest resource that is packed, in bytes.
const limit = 16 << 20

// ErrContent says that what is to be packed is no resource, or has no name of its
// own.
var ErrContent = errors.New("this cannot be packed")

// Options say what is packed beside the definitions.
type Options struct {
	Version string // of the package, by Semantic Versioning
	// Statement gives the CapabilityStatement of the software, as of a date.
	Statement func(date string) ([]byte, error)
}

// manifest is package.json.
type manifest struct {
	Name         string            `json:"name"`
	Version      string            `json:"version"`
	ToolsVersion int               `json:"tools-version"`
	Type         string            `json:"type"`
	Date         string            `json:"date"` // yyyymmddhhmmss
	Canonical    string            `json:"canonical"`
	URL          string            `json:"url"`
	Title        string            `json:"title"`
	Description  string            `json:"description"`
	Author       string            `json:"author"`
	FHIRVersions []string          `json:"fhirVersions"`
	Dependencies map[string]string `json:"dependencies"`
}

// index is .index.json.
type index struct {
	Version int     `json:"index-version"`
	Files   []entry `json:"files"`
}

// entry is one file of an index.
type entry struct {
	Filename     string `json:"filename"`
	ResourceType string `json:"resourceType"`
	ID           string `json:"id"`
	URL          string `json:"url,omitempty"`
	Version      string `json:"version,omitempty"`
	Kind         string `json:"kind,omitempty"`
	Type         string `json:"type,omitempty"`
	Content      string `json:"content,omitempty"`
	Derivation   string `json:"derivation,omitempty"`
}

// file is one file of the package.
type file struct {
	name string
	body []byte
}

// Pack gives the bytes of the package, a gzipped tar.
func Pack(o Options) ([]byte, error) {
	if o.Version == "" || o.Statement == nil {
		return nil, fmt.Errorf("%w: a version and a CapabilityStatement are required", ErrContent)
	}
	definitions, date, err := load(source{api.FHIR, "fhir/*.json"}, source{api.Protocol, "protocol/ValueSet-*.json"}, source{api.Protocol, protocol})
	if err != nil {
		return nil, err
	}
	statement, err := o.Statement(date)
	if err != nil {
		return nil, err
	}
	if err := definitions.add("CapabilityStatement", statement); err != nil {
		return nil, err
	}
	shown, _, err := load(source{api.Example, "example/*.json"}, source{api.Protocol, medicines})
	if err != nil {
		return nil, err
	}
	about, err := json.MarshalIndent(described(o.Version, date), "", "  ")
	if err != nil {
		return nil, err
	}
	files := []file{{folder + "/package.json", about}}
	for _, part := range []struct {
		at       string
		contents *contents
	}{{folder, definitions}, {examples, shown}} {
		inside, err := part.contents.files(part.at)
		if err != nil {
			return nil, err
		}
		files = append(files, inside...)
	}
	return archive(files)
}

func described(version, date string) manifest {
	return manifest{
		Name: name, Version: version, ToolsVersion: 3, Type: "Conformance",
		Date:      strings.ReplaceAll(date, "-", "") + "000000",
		Canonical: Canonical, URL: Canonical, Title: "Countback",
		Description:  "Profiles, extensions, codes, questionnaires, operations and the example protocol of Countback, which plans what a hip or knee replacement patient must have done",
		Author:       "Countback",
		FHIRVersions: []string{release}, Dependencies: map[string]string{core: release},
	}
}

// contents are the resources of one folder, by the names of their files.
type contents struct {
	entries []entry
	bodies  map[string][]byte
}

// source is where resources are read from: files that a pattern names.
type source struct {
	fsys    fs.ReadFileFS
	pattern string
}

// load reads resources. date is the latest that one of them has.
func load(sources ...source) (c *contents, date string, err error) {
	c = &contents{bodies: map[string][]byte{}}
	for _, s := range sources {
		names, err := fs.Glob(s.fsys, s.pattern)
		if err != nil {
			return nil, "", err
		}
		for _, at := range names {
			body, err := s.fsys.ReadFile(at)
			if err != nil {
				return nil, "", err
			}
			if err := c.add(at, body); err != nil {
				return nil, "", err
			}
			r, _ := fhir.Parse(body, limit)
			date = max(date, r.String("date"))
		}
	}
	return c, date, nil
}

// add takes a resource in; at says in an error which it was.
func (c *contents) add(at string, body []byte) error {
	r, issues := fhir.Parse(body, limit)
	if len(issues) > 0 {
		return fmt.Errorf("%w: %s: %w", ErrContent, at, issues)
	}
	e := entry{
		ResourceType: r.Type, ID: r.ID(), URL: r.String("url"), Version: r.String("version"),
		Kind: r.String("kind"), Content: r.String("content"), Derivation: r.String("derivation"),
	}
	if r.Type == "StructureDefinition" {
		e.Type = r.String("type")
	}
	e.Filename = e.ResourceType + "-" + e.ID + ".json"
	if e.ID == "" || c.bodies[e.Filename] != nil {
		return fmt.Errorf("%w: %s: it has no id, or the id of another", ErrContent, at)
	}
	c.entries, c.bodies[e.Filename] = append(c.entries, e), body
	return nil
}

// files are the resources below a folder, with their index before them.
func (c *contents) files(at string) ([]file, error) {
	slices.SortFunc(c.entries, func(a, b entry) int { return strings.Compare(a.Filename, b.Filename) })
	listed, err := json.MarshalIndent(index{Version: 2, Files: c.entries}, "", "  ")
	if err != nil {
		return nil, err
	}
	out := []file{{path.Join(at, ".index.json"), listed}}
	for _, e := range c.entries {
		out = append(out, file{path.Join(at, e.Filename), c.bodies[e.Filename]})
	}
	return out, nil
}

// archive writes the tar. Its times are none: they would make each one another.
func archive(files []file) ([]byte, error) {
	var out bytes.Buffer
	zipped := gzip.NewWriter(&out)
	w := tar.NewWriter(zipped)
	for _, f := range files {
		h := &tar.Header{Name: f.name, Mode: 0o644, Size: int64(len(f.body)), ModTime: time.Unix(0, 0).UTC(), Format: tar.FormatUSTAR}
		if err := w.WriteHeader(h); err != nil {
			return nil, fmt.Errorf("%s: %w", f.name, err)
		}
		if _, err := w.Write(f.body); err != nil {
			return nil, fmt.Errorf("%s: %w", f.name, err)
		}
	}
	if err := errors.Join(w.Close(), zipped.Close()); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}
