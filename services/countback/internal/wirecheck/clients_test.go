package wirecheck

import (
	"log/slog"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/app"
	"example.org/countback/testdata"
)

// clientPackages are general-purpose FHIR clients that others wrote.
const clientPackages = "fhirclient@2.6.3 fhir-kit-client@2.0.3"

// TestClients lets two FHIR clients use a running server as their users would:
// testdata/clients.mjs has the steps.
func TestClients(t *testing.T) {
	node := testdata.Need(t, "node", "apt-get install nodejs npm")
	packages := npmFolder(t)
	for _, name := range []string{"fhirclient", "fhir-kit-client"} {
		testdata.NeedFile(t, filepath.Join(packages, "node_modules", name), "npm install --prefix "+packages+" "+npmPackages+" "+clientPackages)
	}
	a, err := app.Start(t.Context(), app.Config{
		Addr: "127.0.0.1:0", Admin: "127.0.0.1:0", Data: t.TempDir(), Facility: "main",
		Zone: "America/Chicago", Holidays: "us-federal", OperatingDays: "Mon-Fri", Today: "2026-11-02T09:00:00-06:00",
	}, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, a.Close()) }()
	script, err := filepath.Abs("testdata/clients.mjs")
	require.NoError(t, err)
	out, err := exec.CommandContext(t.Context(), node, script, packages, a.URL()).CombinedOutput()
	require.NoError(t, err, "%s", out)
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	t.Log(lines[len(lines)-1])
	require.GreaterOrEqual(t, len(lines), 25)
}
