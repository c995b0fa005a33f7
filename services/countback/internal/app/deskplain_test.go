package app

import (
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"testing"

	"github.com/stretchr/testify/require"
)

// plainForms is a browser without script, which keeps its cookies, and what reads an
// answer: its status and its page.
func plainForms(t *testing.T) (*http.Client, func(*http.Response, error) (int, string)) {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &http.Client{Jar: jar}, func(resp *http.Response, err error) (int, string) {
		t.Helper()
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return resp.StatusCode, html.UnescapeString(string(body))
	}
}
