// Package api is the published contract, embedded: the FHIR definitions that
// Countback serves, the default protocol with its value sets, and the event
// schemas, with examples. It holds no logic.
package api

import "embed"

// FHIR holds our CodeSystems, StructureDefinitions, SearchParameters and
// OperationDefinitions, one resource a file.
//
//go:embed fhir/*.json
var FHIR embed.FS

// Protocol holds the default PlanDefinitions and the ValueSets that they use.
//
//go:embed protocol/*.json
var Protocol embed.FS

// Sheet holds the fixed sentences of the patient's sheet and calendar.
//
//go:embed sheet/*.json
var Sheet embed.FS

// Example holds resources as this service writes them and takes them, each with
// the profile of ours that it follows in meta.profile.
//
//go:embed example/*.json
var Example embed.FS

// Words holds the lists of words with which people's writing is read: those that
// are nobody's name, and those that name no ingredient.
//
//go:embed words/*.json
var Words embed.FS
