package desk

import (
	"bytes"
	"context"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"runtime/debug"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/casework"
)

// page is what every page shows.
type page struct {
	Title    string
	Here     string // path of the section of the desk, for the navigation
	Path     string // of the page itself with its query, to come back to
	Facility string
	Zone     string
	AsOf     string // when what is shown was read, by the facility's clock
	Stamp    string // the same, to be read by a machine
	Me       string // name of the person at the desk; empty: not given
	Version  string // of the assets
	Did      string // what was just done, in words
	Caution  string
	Slip     string // whom or what a printed page is about; empty: the title
}

// newPage fills what every page shows.
func (d *Desk) newPage(c *gin.Context, title, here string) page {
	now := d.Now().In(d.Calendar.Zone())
	return page{
		Title: title, Here: here, Path: c.Request.URL.RequestURI(), Facility: d.Facility,
		Zone: d.Calendar.Zone().String() + " (" + now.Format("MST") + ")", AsOf: now.Format("Mon 2 Jan 2006, 15:04"),
		Stamp: now.Format("2006-01-02T15:04:05Z07:00"), Me: nameOf(c.Request), Version: d.version,
		Did: d.did(c), Caution: caution,
	}
}

// caution stands on every page.
const caution = "This desk supports the judgement of licensed professionals and the hospital's own policy; it does not replace either. In an emergency call your local emergency number."

// render writes a page; nothing is sent when the template fails.
func (d *Desk) render(c *gin.Context, status int, name string, data any) error {
	var out bytes.Buffer
	if err := d.pages[name].ExecuteTemplate(&out, "layout.html", data); err != nil {
		return err
	}
	if p, ok := data.(interface{ PaperStyle() template.CSS }); ok {
		c.Header("Content-Security-Policy", policy(p.PaperStyle()))
	}
	c.Data(status, "text/html; charset=utf-8", out.Bytes())
	return nil
}

// handler turns an error into a page that says what is wrong.
func (d *Desk) handler(serve func(*Desk, *gin.Context) error) gin.HandlerFunc {
	return func(c *gin.Context) {
		c.Request.Body = http.MaxBytesReader(c.Writer, c.Request.Body, maxForm)
		err := serve(d, c)
		if err == nil || errors.Is(err, context.Canceled) {
			return
		}
		d.fail(c, err)
	}
}

// failurePage says that something could not be shown or done.
type failurePage struct {
	page
	Says []string
	Back string
}

func (d *Desk) fail(c *gin.Context, err error) {
	status, title := statusOf(err)
	p := failurePage{page: d.newPage(c, title, ""), Back: backFrom(c, status)}
	var refused *casework.Refusal
	switch {
	case errors.As(err, &refused):
		for _, i := range refused.Issues {
			p.Says = append(p.Says, plain(i.Text))
		}
	case status == http.StatusInternalServerError:
		d.Log.Error("desk", "route", c.FullPath(), "error", err)
		p.Says = []string{"The service could not answer. Nothing was changed; try again, and tell whoever looks after it if that does not help."}
	default:
		p.Says = []string{sentence(err.Error())}
	}
	if err := d.render(c, status, "failure", p); err != nil {
		d.Log.Error("desk", "route", c.FullPath(), "error", err)
		c.Status(http.StatusInternalServerError)
	}
}

// statusOf gives the status of a refusal, and the title of the page about it.
func statusOf(err error) (int, string) {
	switch {
	case errors.Is(err, casework.ErrNotFound), errors.Is(err, casework.ErrGone):
		return http.StatusNotFound, "There is no such page"
	case errors.Is(err, casework.ErrVersion), errors.Is(err, casework.ErrConflict):
		return http.StatusConflict, "Somebody else was faster"
	case errors.Is(err, casework.ErrInvalid), errors.Is(err, casework.ErrMalformed), errors.Is(err, casework.ErrNameless), errors.Is(err, errForm):
		return http.StatusUnprocessableEntity, "That cannot be done"
	}
	return http.StatusInternalServerError, "Something went wrong"
}

// errForm says that a form is not filled in as it must be.
var errForm = errors.New("the form is not complete")

func sentence(s string) string {
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}

func (d *Desk) noRoute(*gin.Context) error {
	return casework.Refuse(casework.ErrNotFound, "not-found", "", "there is nothing at this address")
}

// log writes a line a request, without what was asked.
func (d *Desk) log(c *gin.Context) {
	c.Next()
	d.Log.Info("desk", "method", c.Request.Method, "route", c.FullPath(), "status", c.Writer.Status())
}

func (d *Desk) recover(c *gin.Context) {
	defer func() {
		if r := recover(); r != nil {
			d.Log.Error("desk panicked", "route", c.FullPath(), "stack", string(debug.Stack()))
			c.AbortWithStatus(http.StatusInternalServerError)
		}
	}()
	c.Next()
}

// backOf is the page of the desk that a form came from.
func backOf(c *gin.Context) string {
	if c.Request.Method != http.MethodPost {
		return Root
	}
	return local(c.PostForm("back"))
}

// backFrom is where somebody was who was refused: where the form says, else the page
// of the case that it was about, else the first page.
func backFrom(c *gin.Context, status int) string {
	if back := c.PostForm("back"); c.Request.Method == http.MethodPost && back != "" {
		return local(back)
	}
	within, ofCase := strings.CutPrefix(c.FullPath(), Root+"/case/:id")
	switch caseID, _, item := strings.Cut(c.Param("id"), "."); {
	case ofCase && status == http.StatusNotFound:
		return Root + "/cases"
	case ofCase && within != "":
		return Root + "/case/" + url.PathEscape(c.Param("id"))
	case item && c.FullPath() == Root+"/task/:id":
		return Root + "/case/" + url.PathEscape(caseID)
	}
	return Root
}

// local keeps an address that is one of ours, so that no form leads elsewhere.
func local(path string) string {
	ours := path == Root || strings.HasPrefix(path, Root+"/") || strings.HasPrefix(path, Root+"?")
	if !ours || strings.ContainsAny(path, "\\\r\n") {
		return Root
	}
	return path
}
