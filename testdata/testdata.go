package testdata

import "embed"

// FS holds the corpus: demo/ has one file for each person's story.
//
//go:embed demo
var FS embed.FS
