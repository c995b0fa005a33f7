package conformance

import (
	"embed"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"
)

//go:embed scripts/*.json fixtures
var kit embed.FS

// Scripts reads the scripts of the kit, in the order in which they are run.
func Scripts() ([]*Script, error) {
	scripts, err := fs.Sub(kit, "scripts")
	if err != nil {
		return nil, err
	}
	fixtures, err := fs.Sub(kit, "fixtures")
	if err != nil {
		return nil, err
	}
	return ReadScripts(scripts, fixtures)
}

// ReadScripts reads every TestScript among the files of a folder, by name; files
// that are no JSON or hold another resource are left out. Fixtures are looked for
// in fixtures. A script that cannot be carried out is an error, ErrScript.
func ReadScripts(folder, fixtures fs.FS) ([]*Script, error) {
	names, err := fs.Glob(folder, "*.json")
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	var out []*Script
	for _, name := range names {
		body, err := fs.ReadFile(folder, name)
		if err != nil {
			return nil, err
		}
		if resourceTypeOf(body) != "TestScript" {
			continue
		}
		s, err := ReadScript(body, fixtures)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path.Base(name), err)
		}
		if slices.ContainsFunc(out, func(o *Script) bool { return o.Name == s.Name }) {
			return nil, fmt.Errorf("%s: %w: there are two of the name %s", name, ErrScript, s.Name)
		}
		out = append(out, s)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%w: there is no TestScript", ErrScript)
	}
	return out, nil
}

// chosen reports whether a test is among those that are named: by itself, by
// its script or by both, as in crud/read.
func chosen(only []string, script, test string) bool {
	return len(only) == 0 || slices.ContainsFunc(only, func(name string) bool {
		return strings.EqualFold(name, script) || strings.EqualFold(name, test) || strings.EqualFold(name, script+"/"+test)
	})
}
