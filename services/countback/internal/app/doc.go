// Package app builds the service from its parts in one straight function and
// takes it down again in the opposite order. Tests run it in process, on free
// ports. It is the one place that reads a clock.
package app
