// Command conform tests a FHIR R4 server with the conformance kit, or plays the
// records of an EHR team against it and shows what came of them.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"example.org/countback/conformance"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := conformance.Run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}
