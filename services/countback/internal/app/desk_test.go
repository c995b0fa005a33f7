package app

import (
	"context"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/demo"
	"example.org/countback/testdata"
)

// played is the service with the invented hospital's story told up to its day.
func played(t testing.TB) *App {
	t.Helper()
	cfg := settings(t)
	begin, err := demo.Begins()
	require.NoError(t, err)
	cfg.Today = begin.Format(time.RFC3339)
	a := started(t, cfg)
	at := cfg
	at.Today = DemoToday
	today, err := at.standing(a.Office.Facility().Calendar)
	require.NoError(t, err)
	require.NoError(t, demo.Play(t.Context(), demo.Options{
		Base: a.URL(), Today: today, Stand: a.Clock.Stand, Tick: a.Tick, Published: a.counted, Out: io.Discard,
	}))
	return a
}

// caseOf finds the one case of a person of the story that is in a state.
func caseOf(t testing.TB, a *App, family, state string) string {
	t.Helper()
	var r struct{ ID string }
	for _, person := range found(t, a, "Patient?name="+url.QueryEscape(family)) {
		require.NoError(t, json.Unmarshal(person, &r))
		for _, raw := range found(t, a, "CarePlan?patient="+r.ID) {
			if strings.Contains(string(raw), `"code":"`+state+`"`) {
				require.NoError(t, json.Unmarshal(raw, &r))
				return r.ID
			}
		}
	}
	require.Fail(t, "no such case", "%s, %s", family, state)
	return ""
}

// browser is a headless Chromium with one page.
func browser(t testing.TB) context.Context {
	t.Helper()
	path := testdata.Need(t, "chromium", "apt-get install -y chromium")
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.WindowSize(1280, 900))
	if os.Geteuid() == 0 { // its sandbox refuses root
		options = append(options, chromedp.NoSandbox)
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(t.Context()), 5*time.Minute)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(func() {
		require.NoError(t, chromedp.Cancel(ctx))
		cancel()
	})
	return ctx
}

// npmFile is a file of an npm package, as .ci/run installs it.
func npmFile(t testing.TB, pkg, name string) string {
	t.Helper()
	npm := os.Getenv("COUNTBACK_NPM")
	if npm == "" {
		home, err := os.UserHomeDir()
		require.NoError(t, err)
		npm = filepath.Join(home, ".cache", "countback-npm")
	}
	folder, _, _ := strings.Cut(pkg, "@")
	return testdata.NeedFile(t, filepath.Join(npm, "node_modules", folder, name), "npm install --prefix "+npm+" "+pkg)
}

// axeRules are the tags of WCAG 2.2 AA and of all that it builds on.
const axeRules = `["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"]`

// accessible runs axe-core over the page that is open, and asks for nothing found.
func accessible(t testing.TB, ctx context.Context, what string) {
	t.Helper()
	file := npmFile(t, "axe-core@4.14.1", "axe.min.js")
	script, err := os.ReadFile(file)
	require.NoError(t, err)
	_, err = chromedp.Run(ctx, chromedp.Evaluate[any](string(script)+"; true"))
	require.NoError(t, err)
	found, err := chromedp.Run(ctx, chromedp.Evaluate[string](`axe.run(document, {runOnly: `+axeRules+`}).then(r => JSON.stringify({
		passes: r.passes.length,
		violations: r.violations.map(v => v.id + ": " + v.help + " at " + v.nodes.slice(0, 3).map(n => n.target.join(" ") + " " + n.failureSummary).join("; ")),
	}))`, chromedp.EvalAwaitPromise))
	require.NoError(t, err)
	var result struct {
		Passes     int
		Violations []string
	}
	require.NoError(t, json.Unmarshal([]byte(found), &result))
	require.Empty(t, result.Violations, what)
	require.Greater(t, result.Passes, 15, what)
}

// shot keeps a picture of the page where COUNTBACK_SHOTS names a folder.
func shot(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("COUNTBACK_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
}

// do carries out steps in the browser.
func do(t testing.TB, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	require.NoError(t, chromedp.Do(ctx, steps...))
}

func text(t testing.TB, ctx context.Context, selector string) string {
	t.Helper()
	s, err := chromedp.Run(ctx, chromedp.Text(chromedp.CSS(selector)))
	require.NoError(t, err)
	return s
}

// click presses what leads to another page, and waits for that page.
func click(t testing.TB, ctx context.Context, selector string) {
	t.Helper()
	clickTo(t, ctx, selector, http.StatusOK)
}

// clickTo presses what leads to a page with this status.
func clickTo(t testing.TB, ctx context.Context, selector string, status int) {
	t.Helper()
	resp, err := chromedp.RunResponse(ctx, chromedp.Click(chromedp.CSS(selector)))
	require.NoError(t, err)
	require.NotNil(t, resp)
	require.EqualValues(t, status, resp.Status)
}

// sayWho gives the name of the person at the desk, and comes back.
func sayWho(t testing.TB, ctx context.Context, a *App, name, back string) {
	t.Helper()
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/me?back="+url.QueryEscape(back)),
		chromedp.Clear(chromedp.CSS(`input[name=name]`)), chromedp.SendKeys(chromedp.CSS(`input[name=name]`), name))
	click(t, ctx, ".plainform button")
}

// The desk in a real browser over the whole service, with the story told up to
// its day. What changes something comes last.
func TestDesk(t *testing.T) {
	ctx := browser(t)
	a := played(t)
	for _, part := range []struct {
		name string
		try  func(*testing.T, context.Context, *App)
	}{
		{"cases", deskCases}, {"unplanned", deskUnplanned}, {"report", deskReport}, {"weeks", deskWeeks}, {"keyboard", deskByKeyboard}, {"printed", deskPrinted}, {"what if", deskWhatIf}, {"pages", deskPages}, {"sheet", deskSheet},
		{"refused", deskRefused}, {"instructions", deskInstructions}, {"answers", deskAnswers}, {"reported", deskReported}, {"morning", deskMorning}, {"another day", deskAsk}, {"meant", deskMeant}, {"another person", deskOtherPerson}, {"hold", deskHold}, {"adrift", deskAdrift},
	} {
		t.Run(part.name, func(t *testing.T) { part.try(t, ctx, a) })
	}
}

// The coordinator clears a hold from the case's page: the same Task, Flag and
// events follow as over FHIR, and it stands there who did it.
func deskHold(t *testing.T, ctx context.Context, a *App) {
	id := caseOf(t, a, "Moorgather", "held")
	page := "/desk/case/" + id
	sayWho(t, ctx, a, "Idony Quillfeather", page)
	require.Contains(t, text(t, ctx, ".standing"), "held")
	require.Contains(t, text(t, ctx, ".me"), "Idony Quillfeather")
	require.Contains(t, text(t, ctx, "#main"), "Wed 30 Dec 2026")
	accessible(t, ctx, "a case that is held")
	shot(t, ctx, "case-held")
	before := events(t, a)

	do(t, ctx, chromedp.SendKeys(chromedp.CSS(".clear input[name=owner]"), "Dr Corvan Stillmarch"),
		chromedp.SendKeys(chromedp.CSS(".clear input[name=reason]"), "The dentist moved the extraction to April"))
	click(t, ctx, ".clear button")
	require.Contains(t, text(t, ctx, "#news"), "Sunniva Moorgather, “Hold to be looked at”: The hold is released.")
	require.NotContains(t, text(t, ctx, ".standing"), "held")
	require.Contains(t, text(t, ctx, ".hold"), "Released by Dr Corvan Stillmarch: The dentist moved the extraction to April.")

	after := events(t, a)
	require.Equal(t, before["case.released"]+1, after["case.released"], "one release was told")
	tasks := found(t, a, "Task?code=clear-hold&group-identifier="+url.QueryEscape("http://countback.example/fhir/identifier/case|"+id))
	require.Len(t, tasks, 1)
	var task struct {
		Status       string
		Owner        struct{ Display string }
		StatusReason struct{ Text string }
		Note         []struct{ AuthorString, Text, Time string }
	}
	require.NoError(t, json.Unmarshal(tasks[0], &task))
	require.Equal(t, "completed", task.Status)
	require.Equal(t, "Dr Corvan Stillmarch", task.Owner.Display)
	require.Equal(t, "The dentist moved the extraction to April", task.StatusReason.Text)
	require.Equal(t, "Idony Quillfeather", task.Note[0].AuthorString)
}

// A page whose service is gone says since when it may be stale. A stop does not
// wait for the pages that are open.
func deskAdrift(t *testing.T, ctx context.Context, a *App) {
	do(t, ctx, chromedp.Navigate(a.DeskURL()))
	_, err := chromedp.Run(ctx, chromedp.Poll[bool](`performance.getEntriesByType("resource").some(e => e.name.endsWith("/desk/live")) || document.readyState === "complete"`))
	require.NoError(t, err)
	http.DefaultClient.CloseIdleConnections()
	require.NoError(t, a.Close())
	_, err = chromedp.Run(ctx, chromedp.Poll[bool](`document.getElementById("news").textContent.startsWith("Not connected. What you see is from 12:00")`))
	require.NoError(t, err)
	require.Contains(t, text(t, ctx, "#main"), "This morning", "what was shown stays readable")
}

// A form of another site is refused before anything is read.
func TestDeskRefusesForeignForms(t *testing.T) {
	cfg := settings(t)
	a, err := Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, a.Close()) }()
	for name, c := range map[string]struct {
		header, value string
		want          int
	}{
		"another site":        {"Sec-Fetch-Site", "cross-site", http.StatusForbidden},
		"a sibling":           {"Sec-Fetch-Site", "same-site", http.StatusForbidden},
		"an old browser":      {"Origin", "https://elsewhere.example", http.StatusForbidden},
		"our own page":        {"Sec-Fetch-Site", "same-origin", http.StatusUnprocessableEntity},
		"no browser, no name": {"X-Nothing", "x", http.StatusUnprocessableEntity},
	} {
		t.Run(name, func(t *testing.T) {
			for _, path := range []string{"/me", "/task/x.0001"} {
				req, err := http.NewRequestWithContext(t.Context(), http.MethodPost, a.DeskURL()+path, strings.NewReader("does=done&version=1"))
				require.NoError(t, err)
				req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				req.Header.Set(c.header, c.value)
				resp, err := http.DefaultClient.Do(req)
				require.NoError(t, err)
				require.NoError(t, resp.Body.Close())
				require.Equal(t, c.want, resp.StatusCode, path)
			}
		})
	}
	http.DefaultClient.CloseIdleConnections()
}
