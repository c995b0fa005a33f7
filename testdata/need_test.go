package testdata

import (
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// spy notes how a test would have ended, and lets the caller look at it.
type spy struct{ ended []string }

func (s *spy) Helper() {}
func (s *spy) Skipf(format string, args ...any) {
	s.ended = append(s.ended, "skip: "+fmt.Sprintf(format, args...))
}
func (s *spy) Fatalf(format string, args ...any) {
	s.ended = append(s.ended, "fail: "+fmt.Sprintf(format, args...))
	// A real Fatalf does not come back: neither does this one.
	panic(s)
}

func TestNeed(t *testing.T) {
	absent := filepath.Join(t.TempDir(), "absent")
	cases := []struct {
		name, full string
		need       func(TB) string
		want       string
	}{
		{"program is there", "1", func(s TB) string { return Need(s, "go", "none") }, ""},
		{"program is missing", "", func(s TB) string { return Need(s, absent, "install it so") }, "skip: " + absent + " is missing; install it with: install it so"},
		{"program is missing in a full run", "1", func(s TB) string { return Need(s, absent, "install it so") }, "fail: " + absent + " is missing, and COUNTBACK_FULL=1 leaves nothing out; install it with: install it so"},
		{"folder is there", "1", func(s TB) string { return NeedFile(s, ".", "none") }, ""},
		{"folder is missing", "", func(s TB) string { return NeedFile(s, absent, "so") }, "skip: " + absent + " is missing; install it with: so"},
		{"folder is missing in a full run", "1", func(s TB) string { return NeedFile(s, absent, "so") }, "fail: " + absent + " is missing, and COUNTBACK_FULL=1 leaves nothing out; install it with: so"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Setenv("COUNTBACK_FULL", c.full)
			watched := &spy{}
			func() {
				defer func() {
					if r := recover(); r != nil && r != any(watched) {
						panic(r)
					}
				}()
				path := c.need(watched)
				require.Equal(t, c.want == "", path != "" && watched.ended == nil)
			}()
			if c.want == "" {
				require.Empty(t, watched.ended)
			} else {
				require.Equal(t, []string{c.want}, watched.ended)
			}
		})
	}
}
