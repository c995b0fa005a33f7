package siu

import (
	"errors"
	"io/fs"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/hl7"
	"example.org/countback/testdata"
)

// FuzzMap: Map never panics; it gives a transaction or faults that name nothing
// of what was sent. A transaction is one that the intake reads, or refuses at an
// element that can be traced back to a segment.
func FuzzMap(f *testing.F) {
	files, err := fs.Glob(testdata.FS, "hl7/*.txt")
	require.NoError(f, err)
	for _, file := range files {
		raw, err := fs.ReadFile(testdata.FS, file)
		require.NoError(f, err)
		for block := range strings.SplitSeq(string(raw), "\n\n") {
			if at := strings.Index(block, "MSH"); at >= 0 {
				f.Add([]byte(block[at:]))
			}
		}
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		m, err := hl7.Parse(in)
		if err != nil {
			return
		}
		b, err := Map(m, options(t))
		if err != nil {
			var faults hl7.Faults
			require.True(t, errors.As(err, &faults))
			for _, one := range faults {
				require.NotEmpty(t, one.At.Segment)
			}
			return
		}
		require.NotEmpty(t, b.Source)
		body, err := b.Bundle()
		require.NoError(t, err)
		res, issues := fhir.Parse(body, len(body)+1)
		for _, i := range issues {
			require.Regexp(t, `^Bundle\.entry\[\d+\]\.resource\.`, i.Expression, "%s", body)
		}
		if res != nil {
			_, issues := res.Bundle(0)
			require.Empty(t, issues, "%s", body)
		}
	})
}
