package fhirapi

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
)

// locked stands for what the database driver says when it gave up waiting.
type locked struct{}

func (locked) Error() string   { return "database is locked" }
func (locked) Temporary() bool { return true }

// TestFailures pins every row of the table: a refusal that looks as if it could
// be repeated makes senders repeat it for ever.
func TestFailures(t *testing.T) {
	rows := []struct {
		err    error
		status int
		code   string
		retry  bool
	}{
		{errTooLarge, 413, "too-long", false},
		{errUnread, 400, "incomplete", false},
		{errUnknown, 404, "not-supported", false},
		{errMethod, 405, "not-supported", false},
		{errAccept, 406, "not-supported", false},
		{errMediaType, 415, "not-supported", false},
		{casework.ErrMalformed, 400, "structure", false},
		{casework.ErrInvalid, 422, "business-rule", false},
		{casework.ErrNotFound, 404, "not-found", false},
		{casework.ErrGone, 410, "deleted", false},
		{casework.ErrNotAllowed, 405, "not-supported", false},
		{casework.ErrConflict, 409, "conflict", false},
		{casework.ErrVersion, 412, "conflict", false},
		{casework.ErrMultiple, 412, "multiple-matches", false},
		{store.ErrNotFound, 404, "not-found", false},
		{store.ErrConflict, 409, "conflict", true},
		{store.ErrAborted, 503, "transient", true},
		{store.ErrClosed, 503, "transient", true},
		{locked{}, 503, "lock-error", true},
		{context.DeadlineExceeded, 503, "timeout", true},
		{context.Canceled, 499, "incomplete", false},
		{errors.New("canary"), 500, "exception", false},
	}
	require.Len(t, rows, len(failures), "a row of the table without one here, or the other way round")
	for n, row := range rows {
		t.Run(fmt.Sprint(row.err), func(t *testing.T) {
			f := failureOf(fmt.Errorf("on the way: %w", row.err))
			require.Equal(t, failures[n], f, "rows are in the order of the table")
			require.Equal(t, row.status, f.status)
			require.Equal(t, row.retry, f.retry)
			is := f.outcome(row.err, "id-1")
			require.Len(t, is, 1)
			require.Equal(t, row.code, is[0].Code)
			require.NotEmpty(t, is[0].Text)
			require.Equal(t, row.status >= 500, is[0].Diagnostics == "request id id-1")
			require.NotContains(t, string(is.OperationOutcome()), canary)
			require.Contains(t, string(is.OperationOutcome()), `"code":"`+row.code+`"`, "a code of the value set issue-type")
		})
	}
}

func TestFailuresBelongTogether(t *testing.T) {
	// A write undone because the database was locked is both: busy.
	f := failureOf(fmt.Errorf("%w: %w", store.ErrAborted, locked{}))
	require.Equal(t, errBusy, f.cause)
	require.Equal(t, context.Canceled, failureOf(errCancelled).cause)
	require.Equal(t, http.StatusInternalServerError, failureOf(errPanicked).status)
	require.Equal(t, http.StatusInternalServerError, failureOf(fhir.Issues{{Text: "canary"}}).status,
		"issues that nobody made a refusal of are a fault of ours")
}

// TestContentRefusal pins which issue decides, by the codes of pkg/fhir.
func TestContentRefusal(t *testing.T) {
	for _, row := range []struct {
		codes  []string
		status int
	}{
		{[]string{"structure"}, 400}, {[]string{"required"}, 400}, {[]string{"value"}, 400},
		{[]string{"code-invalid"}, 400}, {[]string{"not-supported"}, 400},
		{[]string{"invariant"}, 422}, {[]string{"business-rule"}, 422}, {[]string{"duplicate"}, 422},
		{[]string{"too-long"}, 413}, {[]string{"too-costly"}, 413},
		{[]string{"invariant", "required"}, 400}, {[]string{"required", "invariant"}, 400},
		{[]string{"invariant", "too-costly"}, 413}, {[]string{"canary"}, 422},
	} {
		var issues fhir.Issues
		for _, code := range row.codes {
			issues = append(issues, fhir.Issue{Code: code, Text: "text"})
		}
		err := contentRefusal(issues)
		require.Equal(t, row.status, failureOf(err).status, row.codes)
		require.Equal(t, issues, failureOf(err).outcome(err, ""), "all issues are told")
	}
}
