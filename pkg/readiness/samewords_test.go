package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Two records that say the same are said once.
func TestTwoRecordsOfOneThing(t *testing.T) {
	h := readiness.Hold{Key: "infection", Kind: "infection", Records: []string{"Condition/1", "Condition/2", "Condition/3"}}
	grounds := []readiness.Ground{
		{Kind: "infection", Record: "Condition/1", Says: "a urinary infection", Active: true},
		{Kind: "infection", Record: "Condition/2", Says: "a urinary infection", Active: true},
		{Kind: "infection", Record: "Condition/3", Says: "a skin infection", Active: true},
	}
	const unended = ", and nobody has said when it is over: from when surgery may be cannot be computed"
	require.Equal(t, "a urinary infection"+unended+"; a skin infection"+unended, h.Words(grounds, day(t, theDay), day(t, "2026-11-20")))
}
