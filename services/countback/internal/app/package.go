package app

import (
	"os"

	"example.org/countback/services/countback/internal/fhirapi"
	"example.org/countback/services/countback/internal/publication"
)

// DefinitionsVersion is the version of the definitions that come with the
// program.
const DefinitionsVersion = "1.0.0"

// Package writes the package of the definitions to a file.
func Package(file, version string) error {
	body, err := publication.Pack(publication.Options{
		Version: version,
		Statement: func(date string) ([]byte, error) {
			return fhirapi.Statement(publication.Canonical, version, date)
		},
	})
	if err != nil {
		return err
	}
	return os.WriteFile(file, body, 0o644)
}
