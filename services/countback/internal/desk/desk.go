package desk

import (
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"log/slog"
	"net/http"
	"sync"
	"time"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/calendar"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/sheet"
)

// Root is the path below which all pages lie.
const Root = "/desk"

// maxForm is the largest form that is read, in bytes.
const maxForm = 16 << 10

//go:embed templates/*.html
var templates embed.FS

//go:embed assets
var assets embed.FS

// Options are what the desk works with; all are required.
type Options struct {
	Office   *casework.Office
	Facility string // name of the facility, shown on every page
	Calendar *calendar.Calendar
	Log      *slog.Logger     // gets no patient data
	Now      func() time.Time // the clock
	// Changed gives a channel that is signalled after each commit that changed
	// something, until ctx ends.
	Changed func(ctx context.Context) <-chan struct{}

	Sheet  sheet.Options // what the patient's sheet says of the hospital
	Public string        // address of the service as others reach it, without a path
	Also   []string      // addresses that it is reached by, too; only their names count
}

// Desk serves the pages.
type Desk struct {
	Options
	pages     map[string]*template.Template
	sentences *sheet.Sentences
	version   string // of the assets
	engine    http.Handler
	ctx       context.Context // ends with Close
	cancel    context.CancelFunc
	live      sync.WaitGroup
}

// route is one page or form.
type route struct {
	method, path string
	serve        func(*Desk, *gin.Context) error
}

// routes is everything that is served, below Root.
var routes = []route{
	{http.MethodGet, "", (*Desk).morningPage},
	{http.MethodGet, "/cases", (*Desk).casesPage},
	{http.MethodGet, "/case/:id", (*Desk).casePage},
	{http.MethodGet, "/case/:id/moved", (*Desk).movedPage},
	{http.MethodPost, "/case/:id/moved", (*Desk).askMove},
	{http.MethodGet, "/case/:id/sheet", (*Desk).sheetPage},
	{http.MethodGet, "/case/:id/calendar", (*Desk).linksPage},
	{http.MethodGet, "/case/:id/calendar.ics", (*Desk).calendarFile},
	{http.MethodPost, "/case/:id/calendar", (*Desk).makeLink},
	{http.MethodPost, "/case/:id/calendar/revoke", (*Desk).revokeLink},
	{http.MethodGet, "/unplanned", (*Desk).caselessPage},
	{http.MethodGet, "/received/:type/:id", (*Desk).receivedPage},
	{http.MethodGet, "/answers/:id", (*Desk).answersPage},
	{http.MethodGet, "/weeks", (*Desk).weeksPage},
	{http.MethodGet, "/weeks/:table", (*Desk).weeksTable},
	{http.MethodGet, "/programme", (*Desk).programmePage},
	{http.MethodGet, "/programme/:table", (*Desk).programmeTable},
	{http.MethodPost, "/task/:id", (*Desk).act},
	{http.MethodGet, "/task/:id/answers", (*Desk).askingPage},
	{http.MethodPost, "/task/:id/answers", (*Desk).recordAnswers},
	{http.MethodGet, "/live", (*Desk).follow},
	{http.MethodGet, "/me", (*Desk).mePage},
	{http.MethodPost, "/me", (*Desk).me},
}

// releaseMode keeps Gin from printing its routes; the mode is global to it.
var releaseMode = sync.OnceFunc(func() { gin.SetMode(gin.ReleaseMode) })

// New builds the handler of all that lies at and below Root and CalendarRoot.
func New(o Options) (*Desk, error) {
	if o.Office == nil || o.Facility == "" || o.Calendar == nil || o.Log == nil || o.Now == nil || o.Changed == nil {
		return nil, errors.New("desk: an office, a facility, a calendar, a log, a clock and a signal of changes are required")
	}
	d := &Desk{Options: o}
	d.ctx, d.cancel = context.WithCancel(context.Background())
	var err error
	if d.pages, err = parsePages(); err != nil {
		return nil, fmt.Errorf("desk: %w", err)
	}
	if d.version, err = assetVersion(); err != nil {
		return nil, fmt.Errorf("desk: %w", err)
	}
	if d.sentences, err = sheet.Load(); err != nil {
		return nil, fmt.Errorf("desk: %w", err)
	}
	releaseMode()
	engine := gin.New()
	engine.RedirectTrailingSlash = false
	engine.HandleMethodNotAllowed = true
	if err := engine.SetTrustedProxies(nil); err != nil {
		return nil, fmt.Errorf("desk: %w", err)
	}
	engine.Use(d.log, d.recover, headers, d.guard)
	for _, r := range routes {
		engine.Handle(r.method, Root+r.path, d.handler(r.serve))
	}
	engine.GET(CalendarRoot+"/:link", d.linked)
	engine.HEAD(CalendarRoot+"/:link", d.linked)
	engine.GET(Root+"/assets/:version/:name", asset)
	engine.NoRoute(d.handler((*Desk).noRoute))
	d.engine = http.NewCrossOriginProtection().Handler(engine)
	return d, nil
}

// ServeHTTP answers a request for a page.
func (d *Desk) ServeHTTP(w http.ResponseWriter, r *http.Request) { d.engine.ServeHTTP(w, r) }

// Close ends the streams of events that browsers follow.
func (d *Desk) Close() {
	d.cancel()
	d.live.Wait()
}

// parsePages reads each page's template together with the layout.
func parsePages() (map[string]*template.Template, error) {
	names, err := fs.Glob(templates, "templates/*.html")
	if err != nil {
		return nil, err
	}
	layout, err := template.New("layout.html").Funcs(functions).ParseFS(templates, "templates/layout.html", "templates/parts.html")
	if err != nil {
		return nil, err
	}
	out := map[string]*template.Template{}
	for _, name := range names {
		base := name[len("templates/") : len(name)-len(".html")]
		if base == "layout" || base == "parts" {
			continue
		}
		page, err := layout.Clone()
		if err != nil {
			return nil, err
		}
		if out[base], err = page.ParseFS(templates, name); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// assetVersion changes with the assets, so that browsers may keep them for good.
func assetVersion() (string, error) {
	sum := sha256.New()
	err := fs.WalkDir(assets, ".", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		body, err := fs.ReadFile(assets, path)
		sum.Write(body)
		return err
	})
	return hex.EncodeToString(sum.Sum(nil))[:12], err
}

// asset serves a style sheet or a script.
func asset(c *gin.Context) {
	body, err := fs.ReadFile(assets, "assets/"+c.Param("name"))
	if err != nil {
		c.Status(http.StatusNotFound)
		return
	}
	kind := "text/css; charset=utf-8"
	if name := c.Param("name"); len(name) > 3 && name[len(name)-3:] == ".js" {
		kind = "text/javascript; charset=utf-8"
	}
	c.Header("Cache-Control", "public, max-age=31536000, immutable")
	c.Data(http.StatusOK, kind, body)
}

// headers keep pages from being stored, framed, or joined by foreign code.
func headers(c *gin.Context) {
	h := c.Writer.Header()
	h.Set("Content-Security-Policy", policy(""))
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
}
