package testdata

import "embed"

// FS holds the corpus: demo/ has one file for each person's story, hl7/ one for
// each booking that is sent in HL7 version 2.
//
//go:embed demo hl7
var FS embed.FS
