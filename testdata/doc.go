// Package testdata is the one corpus that the tests and the demonstration
// share: an invented hospital with invented people. No name, place, number or
// address in it belongs to anyone.
//
// The go command leaves folders of this name out of "./...": name it, as in
// "go test ./... ./testdata".
package testdata
