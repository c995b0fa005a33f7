package casework

import (
	"encoding/json"
	"fmt"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

func TestLoggable(t *testing.T) {
	const canary = "canary"
	_, number := strconv.Atoi(canary)
	_, date := time.Parse(time.DateOnly, canary)
	var into struct{ A int }
	kind := json.Unmarshal([]byte(`{"A":"canary"}`), &into)
	syntax := json.Unmarshal([]byte(`canary`), &into)
	for _, err := range []error{number, date, kind, syntax} {
		text := Loggable(fmt.Errorf("read canary row: %w", err))
		require.NotContains(t, text, canary)
		require.Contains(t, text, fmt.Sprintf("%T", err))
	}
	require.Equal(t, "read row: write group undone", Loggable(fmt.Errorf("read row: %w", store.ErrAborted)))
}
