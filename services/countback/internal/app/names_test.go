package app

import (
	"log/slog"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// The service is known by several names; the first is written, and a browser that
// was led here by any other name reads and sends nothing, of the desk or the API.
func TestSeveralNames(t *testing.T) {
	cfg := settings(t)
	cfg.BaseURL = "https://plans.larkspindle.example/fhir/, http://theatre-desk:8080/fhir"
	a, err := Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, a.Close()) }()
	require.Equal(t, "https://plans.larkspindle.example/fhir", a.Office.Facility().Base)
	for _, c := range []struct {
		path, host string
		browser    bool
		want       int
	}{
		{"/desk", "plans.larkspindle.example", true, 200}, {"/desk", "theatre-desk:8080", true, 200}, {"/desk", "127.0.0.1:1", true, 200},
		{"/desk", "elsewhere.example", true, 421}, {"/desk", "elsewhere.example", false, 421},
		{"/fhir/Patient", "theatre-desk", true, 200}, {"/fhir/Patient", "localhost", true, 200}, {"/fhir/Patient", "elsewhere.example", true, 421},
		{"/fhir/Patient", "elsewhere.example", false, 200},
	} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, "http://"+a.api.Addr().String()+c.path, nil)
		require.NoError(t, err)
		req.Host = c.host
		if c.browser {
			req.Header.Set("Sec-Fetch-Site", "same-origin") // as the browser sees it
		}
		resp, err := http.DefaultClient.Do(req)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, c.want, resp.StatusCode, "%s %s", c.host, c.path)
	}
	http.DefaultClient.CloseIdleConnections()
	for _, wrong := range []string{"plans.example", "https://plans.example/fhir,", "https://a.example/fhir,ftp://b.example/fhir"} {
		cfg.BaseURL = wrong
		require.ErrorContains(t, cfg.check(), "-base-url", wrong)
	}
}
