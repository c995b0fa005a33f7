package casework

import (
	"flag"
	"testing"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	// Each draw is a story over a real database. The command line may ask for
	// more: it is parsed after this.
	if err := flag.Set("rapid.checks", "25"); err != nil {
		panic(err)
	}
	goleak.VerifyTestMain(m)
}
