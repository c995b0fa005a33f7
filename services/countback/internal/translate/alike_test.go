package translate

import (
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// differently are copies of a protocol, each with one element of one step, or
// the title of one, changed, by what was changed.
func differently(p *Protocol, step int) map[string]*Protocol {
	out := map[string]*Protocol{}
	for n := range reflect.TypeFor[readiness.Step]().NumField() {
		rules := *p.Protocol
		rules.Steps = slices.Clone(rules.Steps)
		if field := reflect.ValueOf(&rules.Steps[step]).Elem().Field(n); alter(field) {
			other := *p
			other.Protocol = &rules
			out[reflect.TypeFor[readiness.Step]().Field(n).Name] = &other
		}
	}
	delete(out, "Code") // another code is another step
	return out
}

// alter gives a value another one, without touching what it shares.
func alter(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.String:
		v.SetString(v.String() + "-or-so")
	case reflect.Bool:
		v.SetBool(!v.Bool())
	case reflect.Int, reflect.Int64:
		v.SetInt(v.Int() + 1)
	case reflect.Struct:
		for n := range v.NumField() {
			if v.Field(n).CanSet() && alter(v.Field(n)) {
				return true
			}
		}
		return false
	case reflect.Slice:
		if v.Len() == 0 {
			return false
		}
		v.Set(reflect.AppendSlice(reflect.MakeSlice(v.Type(), 0, v.Len()), v))
		return alter(v.Index(0))
	case reflect.Pointer:
		if v.IsNil() || v.Type() == reflect.TypeFor[*readiness.Condition]() {
			return false
		}
		fresh := reflect.New(v.Type().Elem())
		fresh.Elem().Set(v.Elem())
		v.Set(fresh)
		return alter(fresh.Elem())
	default:
		return false
	}
	return true
}

// Where two protocols are said to render a step alike, every Task of it is the
// same byte for byte, whichever element of whichever step differs.
func TestAlike(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	rows := exampleRows(t, f, p)
	m := TaskMeta{ID: "task-1", CaseID: "case-1", Version: 1, Updated: f.clock(t, "2026-11-20 09:00")}
	seen, unlike := 0, 0
	for n := range p.Steps {
		changed := p.Steps[n].Code
		for what, o := range differently(p, n) {
			alike := p.Alike(o)
			require.False(t, alike[changed], "%s of %s", what, changed)
			for name, r := range rows {
				_, was := rendered(t, f, r, m, p)
				_, now := rendered(t, f, r, m, o)
				seen++
				if alike[r.Step] {
					require.Equal(t, string(was), string(now), "%s, with another %s of %s", name, what, changed)
				} else if string(was) != string(now) {
					unlike++
				}
			}
		}
	}
	require.Greater(t, seen, 1000)
	require.Greater(t, unlike, 100)
}

// One changed step leaves all others alone, but for those whose rule names it.
func TestAlikeLeavesOthersAlone(t *testing.T) {
	p := defaultProtocol(t)
	alike := p.Alike(defaultProtocol(t))
	require.Len(t, alike, len(p.Steps), "read twice, it is the same")
	for n := 0; n < len(p.Steps); n += 8 {
		for what, o := range differently(p, n) {
			var others []string
			alike := p.Alike(o)
			for m := range p.Steps {
				if code := p.Steps[m].Code; m != n && !alike[code] {
					others = append(others, code)
				}
			}
			if what != "Title" {
				require.Empty(t, others, "%s of %s", what, p.Steps[n].Code)
			}
			require.Less(t, len(others), 12)
		}
	}
	rules := *p.Protocol
	rules.Steps = slices.Clone(rules.Steps)
	rules.Steps[3].Condition = nil
	other := *p
	other.Protocol = &rules
	require.True(t, p.Alike(&other)[rules.Steps[3].Code], "what came of a condition is in the row")
}
