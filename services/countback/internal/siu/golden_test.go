package siu

import (
	"bytes"
	"encoding/json"
	"flag"
	"io/fs"
	"os"
	"path"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/hl7"
	"example.org/countback/testdata"
)

var update = flag.Bool("update", false, "write the goldens anew")

// TestGoldens keeps what becomes of each message of the corpus that is taken.
// What is kept is checked, like all resources here, by independent validators.
func TestGoldens(t *testing.T) {
	files, err := fs.Glob(testdata.FS, "hl7/[0-9]*.txt")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(path.Base(file), func(t *testing.T) {
			raw, err := fs.ReadFile(testdata.FS, file)
			require.NoError(t, err)
			var all []json.RawMessage
			for block := range strings.SplitSeq(string(raw), "\n\n") {
				var lines []string
				for line := range strings.SplitSeq(block, "\n") {
					if line != "" && line[0] != '#' && line[0] != '>' {
						lines = append(lines, line)
					}
				}
				m, err := hl7.Parse([]byte(strings.Join(lines, "\r")))
				require.NoError(t, err)
				b, err := Map(m, options(t))
				require.NoError(t, err)
				body, err := b.Bundle()
				require.NoError(t, err)
				all = append(all, body)
			}
			var got bytes.Buffer
			encoded, err := json.Marshal(all)
			require.NoError(t, err)
			require.NoError(t, json.Indent(&got, encoded, "", "  "))
			got.WriteByte('\n')
			name := path.Join("testdata", strings.TrimSuffix(path.Base(file), ".txt")+".json")
			if *update {
				require.NoError(t, os.MkdirAll("testdata", 0o755))
				require.NoError(t, os.WriteFile(name, got.Bytes(), 0o644))
			}
			want, err := os.ReadFile(name)
			require.NoError(t, err)
			require.Equal(t, string(want), got.String())
		})
	}
}
