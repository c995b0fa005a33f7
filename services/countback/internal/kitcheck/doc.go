// Package kitcheck holds tests only: the conformance kit against the real
// server, and against the same server behind a proxy with one fault at a time.
// Every test of the kit must pass against the one, and fail against at least one
// of the others: a test that cannot fail proves nothing.
package kitcheck
