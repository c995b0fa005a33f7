package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A size of paper may be typed in any case, and reaches the sheet as it is written.
func TestPaperInAnyCase(t *testing.T) {
	for typed, want := range map[string]string{"": "", "a4": "A4", "A4": "A4", "letter": "Letter", "LETTER": "Letter"} {
		require.True(t, paperOf(&typed))
		require.Equal(t, want, typed)
	}
	other := "A5"
	require.False(t, paperOf(&other))
}
