package main

import (
	"context"
	"errors"
	"flag"
	"io/fs"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A size of paper may be typed in any case, and reaches the sheet as it is written.
func TestPaperInAnyCase(t *testing.T) {
	for typed, want := range map[string]string{"": "", "a4": "A4", "A4": "A4", "letter": "Letter", "LETTER": "Letter"} {
		require.True(t, paperOf(&typed))
		require.Equal(t, want, typed)
	}
	other := "A5"
	require.False(t, paperOf(&other))
}

// Who calls it in a way that it does not know is told so in one line, and scripts
// see 2; what fails is 1, and who asks for help has done nothing wrong.
func TestWrongUse(t *testing.T) {
	for _, r := range []struct {
		args string
		code int
		says string
	}{
		{"plan", exitMisused, "plan: name at least one file"},
		{"plan -o pictures a.json", exitMisused, "plan: -o pictures is none of table, json, ics, sheet"},
		{"plan -paper A5 a.json", exitMisused, "plan: -paper A5 is neither A4 nor Letter"},
		{"plan -colour a.json", exitMisused, "flag provided but not defined: -colour"},
		{"serve now", exitMisused, `serve: "now" is no setting`},
		{"events -most many", exitMisused, "invalid value"},
		{"package", exitMisused, "package: -out says which file to write"},
		{"preen", exitMisused, "preen: there is no such command"},
	} {
		err := run(context.Background(), strings.Fields(r.args))
		require.Equal(t, r.code, exitCode(err), r.args)
		require.ErrorContains(t, err, r.says)
		require.ErrorContains(t, err, `see "countback help"`)
		require.NotContains(t, err.Error(), "\n", r.args)
	}
	require.Equal(t, exitFailed, exitCode(fs.ErrNotExist))
	require.Equal(t, exitFailed, exitCode(run(context.Background(), []string{"plan", "no-such-file.json"})))
	require.Zero(t, exitCode(errors.Join(flag.ErrHelp)))
	require.Zero(t, exitCode(nil))
}
