package app

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/demo"
	"example.org/countback/services/countback/internal/sheet"
	"example.org/countback/services/countback/internal/translate"
	"example.org/countback/testdata"
)

// handouts are what everyone in the invented hospital is told, by name and day.
func handouts(t *testing.T) (*App, map[string]translate.Handout) {
	t.Helper()
	begin, err := demo.Begins()
	require.NoError(t, err)
	cfg := settings(t)
	cfg.Today = begin.Format(time.RFC3339)
	a := started(t, cfg)
	today, err := calendar.ParseDate(DemoToday)
	require.NoError(t, err)
	require.NoError(t, demo.Play(t.Context(), demo.Options{
		Base: a.URL(), Today: a.Office.Facility().Calendar.At(today, 12, 0),
		Stand: a.Clock.Stand, Tick: a.Tick, Published: a.counted, Out: io.Discard,
	}))
	out := map[string]translate.Handout{}
	for _, body := range found(t, a, "CarePlan?_count=100") {
		var plan struct{ ID string }
		require.NoError(t, json.Unmarshal(body, &plan))
		h, err := a.Office.Handout(t.Context(), plan.ID)
		require.NoError(t, err)
		out[h.Name+" "+h.Day.String()] = h
	}
	require.Greater(t, len(out), 12)
	return a, out
}

func demoPage(t *testing.T, a *App, h translate.Handout, o sheet.Options) (sheet.Page, string) {
	t.Helper()
	sentences, err := sheet.Load()
	require.NoError(t, err)
	o.PrintedOn = a.Office.Facility().Calendar.DateOf(a.Clock.Now())
	p, err := sentences.Page(h, o)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, p.WriteHTML(&b))
	return p, b.String()
}

// Everyone of the invented hospital gets a sheet that says at once whether
// surgery goes ahead, holds only what is theirs to do, and invents nothing.
func TestSheetsOfTheDemo(t *testing.T) {
	a, all := handouts(t)
	banners := map[readiness.CaseState]int{}
	for name, h := range all {
		for _, lang := range sheet.Languages {
			t.Run(name+" "+lang, func(t *testing.T) {
				h.Prefers = []string{lang}
				p, text := demoPage(t, a, h, sheet.Options{})
				require.Equal(t, lang, p.Lang)
				_, body, _ := strings.Cut(text, "</style>")
				require.False(t, strings.Contains(body, "555"), "no number was configured")
				require.False(t, strings.Contains(body, "{"), "a blank was not filled in")
				goes := h.State == readiness.CaseOnTrack || h.State == readiness.CaseReady || h.State == readiness.CaseBehind
				if h.Untold && goes {
					require.NotNil(t, p.Banner, "the day changed")
				} else if goes || h.State == readiness.CaseHome {
					require.Nil(t, p.Banner)
				} else {
					banners[h.State]++
					require.NotNil(t, p.Banner)
					require.Less(t, strings.Index(text, p.Banner.Title), strings.Index(text, p.Emergency.Title))
					require.Empty(t, p.Fasting, "nobody fasts for a day that does not stand")
					require.Empty(t, p.Arrival)
				}
				if goes {
					require.Len(t, p.Fasting, 3)
					require.Len(t, p.Bag, 1)
				}
				for _, l := range h.Lines {
					words := l.Says[lang]
					staff := l.Item.Step.Performers[0].Kind == readiness.Staff
					waits := !goes && h.State != readiness.CaseHome && l.Item.Step.PausesOnHold
					if staff || waits {
						require.NotContains(t, titles(p), words.Title)
					}
				}
			})
		}
	}
	require.Equal(t, map[readiness.CaseState]int{readiness.CaseHeld: 4, readiness.CaseCancelled: 2}, banners)
}

func titles(p sheet.Page) []string {
	var out []string
	for _, s := range p.Steps {
		out = append(out, s.Title)
	}
	return out
}

var mediaBox = regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)

// mostSheets is how many pages a sheet may have, so that it is held and read:
// common practice, no source.
const mostSheets = 8

// The sheet prints on either paper: Chromium's PDF has the size that was asked
// for, and few enough pages to be held. With go test -artifacts the files are
// kept, to be looked at.
func TestSheetPrints(t *testing.T) {
	chromium := testdata.Need(t, "chromium", "apt-get install -y chromium")
	a, all := handouts(t)
	for _, c := range []struct {
		who, lang, paper, width, height string // in points
	}{
		{"Odaline Fernwhistle 2027-01-11", "en", "Letter", "612", "792"},
		{"Odaline Fernwhistle 2027-01-11", "es", "A4", "594.95996", "841.91998"},
		{"Sunniva Moorgather 2026-12-14", "en", "A4", "594.95996", "841.91998"},
		{"Kasprin Cloverhitch 2026-12-03", "es", "Letter", "612", "792"},
	} {
		name := strings.ReplaceAll(c.who+" "+c.lang+" "+c.paper, " ", "-")
		t.Run(name, func(t *testing.T) {
			h, ok := all[c.who]
			require.True(t, ok)
			h.Prefers = []string{c.lang}
			_, text := demoPage(t, a, h, sheet.Options{Paper: c.paper, Hospital: "Larkspindle General Hospital", Phone: "555-0142"})
			pdf := printed(t, chromium, name, text)
			boxes := mediaBox.FindAllStringSubmatch(string(pdf), -1)
			require.NotEmpty(t, boxes)
			t.Logf("%d pages", len(boxes))
			require.LessOrEqual(t, len(boxes), mostSheets)
			for _, b := range boxes {
				require.Equal(t, []string{c.width, c.height}, b[1:])
			}
		})
	}
}

// printed is the PDF that Chromium makes of a document.
func printed(t *testing.T, chromium, name, text string) []byte {
	t.Helper()
	dir := t.ArtifactDir()
	page, pdf := filepath.Join(dir, name+".html"), filepath.Join(dir, name+".pdf")
	require.NoError(t, os.WriteFile(page, []byte(text), 0o600))
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
		"--user-data-dir="+t.TempDir(), "--print-to-pdf="+pdf, "file://"+page).CombinedOutput()
	require.NoError(t, err, string(out))
	body, err := os.ReadFile(pdf)
	require.NoError(t, err)
	return body
}
